"""Visits with their lines and jobs as pages list them: a constant number of queries, whatever their number."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from django.db.models import QuerySet

from fleet.models import Shop, UnitState
from shop.models import CheckIn, DropOff, DropOffLine, LineJob
from shop.vocabulary import CANCELLED, EXPECTED, IN_SHOP, NO_SHOW, READY


@dataclass
class LineRow:
    """A line with its jobs, and the check-in that stands."""

    line: DropOffLine
    jobs: list[LineJob] = field(default_factory=list)
    check_in: CheckIn | None = None

    @property
    def open_jobs(self) -> int:
        return sum(job.done_at is None and not job.left_out for job in self.jobs)


@dataclass
class VisitRow:
    """A visit with its lines."""

    visit: DropOff
    lines: list[LineRow] = field(default_factory=list)

    @property
    def coming(self) -> list[LineRow]:
        """Lines that are not called off."""
        return [row for row in self.lines if row.line.state != CANCELLED]

    @property
    def minutes(self) -> int:
        rows = [row for row in self.lines if row.line.state not in (CANCELLED, NO_SHOW)]
        return sum(row.line.minutes for row in rows) + self.visit.travel_minutes


def visit_rows(visits: QuerySet[Any]) -> list[VisitRow]:
    """These visits with lines, jobs and check-ins, in the order given; four queries."""
    rows = {v.pk: VisitRow(v) for v in visits.select_related("contractor", "crew", "shop")}
    lines = DropOffLine.objects.known().filter(drop_off__in=rows).select_related("trimmer__model").order_by("pk")
    by_line = line_rows(lines)
    for row in by_line:
        row.line.drop_off = rows[row.line.drop_off_id].visit
        rows[row.line.drop_off_id].lines.append(row)
    return list(rows.values())


def names_of(row: VisitRow) -> str:
    """Tags and other kit, a tag's letters said once: *QH-17, 22, 27, blower*."""
    words, before = [], ""
    for line in row.coming or row.lines:
        name = line.line.name
        stem, dash, number = name.rpartition("-")
        words.append(number if line.line.trimmer_id and dash and stem == before else name)
        before = stem if line.line.trimmer_id and dash else ""
    return ", ".join(words)


def line_rows(lines: Iterable[DropOffLine]) -> list[LineRow]:
    """Lines with their jobs and check-ins; two queries besides."""
    found = {line.pk: LineRow(line) for line in lines}
    for job in LineJob.objects.known().filter(line__in=found).select_related("failure").order_by("pk"):
        found[job.line_id].jobs.append(job)
    for told in CheckIn.objects.known().filter(line__in=found).order_by("at", "pk"):
        found[told.line_id].check_in = told
    return list(found.values())


def told_at_counter(line_id: int) -> CheckIn | None:
    """What was last said of a line at the counter."""
    return CheckIn.objects.known().filter(line=line_id).order_by("at", "pk").last()


def bench_lines(shop: Shop, *, states: Iterable[str]) -> list[LineRow]:
    """Lines at this shop in these states, those of earlier days first."""
    lines = DropOffLine.objects.at_shops([shop.pk]).filter(state__in=list(states))
    related = ("trimmer__model", "drop_off__contractor", "drop_off__crew", "drop_off__shop")
    return line_rows(lines.select_related(*related).order_by("drop_off__day", "drop_off_id", "pk"))


@dataclass(frozen=True)
class Late:
    """What is late, by kind."""

    not_come: list[LineRow]
    past_promise: list[LineRow]
    unclaimed: list[LineRow]

    def __bool__(self) -> bool:
        return bool(self.not_come or self.past_promise or self.unclaimed)


def what_is_late(rows: Sequence[LineRow], now: dt.datetime, bring_by: dt.time, unclaimed_days: int) -> Late:
    """Of these lines: booked and not come, promised for a day that is over, ready and not fetched. ``now`` is local."""
    today = now.date()
    not_come, past, unclaimed = [], [], []
    for row in rows:
        line = row.line
        day = line.drop_off.day
        if line.state == NO_SHOW or (
            line.state in EXPECTED - {"offered"} and (day < today or (day == today and now.time() > bring_by))
        ):
            not_come.append(row)
        elif line.state == READY:
            if line.ready_at is not None and (now - line.ready_at).days >= unclaimed_days:
                unclaimed.append(row)
        elif line.state in IN_SHOP and line.promised_on is not None and line.promised_on < today:
            past.append(row)
    return Late(not_come, past, unclaimed)


@dataclass(frozen=True)
class Away:
    """Of a crew's units, how many are away on a day."""

    units: int
    in_shop: tuple[dt.date | None, ...]
    expected: tuple[dt.date, ...]

    def on(self, day: dt.date, today: dt.date) -> int:
        """In the shop until the day promised (two days where none was), or expected there that day."""
        usual = today + dt.timedelta(days=2)
        still = sum((back or usual) >= day for back in self.in_shop)
        return still + sum(d == day for d in self.expected)


def units_away(contractor_id: int, crew_id: int | None, *, without: int | None = None) -> Away:
    """Which of a crew's (or contractor's) units are away, or will be, but for one visit's; two queries."""
    units = UnitState.objects.filter(contractor=contractor_id, in_use=True)
    lines = DropOffLine.objects.known().filter(contractor=contractor_id, trimmer__isnull=False, standing=True)
    if crew_id is not None:
        units = units.filter(crew=crew_id)
        lines = lines.filter(trimmer__state__crew=crew_id)
    if without is not None:
        lines = lines.exclude(drop_off=without)
    rows = list(lines.values_list("state", "promised_on", "drop_off__day"))
    return Away(
        units.count(),
        tuple(promised for state, promised, _day in rows if state in IN_SHOP),
        tuple(day for state, _promised, day in rows if state in EXPECTED),
    )
