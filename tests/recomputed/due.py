"""The Ready list worked out again, slowly, from the exported files: one dictionary for each unit and task."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable
from dataclasses import dataclass

from scipy.stats import norm

from tests.recomputed import reasons
from tests.recomputed.holds import holds_of
from tests.recomputed.hours import Line, line_of
from tests.recomputed.reading import TASKS, Limit, Party, Unit, day
from tests.recomputed.season import Calendar, in_year, months_on
from tests.recomputed.usage import ONE, crew_shares, learn

CHECKS = {"mounts", "stop_switch", "clutch", "head", "review"}  # looking is the whole job
Z80 = float(norm.ppf(0.9))
HORIZON = 3 * 366


@dataclass(frozen=True)
class Record:
    """What the failures on record say of one task: hours, what these rest on, and the sentences about it."""

    hours: float | None
    basis: str = "manual"
    failures: int = 0
    why: tuple[str, ...] = ()


# For (unit, task).
Learned = Callable[[Unit, str], Record]


@dataclass(frozen=True)
class Done:
    """When a task was last done, and from when it counts."""

    hours: float | None
    on: dt.date | None
    from_hours: float
    from_on: dt.date


def last_done(unit: Unit, line: Line, task: str) -> Done:
    """The last service that renews the task; for grease, also a gearbox repaired or replaced."""
    found: list[tuple[dt.date, int, int, str]] = []
    for number, r in enumerate(unit.services):
        if r["task"] == task and (r["done"] != "looked" or task in CHECKS):
            found.append((day(r["date"]), 0, number, r["hours"]))
    for number, r in enumerate(unit.failures):
        if task == "grease" and r["component"] == "gearbox" and r["done"] in ("repaired", "replaced"):
            found.append((day(r["date"]), 1, number, r["hours"]))
    if not found:
        new = unit.start == 0 and unit.bought is not None
        return Done(None, None, unit.start, unit.bought if new and unit.bought else unit.registered)
    date, _kind, _number, hours = max(found)
    at = float(hours) if hours else line.on(date)
    return Done(at, date, at, date)


class Ahead:
    """Hours from the last known day on: mean, and spread that grows with weeks, doubt about the rate, and bias."""

    def __init__(self, line: Line, calendar: Calendar, counts_from: float) -> None:
        self.line, self.calendar = line, calendar
        since_done = max(line.hours - counts_from, 0.0)
        self.biased = min(line.since_reading, since_done)
        share = self.biased / line.since_reading if line.since_reading > 0 else 1.0
        self.variance = line.variance * share
        self._worth = [0.0]

    def expected(self, date: dt.date) -> float:
        days = max((date - self.line.known_until).days, 0)
        while len(self._worth) <= days:
            self._worth.append(self._worth[-1] + self.calendar.worth(self.line.known_until + len(self._worth) * ONE))
        return self.line.day_rate * self._worth[days]

    def sd(self, x: float) -> float:
        line = self.line
        noise = line.week_cv**2 * line.day_rate * len(self.calendar.party.working_days) * x
        return math.sqrt(self.variance + noise + (line.rate_cv * x) ** 2 + (line.bias_cv * (self.biased + x)) ** 2)

    def at(self, date: dt.date, sign: float = 0.0) -> float:
        x = self.expected(date)
        return self.line.hours + x + sign * Z80 * self.sd(x)

    def chance(self, target: float, date: dt.date) -> float:
        x = self.expected(date)
        gap, sd = self.line.hours + x - target, self.sd(x)
        return float(norm.cdf(gap / sd)) if sd > 0 else float(gap >= 0)

    def passes(self, target: float, last: dt.date, sign: float) -> dt.date | None:
        """First day, from the last known one to the calendar's end, on which the (shifted) hours reach the target."""
        date = self.line.known_until
        while date <= last:
            if self.at(date, sign) >= target - 1e-9:
                return date
            date += ONE
        return None


def _earliest(*dates: dt.date | None) -> dt.date | None:
    return min((d for d in dates if d is not None), default=None)


def _due_date(unit: Unit, task: str, limit: Limit, done: Done, calendar: Calendar, as_of: dt.date) -> dt.date | None:
    if not limit.months:
        return None
    if task == "lay_up":
        close = calendar.close_of_cycle(as_of)
        laid_up = done.on is not None and done.on >= close - 60 * ONE
        if laid_up or done.from_on > close:
            return calendar.next_close(max(close, done.from_on) + ONE)
        return close
    order_by = calendar.party.settings.get("order_by", "")
    if task == "review" and order_by:
        rested = done.from_on + 180 * ONE
        month_day = order_by[-5:]
        return min(d for y in (0, 1) if (d := in_year(rested.year + y, month_day)) >= rested)
    return months_on(done.from_on, limit.months)


