"""First checks at the bench: answers kept one by one, what is found made a job, and a hold where it can hurt."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.db.models import Count
from django.utils.translation import gettext as _

from fleet.models import Trimmer
from fleet.record.writing import By, Refused
from shop.bench.holding import hold_unit, release_unit, told_already
from shop.bench.working import add_job, begin, take_in_hand
from shop.bench.writing import add_event
from shop.first_checks import NONE, Cause, symptoms
from shop.models import CheckAnswer, CheckRun, DropOffLine, LineJob
from shop.vocabulary import (
    CHECK_ANSWERS,
    FOUND_IT,
    PICKED_UP,
    READY,
    SYMPTOMS,
    TAKEN_BACK,
    fault_job,
)

# What a cause that can hurt is called in the ledger, by complaint or else by part; either holds the unit at once.
_HOLD_OF_SYMPTOM = {"head_turns_at_idle": "turns_at_idle", "no_stop_switch_off": "no_stop", "fuel_leak": "fuel_leak"}
_HOLD_OF_PART = {
    "stop_switch_wiring": "no_stop",
    "guard_state": "guard_damaged",
    "cutting_head": "cracked_head",
    "av_mounts": "loose_handle",
    "fasteners": "loose_handle",
}


def hold_of(symptom: str, cause: Cause) -> str:
    """The fault under which a cause of safety holds the unit; empty for one that is none."""
    if not cause.safety:
        return ""
    return _HOLD_OF_SYMPTOM.get(symptom) or _HOLD_OF_PART[cause.part]


def own_findings(shop_id: int, symptom: str) -> dict[str, int]:
    """How often each cause was found here in this complaint, over the units made ready since."""
    rows = CheckRun.objects.at_shops([shop_id]).filter(symptom=symptom, line__state__in=(READY, PICKED_UP))
    return dict(rows.exclude(found="").values_list("found").annotate(n=Count("pk")).order_by())


def run_of(line: DropOffLine, symptom: str) -> CheckRun | None:
    """The checks begun on this line for this complaint."""
    run: CheckRun | None = CheckRun.objects.known().filter(line=line, symptom=symptom).first()
    return run


def answers_of(run: CheckRun | None) -> dict[str, CheckAnswer]:
    """Answers that stand, by cause, the latest last."""
    found: dict[str, CheckAnswer] = {}
    if run is not None:
        for answer in CheckAnswer.objects.known().filter(run=run).select_related("author").order_by("pk"):
            found.pop(answer.cause, None)
            if answer.answer != TAKEN_BACK:
                found[answer.cause] = answer
    return found


def found_at(line: DropOffLine, job: str) -> Cause | None:
    """What the checks found, for the repair it belongs to: the complaint's job, or its own component's."""
    for run in CheckRun.objects.known().filter(line=line).exclude(found__in=("", NONE)).order_by("-pk"):
        cause = symptoms()[run.symptom].cause(run.found)
        if job in (fault_job(SYMPTOMS[run.symptom].component), fault_job(cause.component)):
            return cause
    return None


def findings_told(line: DropOffLine) -> list[str]:
    """What the checks on this line found, in words, by when they were begun."""
    runs = CheckRun.objects.known().filter(line=line).exclude(found="").order_by("pk")
    return [
        _("something not in the table") if run.found == NONE else symptoms()[run.symptom].cause(run.found).text
        for run in runs
    ]


def answer_check(
    *, line: DropOffLine, symptom: str, cause: str, answer: str, by: By, today: dt.date, now: dt.datetime
) -> CheckRun:
    """Keep one answer. What is found becomes a job, and holds the unit at once where it can hurt.

    Taking an answer back withdraws the hold it made; a job it added stays, to be left out with a reason.
    """
    with transaction.atomic():
        visit, lines, row, unit = take_in_hand(line)
        known = symptoms().get(symptom)
        causes: Mapping[str, Cause] = {} if known is None else {c.key: c for c in known.causes}
        if (cause not in causes and cause != NONE) or answer not in CHECK_ANSWERS:
            raise Refused(_("Choose one of the answers offered."))
        if by.client_entry_id is not None:
            sent = CheckAnswer.objects.known().filter(client_entry_id=by.client_entry_id).first()
            if sent is not None:
                if sent.run.line_id != row.pk:
                    raise Refused(_("This form was used already. Load the page again."))
                same: CheckRun = sent.run
                return same
        run, _new = CheckRun.objects.known().get_or_create(
            line=row,
            symptom=symptom,
            defaults={
                "contractor_id": row.contractor_id, "shop_id": row.shop_id, "started_by": by.author, "started_at": now,
            },
        )  # fmt: skip
        before = answers_of(run).get(cause)
        if before is not None and before.answer == answer:
            return run
        if answer == FOUND_IT and run.found:
            raise Refused(_("Something is recorded as found already. Take that back first."))
        kept: dict[str, Any] = {}
        if answer == FOUND_IT:
            run.found = cause
            if cause != NONE:
                kept = _follow(row, unit, symptom, causes[cause], by, today, now)
        elif run.found == cause:
            run.found = ""
            if before is not None and before.entry_id is not None:
                release_unit(before, _("The check's answer was taken back."), by)
        run.save(update_fields=["found"])
        CheckAnswer.objects.create(
            contractor_id=row.contractor_id, shop_id=row.shop_id, run=run, cause=cause, answer=answer,
            author=by.author, at=now, client_entry_id=by.client_entry_id, **kept,
        )  # fmt: skip
        if answer == FOUND_IT:
            words = _("something not in the table") if cause == NONE else causes[cause].text
            add_event(visit, "checked", by.author, now, line=row, after=cause, note=words)
        begin(visit, lines, row, by.author, now)
    return run


def _follow(
    line: DropOffLine, unit: Trimmer, symptom: str, cause: Cause, by: By, today: dt.date, now: dt.datetime
) -> dict[str, Any]:
    """The hold and the job that follow from a finding; returns the ledger's row of the hold, if one was made."""
    kept: dict[str, Any] = {}
    hold = hold_of(symptom, cause)
    if hold and not told_already(line, unit, hold):
        kept = hold_unit(unit, hold, by, today)
    jobs = {fault_job(SYMPTOMS[symptom].component), fault_job(cause.component)}
    waiting = LineJob.objects.known().filter(line=line, job__in=jobs, done_at=None, left_out="")
    if not cause.about_use and not waiting.exists():
        add_job(line=line, job=fault_job(cause.component), author=by.author, now=now)
    return kept
