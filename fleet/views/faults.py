"""Report a fault: which unit, what is wrong, and what happens next."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import allowed
from fleet.cautions import caution_for_finding
from fleet.clock import today_at
from fleet.forms.faults import FaultForm
from fleet.forms.refusals import add_refusal
from fleet.record.faults import FAULTS
from fleet.record.faults import report_fault as record_fault
from fleet.record.writing import Refused
from fleet.upkeep.crew_units import units_in_use
from fleet.views.asking import by_of, go, saved, show, whole_number
from fleet.views.jobs import say_holds
from fleet.views.scope import scope_of


@allowed("log_work")
def report_fault(request: HttpRequest) -> HttpResponse:
    """Safety faults hold the unit as soon as they are saved; others go to the bench with the crew's words."""
    access = request.access  # type: ignore[attr-defined]
    pk = whole_number(request.GET.get("unit"))
    scope = scope_of(request)
    chosen = access.unit(pk, "log_work") if pk is not None else None
    units = [chosen] if chosen is not None else units_in_use(scope.chosen, scope.crew_id)
    today = today_at(chosen.contractor) if chosen is not None else scope.today
    form = FaultForm(request.POST if request.method == "POST" else None, units=units, today=today)
    if request.method == "POST" and form.is_valid():
        unit, data = form.unit_chosen(), form.cleaned_data
        try:
            entry = record_fault(
                unit=unit,
                fault=data["fault"],
                on=data["occurred_on"],
                by=by_of(request, unit.contractor_id, data["client_entry_id"]),
                today=today,
                words=data["words"],
                component=data["component"],
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: fault reported.") % {"unit": unit.tag}, [entry])
            fault = FAULTS[data["fault"]]
            say_holds(request, [unit])
            if not (fault.holds or fault.stops):
                caution = caution_for_finding(fault.caution)
                if caution is not None:
                    # Nothing on the unit's page tells it: the finding neither holds nor stops the unit.
                    messages.warning(request, str(caution.text))
                messages.info(request, _("The shop sees it on the unit with your words. Set the unit aside for it."))
            return go(request, reverse("unit", args=[unit.pk]))
    context = {
        "scope": scope,
        "unit": chosen,
        "form": form,
        "units": units,
        "action": request.get_full_path(),
        "safety": [f for f in FAULTS.values() if f.holds],
    }
    return show(request, "fleet/report_fault.html", context, status=422 if form.is_bound else 200)
