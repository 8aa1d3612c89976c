"""What is done about a job on a line: done now, not now, guard refitted, and taking back what was just saved."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Sequence

from django.contrib import messages
from django.core import signing
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.cautions import caution_for_task
from fleet.clock import today_at
from fleet.forms.jobs import DoneForm, NotNowForm
from fleet.forms.refusals import add_refusal
from fleet.models import Trimmer
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.postponing import postpone, resume
from fleet.record.undo import author_of, take_back
from fleet.record.work import Work, record_service
from fleet.record.writing import By, Refused
from fleet.upkeep.job_words import short_date
from fleet.upkeep.put_off import may_postpone
from fleet.upkeep.standing_flags import held_findings, hold_words_of, is_on_hold
from fleet.upkeep.stops import stops_for
from fleet.views.asking import UNDO_SALT, back_to, by_of, go, saved, show_form
from fleet.vocabulary import BENCH, OWNER, TASKS

UNDO_SECONDS = 6 * 60 * 60
USUAL_REST_DAYS = 14


def _unit_and_task(request: HttpRequest, pk: int, task: str, action: str) -> Trimmer:
    access = request.access  # type: ignore[attr-defined]
    unit: Trimmer = access.unit(pk, action)
    if task not in TASKS:
        raise Http404
    if TASKS[task].place == OWNER:
        access.require("see_money", unit.contractor_id)
    return unit


@allowed("log_work")
def done(request: HttpRequest, pk: int, task: str) -> HttpResponse:
    """Record a job as done, with how the part was found. Bench jobs are the shop's to record."""
    unit = _unit_and_task(request, pk, task, "log_work")
    if TASKS[task].place == BENCH and request.access.sees_as(unit.contractor_id) != "shop":  # type: ignore[attr-defined]
        raise Http404
    today, back = today_at(unit.contractor), back_to(request, reverse("unit", args=[pk]))
    form = DoneForm(request.POST or None, task=task, today=today)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        work = Work(unit, task, data["occurred_on"], data["as_found"], data["done"], data["hours"])
        try:
            entry = record_service(
                work=work, by=by_of(request, unit.contractor_id, data["client_entry_id"]), today=today
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            words = _("%(unit)s: %(job)s saved.") % {"unit": unit.tag, "job": TASKS[task].label}
            saved(request, words, [entry])
            say_holds(request, [unit])
            return go(request, back)
    context = {
        "unit": unit,
        "task": TASKS[task],
        "form": form,
        "stops": stops_for([(unit.pk, unit.model_id)], today).get(unit.pk, []),
        "caution": caution_for_task(task),
        "back": back,
        "submit": _("Save"),
        "heading": _("%(job)s, done now") % {"job": TASKS[task].label},
        "action": request.path,
    }
    return show_form(request, "fleet/job.html", context, f"do-{pk}-{task}", bad=form.is_bound)


def say_holds(request: HttpRequest, units: Sequence[Trimmer]) -> None:
    """Say which of these units rest now, and why: the person who just saved is the one who has to act on it."""
    for tag, words in hold_words_of(units):
        messages.warning(
            request, _("%(unit)s is on hold: do not start. %(why)s.") % {"unit": tag, "why": ", ".join(words)}
        )
    if not units:
        return
    stops = stops_for([(unit.pk, unit.model_id) for unit in units], today_at(units[0].contractor))
    for unit in units:
        for stop in stops.get(unit.pk, ()):
            messages.warning(
                request, _("%(unit)s: %(what)s. %(duty)s") % {"unit": unit.tag, "what": stop.sign, "duty": stop.duty}
            )


@allowed("postpone")
def not_now(request: HttpRequest, pk: int, task: str) -> HttpResponse:
    """Put a job off until a day, with a reason; what keeps people safe cannot be put off."""
    unit = _unit_and_task(request, pk, task, "postpone")
    if not may_postpone(task, is_on_hold(unit, task)):
        raise Http404
    today, back = today_at(unit.contractor), back_to(request, reverse("unit", args=[pk]))
    lead = _("Putting it off does not change what the manual asks.")
    form = NotNowForm(request.POST or None, initial={"until": today + dt.timedelta(days=USUAL_REST_DAYS)})
    if request.method == "POST" and form.is_valid():
        by = by_of(request, unit.contractor_id, form.cleaned_data["client_entry_id"])
        try:
            said = postpone(
                unit=unit, task=task, until=form.cleaned_data["until"], reason=form.reason_words(), by=by, today=today
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            words = _("%(unit)s: %(job)s put off until %(date)s.")
            values = {"unit": unit.tag, "job": TASKS[task].label, "date": short_date(said.until, today)}
            saved(request, words % values, [said])
            return go(request, back)
    context = {
        "unit": unit,
        "task": TASKS[task],
        "form": form,
        "lead": lead,
        "back": back,
        "submit": _("Put off"),
        "heading": _("%(job)s, not now") % {"job": TASKS[task].label},
        "action": request.path,
    }
    return show_form(request, "fleet/job.html", context, f"do-{pk}-{task}", bad=form.is_bound)


@allowed("postpone")
@require_POST
def pick_up_again(request: HttpRequest, pk: int, task: str) -> HttpResponse:
    """Bring a job that was put off back onto the list."""
    unit = _unit_and_task(request, pk, task, "postpone")
    resume(unit=unit, task=task)
    saved(request, _("%(unit)s: %(job)s is back on the list.") % {"unit": unit.tag, "job": TASKS[task].label})
    return go(request, back_to(request, reverse("ready")))


@allowed("log_work")
@require_POST
def guard_refitted(request: HttpRequest, pk: int) -> HttpResponse:
    """One tap: the guard is on again, or a sound one in place of a damaged one, so the hold is lifted."""
    unit = request.access.unit(pk, "log_work")  # type: ignore[attr-defined]
    today = today_at(unit.contractor)
    by = by_of(request, unit.contractor_id, _press(request))
    damaged = "guard_damaged" in held_findings(unit, "head")
    try:
        # Found off (a damaged guard counts as off) and left on, whether the same guard went back or a sound one.
        entries = record_walk(seen=[Seen(unit, guard="refitted")], on=today, by=by, today=today)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        words = _("%(unit)s: sound guard fitted, recorded.") if damaged else _("%(unit)s: guard refitted, recorded.")
        saved(request, words % {"unit": unit.tag}, entries)
        say_holds(request, [unit])
    return go(request, back_to(request, reverse("ready")))


def _press(request: HttpRequest) -> uuid.UUID | None:
    try:
        return uuid.UUID(request.POST.get("client_entry_id", ""))
    except ValueError:
        return None


@allowed("log_work")
@require_POST
def undo(request: HttpRequest) -> HttpResponse:
    """Withdraw what the message's button names: the person's own entries, while the button is fresh."""
    back = back_to(request, reverse("ready"))
    try:
        keys = signing.loads(request.POST.get("entries", ""), salt=UNDO_SALT, max_age=UNDO_SECONDS)
    except signing.SignatureExpired:
        messages.error(request, _("This is too long ago to undo here. Withdraw the entry on the unit's page."))
        return go(request, back)
    except signing.BadSignature:
        raise Http404 from None
    entries = [(str(kind), int(pk)) for kind, pk in keys]
    for kind, pk in entries:
        found = author_of(kind, pk)
        if found is None or found[0] != request.user.pk:
            raise Http404
    try:
        take_back(entries=entries, by=By(request.user, "screen"))  # type: ignore[arg-type]
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("Taken back. The history still shows it, struck through."))
    return go(request, back)
