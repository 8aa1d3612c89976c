"""Hours: a crew's units on one page, one unit alone, or the crew's total for a week."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.access import allowed
from fleet.clock import today_at
from fleet.forms.hours import LITRES, METER, RUN, CrewHoursForm, HoursForm
from fleet.forms.refusals import add_refusal
from fleet.models import Trimmer
from fleet.record.hours import record_crew_hours, record_hours
from fleet.record.writing import Refused
from fleet.upkeep.crew_units import CrewUnit, crew_units
from fleet.upkeep.lines import seasons_of
from fleet.views.asking import by_of, go, saved, show, whole_number
from fleet.views.jobs import say_holds
from fleet.views.scope import Scope, scope_of

# What a unit's last entry was is what its next one will most likely be.
_KIND_OF_BASIS = {"meter": METER, "fuel": LITRES}


@allowed("log_work")
def hours(request: HttpRequest) -> HttpResponse:
    """One line a unit; saved together or not at all."""
    unit, scope, rows = _units(request)
    today = scope.today if unit is None else today_at(unit.contractor)
    form = HoursForm(
        request.POST if request.method == "POST" else None,
        today=today,
        lines=[
            {
                "unit": row.unit,
                "kind": METER if request.GET.get("meter") else _KIND_OF_BASIS.get(row.state.basis, RUN),
                "replaced": bool(request.GET.get("meter")),
            }
            for row in rows
        ],
    )
    if request.method == "POST" and form.is_valid():
        lines = form.filled()
        if not lines:
            form.add_error(None, _("Nothing was entered yet: write a figure on at least one line."))
        else:
            by = by_of(request, lines[0].unit.contractor_id, form.cleaned_data["client_entry_id"])
            try:
                entries = record_hours(lines=lines, by=by, today=today, confirmed=form.cleaned_data["sure"])
            except Refused as refusal:
                _place(form, refusal)
            else:
                words = ngettext("Hours of %(n)d unit saved.", "Hours of %(n)d units saved.", len(lines))
                saved(request, words % {"n": len(lines)}, entries)
                say_holds(request, [line.unit for line in lines])
                return go(request, _back(unit, scope))
    context = {
        "scope": scope,
        "unit": unit,
        "form": form,
        "rows": list(zip(rows, form.lines, strict=True)),
        "week_form": CrewHoursForm(initial={"week_of": today}),
        "week_action": reverse("crew_hours"),
        "action": request.get_full_path(),
    }
    return show(request, "fleet/hours.html", context, status=422 if form.is_bound else 200)


def _units(request: HttpRequest) -> tuple[Trimmer | None, Scope, list[CrewUnit]]:
    pk = whole_number(request.GET.get("unit"))
    scope = scope_of(request, one_crew=pk is None)
    unit: Trimmer | None = None
    if pk is not None:
        unit = request.access.unit(pk, "log_work")  # type: ignore[attr-defined]
        contractors = [unit.contractor]
    else:
        contractors = scope.chosen
    rows = crew_units(contractors, seasons_of(contractors), scope.today, crew_id=scope.crew_id, unit_id=pk)
    return unit, scope, rows


def _back(unit: Trimmer | None, scope: Scope) -> str:
    if unit is not None:
        return reverse("unit", args=[unit.pk])
    return reverse("ready") + (f"?crew={scope.crew_id}" if scope.crew_id else "")


def _place(form: HoursForm, refusal: Refused) -> None:
    """Every refusal onto its line; figures that are only asked about bring up the yes beside them."""
    refusals = [refusal, *refusal.more]
    for each in refusals:
        line = form.line_of(each.unit)
        if line is not None and each.field not in form.fields:
            line.add_error("figure", each.message)
        else:
            add_refusal(form, each)
    form.asks = any(each.ask for each in refusals)


@allowed("log_work")
def crew_hours(request: HttpRequest) -> HttpResponse:
    """A crew's total for a week, shared over the units without hours of their own in it."""
    scope = scope_of(request, one_crew=True)
    form = CrewHoursForm(request.POST if request.method == "POST" else None, initial={"week_of": scope.today})
    if request.method == "POST" and form.is_valid() and scope.crew is not None:
        request.access.require("log_work", scope.crew.contractor_id)  # type: ignore[attr-defined]
        by = by_of(request, scope.crew.contractor_id, form.cleaned_data["client_entry_id"])
        amounts: dict[str, Any] = form.amounts()
        try:
            entry = record_crew_hours(
                crew=scope.crew, week_of=form.cleaned_data["week_of"], by=by, today=scope.today, **amounts
            )
        except Refused as refusal:
            refusal.field = {"crew_hours": "figure", "trimmer_share": "share"}.get(refusal.field, refusal.field)
            add_refusal(form, refusal)
        else:
            saved(request, _("%(crew)s: hours of the week saved.") % {"crew": scope.crew}, [entry])
            return go(request, reverse("ready") + f"?crew={scope.crew.pk}")
    context = {"scope": scope, "form": form, "action": request.get_full_path()}
    return show(request, "fleet/crew_hours.html", context, status=422 if form.is_bound else 200)