def ready_list(
    parties: dict[str, Party], as_of: dt.date, before: dt.date | None = None, learned: Learned | None = None
) -> list[dict[str, object]]:
    """Rows with the keys of the command's JSON, unrounded; words left out."""
    rows = []
    lines = {}
    for party in parties.values():
        shares = crew_shares(party)
        usual = learn(party, shares)
        for unit in party.units:
            lines[id(unit)] = line_of(unit, usual, [s for s in shares if s.unit is unit]), usual.calendar
    # The calendar ends so many days after the furthest day asked about.
    ends = {p.name: before or Calendar(p).next_opening(as_of) for p in parties.values()}
    known = [lines[id(u)][0].known_until for p in parties.values() for u in p.units if u.retired is None]
    first, furthest = min(known, default=as_of), max([*known, *ends.values(), as_of])
    last = min(first, as_of) + (furthest + HORIZON * ONE - min(first, as_of)) - ONE
    for party in parties.values():
        for unit in party.units:
            if unit.retired is None:
                line, calendar = lines[id(unit)]
                rows += _rows_of(party, unit, line, calendar, as_of, ends[party.name], last, learned)
    return [r for r in rows if before is None or r["state"] != "later"]


def _rows_of(
    party: Party, unit: Unit, line: Line, calendar: Calendar, as_of: dt.date, end: dt.date, last: dt.date,
    learned: Learned | None,
) -> list[dict[str, object]]:  # fmt: skip
    held, rows = holds_of(unit), []
    for task in TASKS:
        limit = party.limits[unit.model][task]
        if limit.hours is None and not limit.months and task not in held:
            continue
        record = learned(unit, task) if learned is not None else Record(None)
        interval = limit.hours if record.hours is None else record.hours
        done = last_done(unit, line, task)
        ahead = Ahead(line, calendar, done.from_hours)
        due_hours = None if interval is None else done.from_hours + interval
        due_date = _due_date(unit, task, limit, done, calendar, as_of)
        passed = None if due_hours is None else line.passed_on(due_hours)
        dates = [
            _earliest(passed or (None if due_hours is None else ahead.passes(due_hours, last, sign)), due_date)
            for sign in (0.0, 1.0, -1.0)
        ]
        sure = passed is not None or (due_date is not None and due_date <= max(end, as_of))
        chance = 1.0 if sure else 0.0 if due_hours is None else ahead.chance(due_hours, max(end, as_of))
        now, high = ahead.at(as_of), ahead.at(as_of, 1.0)
        if task in held:
            state = "hold"
        elif (due_hours is not None and now > due_hours) or (due_date is not None and due_date < as_of):
            state = "past_due"
        elif (due_hours is not None and high >= due_hours) or (dates[0] is not None and dates[0] <= as_of + 7 * ONE):
            state = "due_now"
        else:
            state = "due_by" if chance >= 0.5 else "later"
        rows.append(
            {
                "contractor": unit.contractor,
                "unit": unit.tag,
                "crew": unit.crew_now or None,
                "model": unit.model,
                "task": task,
                "state": state,
                "hours_now": now,
                "hours_now_low": max(ahead.at(as_of, -1.0), 0.0),
                "hours_now_high": high,
                "last_done_hours": done.hours,
                "interval_hours": interval,
                "manual_source": limit.source,
                "due_hours": due_hours,
                "due_on": dates[0],
                "due_on_early": dates[1],
                "due_on_late": dates[2],
                "probability_by": chance,
                "interval_basis": "safety" if task in held else record.basis,
                "failures_behind": record.failures,
                "reasons": reasons.hold(held[task])
                if task in held
                else _why(unit, line, task, limit, interval, record, done, due_date, dates[0], now, calendar),
            }
        )
    return rows


def _why(
    unit: Unit, line: Line, task: str, limit: Limit, interval: float | None, record: Record, done: Done,
    due_date: dt.date | None, due_on: dt.date | None, now: float, calendar: Calendar,
) -> list[str]:  # fmt: skip
    week = line.day_rate * len(calendar.party.working_days)
    source = limit.source if record.basis == "manual" else "record"
    said = [reasons.interval(interval, limit.months, week, source), *record.why]
    if not record.why:
        said.append(reasons.ALONE)
    if task == "lay_up" and due_date is not None:
        said.append(f"Fuel out and run dry by the season's close on {reasons.on(due_date)}.")
    said.append(reasons.last_done(task, done.on, done.from_hours, done.from_on))
    if due_date is not None and due_on == due_date and task != "lay_up":
        before = ", before its hours" if interval is not None else ""
        said.append(f"Its months are up on {reasons.on(due_date)}{before}.")
    if interval is not None:
        until = line.known_until + (ONE if line.basis == "none" else 0 * ONE)
        said.append(reasons.hours(line.basis, until, line.guessed, now - line.hours))
    return said
