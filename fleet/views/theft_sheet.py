"""Theft sheet: what police and insurer ask for about units that are gone, one or a whole trailer of them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from fleet.access import allowed
from fleet.forms.theft_sheet import TheftForm
from fleet.models import Crew
from fleet.papers.theft_pictures import papers_of, pictures_of
from fleet.upkeep.theft import TheftUnit, theft_units
from fleet.views.asking import show
from fleet.views.owner_papers import owner_paper, paper_offer
from fleet.views.owner_scope import OwnerScope, owner_scope


def _ask(request: HttpRequest) -> tuple[OwnerScope, TheftForm, list[TheftUnit]]:
    scope = owner_scope(request)
    crews = Crew.objects.filter(contractor=scope.contractor).order_by("name", "pk")
    form = TheftForm(request.GET if "tags" in request.GET or "crew" in request.GET else None, crews=crews)
    found: list[TheftUnit] = []
    if form.is_valid() and scope.contractor is not None:
        found = theft_units(scope.contractor, tags=form.keys, crew=form.cleaned_data["crew"])
    return scope, form, found


@allowed("see_costs")
def theft_sheet(request: HttpRequest) -> HttpResponse:
    """Choose units by tag, or all that ride with a crew, and see what would be on the sheet."""
    scope, form, found = _ask(request)
    keys = {unit.tag_key for unit in found}
    query = _query(request, scope)
    context: dict[str, Any] = {
        "scope": scope,
        "form": form,
        "found": found,
        "unknown": [tag for tag, key in form.tag_keys if key not in keys] if form.is_valid() else [],
        "without_serial": [unit.tag for unit in found if not unit.serial],
        "without_paper": sum(not unit.papers for unit in found),
        "print_url": reverse("theft_sheet_print") + "?" + urlencode(query),
        "offer": paper_offer(request, "theft_sheet_pdf", query),
    }
    return show(request, "fleet/theft_sheet.html", context)


def _query(request: HttpRequest, scope: OwnerScope) -> dict[str, Any]:
    query = {name: request.GET[name] for name in ("tags", "crew") if request.GET.get(name)}
    return query if scope.contractor is None else {**query, "contractor": scope.contractor.pk}


@allowed("see_costs")
def theft_sheet_print(request: HttpRequest) -> HttpResponse:
    """The sheet for paper."""
    scope, _form, found = _ask(request)
    return render(request, "print/theft_sheet.html", {"scope": scope, "found": found, "total": _paid(found)})


def _paid(found: list[TheftUnit]) -> Decimal:
    return sum((unit.price for unit in found if unit.price is not None), Decimal(0))


@allowed("see_costs")
def theft_sheet_pdf(request: HttpRequest) -> HttpResponse:
    """The sheet as a file to mail to police and insurer, its pictures within; without units, back to the choice."""
    scope, _form, found = _ask(request)
    if not found:
        return redirect(reverse("theft_sheet") + "?" + urlencode(_query(request, scope)))
    pictures, papers = pictures_of(found), papers_of(found)
    context = {
        "found": found,
        "total": _paid(found),
        "unpriced": sum(unit.price is None for unit in found),
        "shown": pictures,
        "papers": papers,
        "left_out": pictures.left_out + papers.left_out,
    }
    title = _("Stolen equipment")
    return owner_paper(
        request, "print/theft_sheet_pdf.html", scope, context, title=title, back="theft_sheet",
        pictures={**pictures.files, **papers.files},
    )  # fmt: skip
