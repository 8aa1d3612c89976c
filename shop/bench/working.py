"""At the bench: steps of a line, jobs done with what was found, jobs left out. Done jobs go into the ledger."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Trimmer, User
from fleet.record.corrections import withdraw
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By, Refused
from fleet.vocabulary import COMPONENTS, FAILURE_DONE, TASKS
from shop.bench.minutes import minutes_of
from shop.bench.sheet_plan import plan_sheet, run_faults
from shop.bench.sheet_reading import answers_on
from shop.bench.writing import add_event, lines_of_visit, lock_visit, move_line, settle, write_mail
from shop.models import DropOff, DropOffLine, LineJob
from shop.vocabulary import (
    CHECKED_IN,
    IN_SHOP,
    NO_SHOW,
    NOT_BROKEN,
    ON_BENCH,
    PICKED_UP,
    READY,
    WAITING,
    fault_job,
    repair_job,
    task_job,
)

MOST_MINUTES = 1440


@dataclass(frozen=True)
class Found:
    """What was found and done at one job."""

    as_found: str = ""
    done: str = ""
    # For a fault: what it really was.
    component: str = ""
    what: str = ""
    cause: str = ""
    minutes: int | None = None
    parts_cost: Decimal | None = None
    warranty: bool | None = None


def step(*, line: DropOffLine, to: str, by: By, now: dt.datetime, note: str = "") -> DropOffLine:
    """Bring a line to its next state. *Ready* and *picked up* ask that every job is done or left out with a reason."""
    with transaction.atomic():
        visit = lock_visit(line.drop_off)
        lines = lines_of_visit(visit)
        row = find_line(lines, line)
        if row.state == to:
            return row
        if to == WAITING and not note.strip():
            raise Refused(_("Say what it waits for."), "note")
        if to in (READY, PICKED_UP):
            _refuse_unrecorded(row)
        if to == READY:
            _refuse_undone(row)
            _refuse_bad_run(row, note)
        was_ready = all(one.state == READY for one in lines if one.state in IN_SHOP)
        move_line(row, to, by.author, now, note=note.strip(), waiting_for=note.strip()[:120] if to == WAITING else "")
        settle(visit, lines)
        if to == READY and not was_ready and all(one.state == READY for one in lines if one.state in IN_SHOP):
            write_mail(visit, "ready", now)
        if to == NO_SHOW and visit.state == NO_SHOW:
            write_mail(visit, "no_show", now)
    return row


def finish_job(*, job: LineJob, found: Found, by: By, today: dt.date, now: dt.datetime) -> LineJob:
    """Record a job as done: in the ledger where it is a task or a repair, with minutes wherever they were taken."""
    with transaction.atomic():
        visit, line, row = _lock_job(job)
        if row.done_at is not None:
            return row
        if line.state not in IN_SHOP:
            raise _not_here(line)
        if found.minutes is not None and not 0 <= found.minutes <= MOST_MINUTES:
            raise Refused(_("This figure is too large or below zero. Check it."), "minutes")
        kind, _dot, rest = row.job.partition(".")
        if line.trimmer is not None and kind == "task":
            _serve(row, line, rest, found, by, today)
        elif line.trimmer is not None and kind in ("fault", "repair"):
            _mend(row, line, rest.partition(".")[0], found, by, today, now)
        row.done_at, row.minutes_taken, row.left_out = now, found.minutes, ""
        row.save()
        lines = lines_of_visit(visit)
        begin(visit, lines, find_line(lines, line), by.author, now)
    return row


def leave_out(*, job: LineJob, why: str, by: By, now: dt.datetime) -> LineJob:
    """Leave a job undone and say why, for example that the owner said no."""
    why = why.strip()
    if not why:
        raise Refused(_("Say in a few words why it is left out."), "why")
    with transaction.atomic():
        visit, line, row = _lock_job(job)
        if row.done_at is not None:
            raise Refused(_("This job is done already. Load the page again."))
        row.left_out = why[:120]
        row.save()
        add_event(visit, "left_out", by.author, now, line=line, note=f"{row.job}: {why}")
    return row


def add_job(*, line: DropOffLine, job: str, author: User | None, now: dt.datetime) -> LineJob:
    """A job nobody had booked: a task that turned out due, or a fault found at the bench."""
    with transaction.atomic():
        visit = lock_visit(line.drop_off)
        lines = lines_of_visit(visit)
        row = find_line(lines, line)
        known = {*(task_job(task) for task in TASKS), *(fault_job(part) for part in COMPONENTS)}
        if row.trimmer is None or job not in known:
            raise Refused(_("Choose one of the answers offered."), "job")
        if row.state not in IN_SHOP:
            raise _not_here(row)
        there = LineJob.objects.known().filter(line=row, job=job, done_at=None).first()
        if there is not None:
            return there
        minutes = minutes_of(visit.shop).of(job)
        made = LineJob.objects.create(
            contractor_id=row.contractor_id, shop_id=row.shop_id, line=row, job=job, minutes=minutes, added="bench"
        )
        row.minutes += minutes
        row.save(update_fields=["minutes"])
        add_event(visit, "job", author, now, line=row, after=job)
    return made


def take_in_hand(line: DropOffLine) -> tuple[DropOff, list[DropOffLine], DropOffLine, Trimmer]:
    """The visit, locked; its lines; this one of them and its unit, which must be in the shop."""
    visit = lock_visit(line.drop_off)
    lines = lines_of_visit(visit)
    row = find_line(lines, line)
    if row.trimmer is None or row.state not in IN_SHOP:
        raise _not_here(row)
    return visit, lines, row, row.trimmer


def begin(
    visit: DropOff, lines: Sequence[DropOffLine], row: DropOffLine, author: User | None, now: dt.datetime
) -> None:
    """What was only checked in is on the bench from the first thing that is done to it."""
    if row.state == CHECKED_IN:
        move_line(row, ON_BENCH, author, now)
        settle(visit, lines)


def _not_here(line: DropOffLine) -> Refused:
    return Refused(_("%(name)s is not in the shop. Check it in first.") % {"name": line.name})


def find_line(lines: list[DropOffLine], wanted: DropOffLine) -> DropOffLine:
    found = next((line for line in lines if line.pk == wanted.pk), None)
    if found is None:
        raise Refused(_("This is not on the list any more. Load the page again."))
    return found


def _lock_job(job: LineJob) -> tuple[DropOff, DropOffLine, LineJob]:
    visit = lock_visit(job.line.drop_off)
    line = find_line(lines_of_visit(visit), job.line)
    return visit, line, LineJob.objects.known().get(pk=job.pk)


def _refuse_undone(line: DropOffLine) -> None:
    undone = LineJob.objects.known().filter(line=line, done_at=None, left_out="").count()
    if undone:
        raise Refused(
            _("Jobs are still open on %(name)s. Record each, or leave it out and say why.") % {"name": line.name}
        )


def _refuse_bad_run(line: DropOffLine, note: str) -> None:
    """A unit that ran badly at the last test is not ready, unless it is said why it leaves like that."""
    bad = run_faults(answers_on(line)) if line.trimmer_id is not None else []
    if bad and not note.strip():
        raise Refused(
            _("%(name)s did not pass its run test: %(bad)s. Put it right and test again, or say why it leaves so.")
            % {"name": line.name, "bad": ", ".join(bad)},
            "note",
        )


def _refuse_unrecorded(line: DropOffLine) -> None:
    """What was tapped on the bench sheet is in the ledger before the unit leaves the bench."""
    if line.trimmer_id is None:
        return
    answers = answers_on(line)
    if answers and plan_sheet(answers, LineJob.objects.known().filter(line=line)):
        raise Refused(_("The bench sheet of %(name)s is not recorded yet. Record it first.") % {"name": line.name})


def _serve(row: LineJob, line: DropOffLine, task: str, found: Found, by: By, today: dt.date) -> None:
    assert line.trimmer is not None
    work = Work(
        line.trimmer, task, today, as_found=found.as_found, done=found.done or "serviced",
        minutes=_amount(found.minutes), parts_cost=found.parts_cost, warranty=found.warranty,
    )  # fmt: skip
    entry = record_service(work=work, by=by.part(f"job-{row.pk}"), today=today)
    row.entry_kind, row.entry_id = "service", entry.pk


def _mend(row: LineJob, line: DropOffLine, booked: str, found: Found, by: By, today: dt.date, now: dt.datetime) -> None:
    """What it really was, as one failure with its repair; the words it came in with are withdrawn in its favor."""
    assert line.trimmer is not None
    component = found.component or booked
    if found.done == NOT_BROKEN:
        _nothing_broken(row, line, found, by, now)
        return
    if found.done not in FAILURE_DONE:
        raise Refused(_("Say what was done: repaired, replaced, or scrapped."), "done")
    before = row.failure
    on = today if before is None else min(before.occurred_on, today)
    what = found.what.strip() or (before.what if before is not None else "")
    broken = Broken(
        line.trimmer, component, today, what=what, cause=found.cause, done=found.done,
        found="at_look" if before is None else before.found, minutes=_amount(found.minutes),
        parts_cost=found.parts_cost, warranty=found.warranty, downtime_days=Decimal((today - on).days),
    )  # fmt: skip
    entry = record_failure(broken=broken, by=by.part(f"job-{row.pk}"), today=today)
    if before is not None:
        why = _("Seen to at the bench and recorded there as what it was.")
        withdraw(kind="failure", entry_id=before.pk, why=why, by=by.part(f"withdraw-{row.pk}"))
    row.entry_kind, row.entry_id = "failure", entry.pk
    if found.done in ("repaired", "replaced"):
        row.job = repair_job(component, found.done)


def _nothing_broken(row: LineJob, line: DropOffLine, found: Found, by: By, now: dt.datetime) -> None:
    """The complaint came from use: its failure is withdrawn, so no part is blamed; the words stay with the visit."""
    what = found.what.strip()
    if not what:
        raise Refused(_("Say in a few words what it was."), "what")
    if row.failure is not None:
        why = _("Nothing was broken: %(what)s") % {"what": what}
        withdraw(kind="failure", entry_id=row.failure.pk, why=why[:200], by=by.part(f"withdraw-{row.pk}"))
    add_event(line.drop_off, "not_broken", by.author, now, line=line, note=what)


def _amount(minutes: int | None) -> Decimal | None:
    return None if minutes is None else Decimal(minutes)
