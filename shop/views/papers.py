"""What can be printed, and the crew sheet of what to bring."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.text import slugify
from django.utils.translation import gettext as _

from fleet.access import Access, allowed
from fleet.documents import BusyError, make_pdf, pdf_answer
from fleet.models import Shop
from fleet.paper_sizes import usual_paper
from fleet.upkeep.lines import ready_list, seasons_of
from fleet.upkeep.ready import carry_through_default
from fleet.upkeep.season import Season
from fleet.views.asking import whole_number
from fleet.views.busy import busy
from fleet.views.scope import Scope, scope_of
from fleet.vocabulary import BENCH
from shop.cautions import LOADING
from shop.forms.papers import CrewSheetForm
from shop.papers.crew_sheet import MOST_UNITS, CrewSheet, bring_lines
from shop.papers.crew_sheet import crew_sheet as sheet_of
from shop.papers.labels import parts_of


@dataclass(frozen=True)
class Asked:
    """Whose sheet, up to which day, and what is on it."""

    scope: Scope
    seasons: dict[int, Season]
    form: CrewSheetForm
    before: dt.date
    sheet: CrewSheet | None

    def query(self) -> dict[str, str]:
        """The question as an address."""
        query = {"carry": self.before.isoformat()}
        if self.scope.contractor is not None:
            query["contractor"] = str(self.scope.contractor.pk)
        return query | ({"crew": str(self.scope.crew.pk)} if self.scope.crew is not None else {})


def _ask(request: HttpRequest) -> Asked:
    scope = scope_of(request, one_crew=True)
    seasons = seasons_of(scope.chosen if scope.contractor is not None else [])
    season = seasons.get(scope.contractor.pk) if scope.contractor is not None else None
    default = carry_through_default(season, scope.today) if season else scope.today + dt.timedelta(weeks=4)
    paper = usual_paper(request.COOKIES)
    asked = {"paper": paper, "carry": default.isoformat(), **request.GET.dict()}
    form = CrewSheetForm(asked, today=scope.today, default=default)
    before = form.before()
    sheet = None
    if scope.crew is not None and season is not None:
        found = ready_list(scope.chosen, seasons, as_of=scope.today, before=before, crew_id=scope.crew.pk, place=BENCH)
        sheet = sheet_of(found)
    return Asked(scope, seasons, form, before, sheet)


def _page(request: HttpRequest, asked: Asked) -> HttpResponse:
    access: Access = request.access  # type: ignore[attr-defined]
    lines = len(asked.sheet.lines) if asked.sheet is not None else 0
    context = {
        "asked": asked,
        "scope": asked.scope,
        "form": asked.form,
        "before": asked.before,
        "sheet": asked.sheet,
        "parts": parts_of(lines, MOST_UNITS),
        "query": urlencode(asked.query()),
        "sees_visits": access.can("see_drop_offs"),
        "may_label": access.can("manage_tags"),
    }
    return render(request, "shop/papers.html", context, status=422 if asked.form.errors else 200)


@allowed("see_fleet")
def papers(request: HttpRequest) -> HttpResponse:
    """What can be printed."""
    return _page(request, _ask(request))


@allowed("see_fleet")
def crew_sheet(request: HttpRequest) -> HttpResponse:
    """What one crew brings to the shop, as PDF."""
    asked = _ask(request)
    if not asked.form.is_valid() or asked.sheet is None or asked.scope.crew is None:
        return _page(request, asked)
    size = asked.form.size()
    part = max(whole_number(request.GET.get("part")) or 1, 1)
    lines = asked.sheet.lines[(part - 1) * MOST_UNITS : part * MOST_UNITS]
    context = {
        "scope": asked.scope,
        "shops": _shops(asked.scope),
        "sheet": asked.sheet,
        "before": asked.before,
        "lines": bring_lines(lines, asked.seasons),
        "first": (part - 1) * MOST_UNITS + 1,
        "last": (part - 1) * MOST_UNITS + len(lines),
        "caution": LOADING,
        "invented": asked.scope.chosen[0].invented,
    }
    try:
        content = make_pdf("print/crew_sheet.html", context, size)
    except BusyError:
        return busy(request, "papers")
    name = slugify(_("what to bring %(crew)s %(day)s") % {"crew": asked.scope.crew.name, "day": asked.scope.today})
    response = pdf_answer(content, name or "what-to-bring")
    response.set_cookie("paper", size.key, max_age=365 * 86_400, samesite="Lax", httponly=True)
    return response


def _shops(scope: Scope) -> list[Shop]:
    """Shops that look after this contractor today."""
    contractor = scope.contractor
    if contractor is None:
        return []
    running = contractor.arrangements.filter(from_date__lte=scope.today).exclude(until__lt=scope.today)
    return [row.shop for row in running.select_related("shop").order_by("shop__name")]
