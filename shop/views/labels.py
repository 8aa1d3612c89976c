"""Labels for the units' tags: which units, on which labels; a lost tag's new one."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import Access, allowed
from fleet.documents import BusyError, make_pdf, pdf_answer
from fleet.models import Contractor, Crew, Trimmer
from fleet.upkeep.unit_list import find_units
from fleet.views.asking import whole_number
from fleet.views.busy import busy
from shop.forms.papers import LabelForm
from shop.label_sheets import LABEL_SHEETS
from shop.papers.labels import MOST_LABELS, LabelLook, label_pages, parts_of
from shop.views.asking import whole_address

PER_PAGE = 100
_USUAL_SHEET = next(iter(LABEL_SHEETS))


class Choice:
    """Whose units may get labels, and which of them are chosen by the address."""

    def __init__(self, request: HttpRequest) -> None:
        access: Access = request.access  # type: ignore[attr-defined]
        asked = request.GET
        self.contractors: list[Contractor] = [c for c in access.contractors() if access.can("manage_tags", c.pk)]
        self.contractor = self._pick(self.contractors, asked.get("contractor"))
        if self.contractor is None and self.contractors:
            self.contractor = self.contractors[0]
        ids = [self.contractor.pk] if self.contractor is not None else []
        self.crews: list[Crew] = list(Crew.objects.filter(contractor__in=ids).order_by("name", "pk"))
        wanted = asked.get("crew")
        # The crew of another contractor may still stand in the form after a change of contractor.
        number = None if wanted in (None, "", "all") else whole_number(wanted)
        self.crew = next((crew for crew in self.crews if crew.pk == number), None)
        self.search = " ".join(asked.get("q", "").split())[:80]
        self.units: QuerySet[Trimmer] = find_units(ids, self.search)
        self.one = _number(asked.get("one", ""))
        if self.one is not None:
            self.units = self.units.filter(pk=self.one)
        if self.crew is not None:
            self.units = self.units.filter(state__crew=self.crew)

    @staticmethod
    def _pick(rows: Sequence[Any], asked: str | None) -> Any:
        number = whole_number(asked)
        if number is None:
            return None
        for row in rows:
            if row.pk == number:
                return row
        raise Http404

    def query(self) -> dict[str, str]:
        """The choice as an address."""
        query = {"q": self.search, "crew": str(self.crew.pk) if self.crew else "all"}
        query |= {"contractor": str(self.contractor.pk)} if self.contractor else {}
        return query | ({"one": str(self.one)} if self.one is not None else {})


def address_of(request: HttpRequest, unit: Trimmer) -> str:
    """What the code on a unit's label opens."""
    return whole_address(request, reverse("tag", args=[unit.tag_token]))


@allowed("manage_tags")
@never_cache
def labels(request: HttpRequest) -> HttpResponse:
    """Choose units and labels."""
    form = LabelForm(initial={"sheet": _sheet_used_last(request), "start": 1})
    return _page(request, Choice(request), form, ticked=frozenset())


@allowed("manage_tags")
@never_cache
def unit_label(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for one unit, whose tag was lost or never had a label."""
    access: Access = request.access  # type: ignore[attr-defined]
    unit = access.unit(pk, "manage_tags")
    return redirect(f"{reverse('labels')}?{urlencode({'contractor': unit.contractor_id, 'one': unit.pk})}")


def _page(request: HttpRequest, choice: Choice, form: LabelForm, ticked: frozenset[int]) -> HttpResponse:
    page = Paginator(choice.units, PER_PAGE).get_page(request.GET.get("page"))
    context = {
        "choice": choice,
        "form": form,
        "page": page,
        "count": page.paginator.count,
        "ticked": ticked,
        "parts": parts_of(page.paginator.count, MOST_LABELS),
        "query": urlencode(choice.query()),
        "only_here": not settings.PUBLIC_URL,
        "host": request.get_host(),
    }
    return render(request, "shop/labels.html", context, status=422 if form.errors else 200)


@allowed("manage_tags")
@never_cache
def labels_pdf(request: HttpRequest) -> HttpResponse:
    """The sheets: all units chosen, or the ticked ones; in parts where they are many."""
    choice = Choice(request)
    asked = {"sheet": _USUAL_SHEET, "start": "1", **request.GET.dict()}
    form = LabelForm(asked)
    ticked = frozenset(n for n in map(_number, request.GET.getlist("unit")) if n is not None)
    only_ticked = request.GET.get("which") == "ticked"
    units = choice.units.filter(pk__in=ticked) if only_ticked else choice.units
    part = whole_number(request.GET.get("part")) or 1
    if form.is_valid():
        chosen = list(units[(max(part, 1) - 1) * MOST_LABELS : max(part, 1) * MOST_LABELS])
        if chosen:
            return _answer(request, chosen, form)
        form.add_error(None, _("Tick the units that need a label.") if only_ticked else _("There is no unit to label."))
    return _page(request, choice, form, ticked)


def _answer(request: HttpRequest, units: list[Trimmer], form: LabelForm) -> HttpResponse:
    sheet = form.chosen_sheet()
    addressed = ((unit, address_of(request, unit)) for unit in units)
    pages = label_pages(addressed, sheet, start=form.cleaned_data["start"])
    context = {"pages": pages, "look": LabelLook(sheet), "outline": form.cleaned_data["outline"]}
    pictures = {label.code_name: label.code for page in pages for label in page}
    try:
        content = make_pdf("print/labels.html", context, sheet.paper, pictures)
    except BusyError:
        return busy(request, "labels")
    name = units[0].tag if len(units) == 1 else units[0].contractor.name
    response = pdf_answer(content, slugify(f"labels {name}") or "labels")
    response.set_cookie("labels", sheet.key, max_age=365 * 86_400, samesite="Lax", httponly=True)
    return response


def _sheet_used_last(request: HttpRequest) -> str:
    key = request.COOKIES.get("labels", "")
    return key if key in LABEL_SHEETS else _USUAL_SHEET


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else None
