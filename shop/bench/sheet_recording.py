"""Recording the bench sheet: its taps go into the ledger by the writers that every other page uses, once."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction

from fleet.models import Trimmer
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.work import Work, record_service
from fleet.record.writing import By
from shop.bench.sheet_plan import Mended, Served, SheetPlan, Walk, plan_sheet
from shop.bench.sheet_reading import answers_on, recorded
from shop.bench.working import Found, add_job, finish_job, take_in_hand
from shop.bench.writing import add_event
from shop.models import DropOffLine, LineJob, SheetAnswer, SheetEntry
from shop.vocabulary import fault_job, task_job


@dataclass(frozen=True)
class Spent:
    """What one job took."""

    minutes: int | None = None
    parts_cost: Decimal | None = None


NOTHING_SPENT = Spent()


def plan_of(line: DropOffLine) -> SheetPlan:
    """What recording this line's sheet would write now; two queries."""
    return plan_sheet(answers_on(line), LineJob.objects.known().filter(line=line))


def record_sheet(
    *, line: DropOffLine, spent: Mapping[str, Spent], by: By, today: dt.date, now: dt.datetime
) -> SheetPlan:
    """Turn the taps that are not recorded yet into guard checks, services, failures and jobs; all of it or none.

    ``spent`` gives minutes and parts by job: ``task.grease``, ``fault.gearbox``. Sent twice it records once, since an
    answer is marked with what it became in the same transaction.
    """
    with transaction.atomic():
        visit, _lines, row, unit = take_in_hand(line)
        plan = plan_of(row)
        writer = _Writer(row, unit, by, today, now)
        if plan.walk is not None:
            writer.walk(plan.walk)
        for served in plan.served:
            writer.serve(served, spent.get(task_job(served.task), NOTHING_SPENT))
        for mended in plan.mended:
            writer.mend(mended, spent.get(fault_job(mended.component), NOTHING_SPENT))
        if plan:
            add_event(visit, "sheet", by.author, now, line=row)
    return plan


@dataclass
class _Writer:
    line: DropOffLine
    unit: Trimmer
    by: By
    today: dt.date
    now: dt.datetime

    def walk(self, walk: Walk) -> None:
        """As found, then as it is now."""
        seen = [Seen(self.unit, guard=walk.guard, line=walk.line), Seen(self.unit, walk.guard_after, walk.line_after)]
        entries = record_walk(seen=seen, on=self.today, by=self._by("walk", walk.answers), today=self.today)
        for answer in walk.answers:
            kept = entries[0].pk if entries else answer.entry_id
            if kept is not None:
                self._became(answer, "guard", kept)

    def serve(self, row: Served, spent: Spent) -> None:
        by = self._by(row.task, row.answers)
        if row.job is not None:
            job = self._finish(
                row.job, Found(row.as_found, row.done, minutes=spent.minutes, parts_cost=spent.parts_cost), by
            )
            entry = job.entry_id
        else:
            work = Work(
                self.unit, row.task, self.today, as_found=row.as_found, done=row.done, parts_cost=spent.parts_cost,
                minutes=None if spent.minutes is None else Decimal(spent.minutes),
            )  # fmt: skip
            entry = record_service(work=work, by=by, today=self.today).pk
        for answer in row.answers:
            self._became(answer, "service", entry or 0)

    def mend(self, row: Mended, spent: Spent) -> None:
        job = row.job
        if job is None:
            job = add_job(line=self.line, job=fault_job(row.component), author=self.by.author, now=self.now)
        kind, entry = "job", job.pk
        if row.done:
            found = Found(
                component=row.component, what=row.what, done=row.done, minutes=spent.minutes,
                parts_cost=spent.parts_cost,
            )  # fmt: skip
            job = self._finish(job, found, self._by(row.component, row.answers))
            kind, entry = "failure", job.entry_id or 0
        for answer in row.answers:
            self._became(answer, kind, entry)

    def _finish(self, job: LineJob, found: Found, by: By) -> LineJob:
        job.line = self.line
        return finish_job(job=job, found=found, by=by, today=self.today, now=self.now)

    def _by(self, what: str, answers: tuple[SheetAnswer, ...]) -> By:
        """The press that records these answers: the same answers give the same ids, whoever presses."""
        press = uuid.uuid5(uuid.NAMESPACE_OID, f"bench-sheet {what} {[a.pk for a in answers]}")
        return By(self.by.author, self.by.source, self.by.seen_as, press)

    def _became(self, answer: SheetAnswer, kind: str, entry: int) -> None:
        if recorded(answer) is None and not SheetEntry.objects.known().filter(answer=answer).exists():
            SheetEntry.objects.create(
                contractor_id=self.line.contractor_id, shop_id=self.line.shop_id, answer=answer, entry_kind=kind,
                entry_id=entry, author=self.by.author, at=self.now,
            )  # fmt: skip
