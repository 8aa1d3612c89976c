"""The guard walk: the crew's units in one list, one save."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.access import allowed
from fleet.cautions import caution_for_finding
from fleet.forms.guard_walk import WalkForm
from fleet.forms.refusals import add_refusal
from fleet.models import Trimmer
from fleet.record.guard_walk import record_walk
from fleet.record.writing import Refused
from fleet.upkeep.crew_units import crew_units
from fleet.upkeep.lines import seasons_of
from fleet.views.asking import by_of, go, saved, show, whole_number
from fleet.views.jobs import say_holds
from fleet.views.scope import scope_of


@allowed("log_work")
def guard_walk(request: HttpRequest) -> HttpResponse:
    """Guard, line and safety of each unit as found today."""
    pk = whole_number(request.GET.get("unit"))
    scope = scope_of(request, one_crew=pk is None)
    unit: Trimmer | None = None
    contractors = scope.chosen
    if pk is not None:
        unit = request.access.unit(pk, "log_work")  # type: ignore[attr-defined]
        contractors = [unit.contractor]
    rows = crew_units(contractors, seasons_of(contractors), scope.today, crew_id=scope.crew_id, unit_id=pk, walk=True)
    form = WalkForm(
        request.POST if request.method == "POST" else None, today=scope.today, units=[row.unit for row in rows]
    )
    if request.method == "POST" and form.is_valid():
        seen = form.seen()
        if not seen:
            form.add_error(None, _("Nothing was seen yet: answer for at least one unit."))
        else:
            by = by_of(request, seen[0].unit.contractor_id, form.cleaned_data["client_entry_id"])
            try:
                entries = record_walk(seen=seen, on=form.cleaned_data["occurred_on"], by=by, today=scope.today)
            except Refused as refusal:
                if refusal.unit is not None and refusal.field == "occurred_on":
                    refusal.message = f"{refusal.unit.tag}: {refusal.message}"
                add_refusal(form, refusal)
            else:
                words = ngettext("Guard walk of %(n)d unit saved.", "Guard walk of %(n)d units saved.", len(seen))
                saved(request, words % {"n": len(seen)}, entries)
                refitted = [row.unit.tag for row in seen if row.guard == "refitted"]
                if refitted:
                    words = _("Guard refitted, its hold is lifted: %(units)s.")
                    messages.info(request, words % {"units": ", ".join(refitted)})
                say_holds(request, [row.unit for row in seen])
                to = reverse("unit", args=[pk]) if pk is not None else reverse("ready")
                return go(request, to if pk is not None or not scope.crew_id else f"{to}?crew={scope.crew_id}")
    context = {
        "scope": scope,
        "unit": unit,
        "form": form,
        "rows": list(zip(rows, form.units, strict=True)),
        "caution": caution_for_finding("off"),
        "action": request.get_full_path(),
    }
    return show(request, "fleet/guard_walk.html", context, status=422 if form.is_bound else 200)
