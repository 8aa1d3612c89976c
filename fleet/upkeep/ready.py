"""The Ready list: what state each job is in on a day, and when it falls due, worked out when read."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from fleet.reliability.usage import NEVER, project_hours
from fleet.upkeep.days import date_of, day_of
from fleet.upkeep.season import Season
from fleet.vocabulary import DUE_BY, DUE_NOW, HOLD, LATER, PAST_DUE, STATE_ORDER, TASKS

# How far ahead a due date is looked for; beyond it the answer is "not in sight".
HORIZON_DAYS = 3 * 366
DUE_SOON_DAYS = 7
# A lay-up this long before the close counts for that winter.
LAY_UP_EARLY_DAYS = 60

Reason = tuple[str, dict]


@dataclass(frozen=True)
class UnitHours:
    """A unit's hours up to its last entry, as stored, with who and what it is."""

    unit: int
    tag: str
    contractor: int
    contractor_name: str
    crew: int | None
    crew_name: str
    model: int
    model_name: str
    known_until: dt.date
    hours: float
    variance: float
    since_reading: float
    day_rate: float
    bias_cv: float
    rate_cv: float
    week_cv: float
    basis: str
    guessed_share: float
    guard_off: float = 0.0


@dataclass(frozen=True)
class Flag:
    """A stored flag: when one task of a unit falls due."""

    task: str
    on_hold: bool
    last_done_hours: float | None
    last_done_on: dt.date | None
    counts_from_hours: float
    counts_from_on: dt.date
    interval_hours: float | None
    interval_months: int | None
    interval_basis: str
    manual_source: str
    due_hours: float | None
    due_date: dt.date | None
    passed_on: dt.date | None
    setting: str = ""
    staggered: bool = False
    extra_reasons: Sequence[Reason] = ()
    # Filled in by fleet.upkeep.behind.
    failures_behind: int = 0
    why: Sequence[Reason] = ()


@dataclass(frozen=True)
class Job:
    """One row of the answer: a task of a unit on a day. Hours and dates carry their 80 % band."""

    unit: UnitHours
    flag: Flag
    state: str
    hours_now: float
    hours_now_low: float
    hours_now_high: float
    due_on: dt.date | None
    due_on_early: dt.date | None
    due_on_late: dt.date | None
    probability_by: float
    as_of: dt.date
    days_per_week: int = 5

    @property
    def task(self) -> str:
        return self.flag.task

    @property
    def place(self) -> str:
        return TASKS[self.flag.task].place

    @property
    def by_date(self) -> bool:
        """Whether the months, not the hours, make it due."""
        flag = self.flag
        return flag.due_date is not None and (flag.due_hours is None or self.due_on == flag.due_date)

    @property
    def hours_left(self) -> float | None:
        return None if self.flag.due_hours is None else self.flag.due_hours - self.hours_now


@dataclass(frozen=True)
class UnitJobs:
    """A unit with its jobs, worst first."""

    unit: UnitHours
    jobs: list[Job] = field(default_factory=list)

    @property
    def state(self) -> str:
        return self.jobs[0].state if self.jobs else LATER


def lay_up_date(flag: Flag, season: Season, as_of: dt.date) -> dt.date:
    """The season close the unit is next to be laid up for: missed ones of past seasons are history once it runs."""
    close = season.close_of_cycle(as_of)
    last = flag.last_done_on
    done = last is not None and last >= close - dt.timedelta(days=LAY_UP_EARLY_DAYS)
    if done or flag.counts_from_on > close:
        return season.next_close(max(close, flag.counts_from_on) + dt.timedelta(days=1))
    return close


