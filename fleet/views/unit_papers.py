"""A unit's paper: a recall notice done on it or taken back, and facts that were missing filled in."""

from __future__ import annotations

import datetime as dt

from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.clock import today_at
from fleet.forms.refusals import add_refusal
from fleet.forms.unit_papers import FactsForm, NoticeDoneForm
from fleet.models import NoticeDone, RecallNotice, Trimmer
from fleet.record.unit_papers import fill_in, record_notice_done, take_back_notice_done
from fleet.record.writing import Refused
from fleet.upkeep.recalls import verdicts_for
from fleet.views.asking import back_to, by_of, go, saved
from fleet.views.unit_changes import form_page


@allowed("close_recall")
def notice_done(request: HttpRequest, pk: int, notice: int) -> HttpResponse:
    """Record that the unit was done as a running notice says."""
    unit: Trimmer = request.access.unit(pk, "close_recall")  # type: ignore[attr-defined]
    today = today_at(unit.contractor)
    row = _running_notice(unit, notice, today)
    form = NoticeDoneForm(request.POST if request.method == "POST" else None, today=today)
    back = back_to(request, reverse("unit", args=[pk]))
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        by = by_of(request, unit.contractor_id, data["client_entry_id"])
        try:
            record_notice_done(unit=unit, notice=row, on=data["occurred_on"], note=data["note"], by=by, today=today)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: the recall notice is on record as done.") % {"unit": unit.tag})
            return go(request, back)
    lead = _(
        "%(text)s (%(source)s) Record it once the unit was done as the notice says, by whoever the notice names. "
        "No other repair takes its place."
    ) % {"text": row.text, "source": row.source}
    return form_page(
        request, unit, form, heading=_("done as the notice says"), submit=_("Record"), lead=lead, back=back
    )


def _running_notice(unit: Trimmer, pk: int, today: dt.date) -> RecallNotice:
    """The notice, where it concerns the unit; one that was done already is offered to nobody."""
    said = verdicts_for([(unit.pk, unit.model_id)], today).get(unit.pk, [])
    found = next((notice for notice, _word in said if notice.pk == pk), None)
    if found is None:
        found = RecallNotice.objects.filter(pk=pk, done_on__trimmer=unit).first()
    if found is None:
        raise Http404
    return found


@allowed("close_recall")
@require_POST
def notice_taken_back(request: HttpRequest, pk: int, done: int) -> HttpResponse:
    """It was not done after all: the notice stops the unit again. One's own, or anybody's for who answers for it."""
    access = request.access  # type: ignore[attr-defined]
    unit: Trimmer = access.unit(pk, "close_recall")
    row = NoticeDone.objects.filter(pk=done, trimmer=unit).first()
    if row is None:
        raise Http404
    if row.author_id != request.user.pk:
        access.require("withdraw_any", unit.contractor_id)
    if take_back_notice_done(done=row, by=request.user):  # type: ignore[arg-type]
        saved(request, _("%(unit)s: taken back. The recall notice stops it again.") % {"unit": unit.tag})
    return go(request, reverse("unit", args=[pk]))


@allowed("fill_unit_facts")
def facts(request: HttpRequest, pk: int) -> HttpResponse:
    """Fill in serial, purchase and price where they are missing."""
    unit: Trimmer = request.access.unit(pk, "fill_unit_facts")  # type: ignore[attr-defined]
    form = FactsForm(request.POST if request.method == "POST" else None, unit=unit)
    if request.method == "POST" and form.is_valid():
        try:
            fill_in(unit=unit, facts=form.cleaned_data, by=request.user, today=today_at(unit.contractor))  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            saved(request, _("%(unit)s: filled in.") % {"unit": unit.tag})
            return go(request, reverse("unit", args=[pk]))
    lead = _("Only what is missing is asked for. Read the serial off the plate; take date and price from the receipt.")
    return form_page(request, unit, form, heading=_("fill in what is missing"), submit=_("Save"), lead=lead)