def jobs_on(
    rows: Sequence[tuple[UnitHours, Flag]],
    seasons: Mapping[int, Season],
    as_of: dt.date,
    before: dt.date | None = None,
    *,
    later: bool = True,
) -> list[Job]:
    """State and dates of each row on ``as_of``; ``before`` is the day to last to (default: the next opening).

    The list keeps the order of ``rows``; jobs that can wait until after that day are left out unless ``later``.
    ``seasons`` is by contractor.
    """
    if not rows:
        return []
    # A unit's own figures are read once, and spread over its rows.
    units = list({id(unit): unit for unit, _flag in rows}.values())
    place = {id(unit): i for i, unit in enumerate(units)}
    unit_of = np.array([place[id(unit)] for unit, _flag in rows])
    contractors = sorted({unit.contractor for unit in units})
    row_of = {pk: i for i, pk in enumerate(contractors)}
    ends = {pk: before or seasons[pk].next_opening(as_of) for pk in contractors}
    first = min(day_of(as_of), min(day_of(unit.known_until) for unit in units))
    last = max(max(day_of(d) for d in ends.values()), day_of(as_of), max(day_of(u.known_until) for u in units))
    days = last + HORIZON_DAYS - first
    calendar = np.stack([seasons[pk].worth(first, days) for pk in contractors]).cumsum(axis=1)
    n = len(rows)
    due_dates = [
        lay_up_date(flag, seasons[unit.contractor], as_of) if flag.task == "lay_up" else flag.due_date
        for unit, flag in rows
    ]

    def of_unit(get: Callable[[UnitHours], float]) -> np.ndarray:
        return np.array([get(unit) for unit in units], dtype=float)[unit_of]

    def of_flag(get: Callable[[Flag], float]) -> np.ndarray:
        return np.fromiter((get(flag) for _unit, flag in rows), dtype=float, count=n)

    hours = of_unit(lambda u: u.hours)
    since = of_unit(lambda u: u.since_reading)
    # Doubt about hours run before the task was last done does not touch the hours run since.
    since_done = np.maximum(hours - of_flag(lambda f: f.counts_from_hours), 0.0)
    row_since = np.minimum(since, since_done)
    share = np.where(since > 0, row_since / np.where(since > 0, since, 1.0), 1.0)
    ahead = project_hours(
        hours=hours,
        target=of_flag(lambda f: np.nan if f.due_hours is None else f.due_hours),
        day_rate=of_unit(lambda u: u.day_rate),
        calendar=calendar,
        known_day=of_unit(lambda u: day_of(u.known_until) - first).astype(np.int64),
        start_day=np.full(n, day_of(as_of) - first),
        by_day=of_unit(lambda u: max(day_of(ends[u.contractor]), day_of(as_of)) - first).astype(np.int64),
        calendar_of=of_unit(lambda u: row_of[u.contractor]).astype(np.int64),
        variance=of_unit(lambda u: u.variance) * share,
        biased_hours=row_since,
        bias_cv=of_unit(lambda u: u.bias_cv),
        week_cv=of_unit(lambda u: u.week_cv),
        rate_cv=of_unit(lambda u: u.rate_cv),
        days_per_week=of_unit(lambda u: seasons[u.contractor].days_per_week),
    )
    # Plain numbers: taking them out of an array one by one is slow.
    days, early, late = ahead.day.tolist(), ahead.day_early.tolist(), ahead.day_late.tolist()
    nows, lows, highs = ahead.hours.tolist(), ahead.hours_low.tolist(), ahead.hours_high.tolist()
    probabilities = ahead.probability.tolist()
    jobs = []
    for i, (unit, flag) in enumerate(rows):
        if due_dates[i] is not flag.due_date:
            flag = Flag(**{**flag.__dict__, "due_date": due_dates[i]})
        now, high = nows[i], highs[i]
        due_on = _first(flag.passed_on or _date(first, days[i], flag), flag.due_date)
        end = ends[unit.contractor]
        probability = probabilities[i]
        if flag.due_date is not None and flag.due_date <= max(end, as_of):
            probability = 1.0
        if flag.passed_on is not None:
            probability = 1.0
        state = _state(flag, now, high, due_on, probability, as_of)
        if state == LATER and not later:
            continue
        jobs.append(
            Job(
                unit=unit,
                flag=flag,
                state=state,
                hours_now=now,
                hours_now_low=lows[i],
                hours_now_high=high,
                due_on=due_on,
                due_on_early=_first(flag.passed_on or _date(first, early[i], flag), flag.due_date),
                due_on_late=_first(flag.passed_on or _date(first, late[i], flag), flag.due_date),
                probability_by=probability,
                as_of=as_of,
                days_per_week=seasons[unit.contractor].days_per_week,
            )
        )
    return jobs


def _date(first: int, day: int, flag: Flag) -> dt.date | None:
    return None if flag.due_hours is None or day == NEVER else date_of(first + day)


def _first(a: dt.date | None, b: dt.date | None) -> dt.date | None:
    if a is None or b is None:
        return b if a is None else a
    return min(a, b)


def _state(
    flag: Flag, hours: float, hours_high: float, due_on: dt.date | None, probability: float, as_of: dt.date
) -> str:
    if flag.on_hold:
        return HOLD
    over = flag.due_hours is not None and hours > flag.due_hours
    if over or (flag.due_date is not None and flag.due_date < as_of):
        return PAST_DUE
    reached = flag.due_hours is not None and hours_high >= flag.due_hours
    if reached or (due_on is not None and due_on <= as_of + dt.timedelta(days=DUE_SOON_DAYS)):
        return DUE_NOW
    return DUE_BY if probability >= 0.5 else LATER


def sort_key(job: Job) -> tuple:
    """Worst state first, then the soonest, then by tag."""
    return (STATE_ORDER[job.state], job.due_on or dt.date.max, job.unit.contractor_name, job.unit.tag, job.task)


def by_unit(jobs: Sequence[Job]) -> list[UnitJobs]:
    """One line per unit, its worst job first; units in the order of their worst job."""
    lines: dict[int, UnitJobs] = {}
    for job in sorted(jobs, key=sort_key):
        lines.setdefault(job.unit.unit, UnitJobs(job.unit)).jobs.append(job)
    return list(lines.values())


def carry_through_default(season: Season, as_of: dt.date) -> dt.date:
    """What the screen asks for first: the next four weeks; toward winter, what will not last the spring flush."""
    month_on = as_of + dt.timedelta(weeks=4)
    if season.is_open(as_of) and season.is_open(month_on):
        return month_on
    return season.next_opening(as_of) + dt.timedelta(weeks=6)
