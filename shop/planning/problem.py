"""The plan's question as arrays. Columns 0..D-1 are drop-offs on day d, then yard mornings, then *not placed*."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from shop.planning.terms import BenchDay, Booked, Crew, DueUnit, PlanTerms, YardMorning
from shop.planning.waiting import days_late_and_early

Array = NDArray[np.float64]
Ints = NDArray[np.intp]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Problem:
    """n units, G crews, D days, Y yard mornings, T calendar dates on which units can be away."""

    units: tuple[DueUnit, ...]
    crews: tuple[Crew, ...]
    days: tuple[BenchDay, ...]
    yards: tuple[YardMorning, ...]
    minutes: Array  # n
    crew: Ints  # n
    waiting: Array  # n x (D + Y + 1), infinite where the unit cannot come
    early: Array  # n x (D + Y + 1)
    day_of: Ints  # D + Y: the day each column takes its minutes from
    available: Array  # D: for planned work, before anything agreed
    agreed: Array  # D: promised and booked minutes
    window: Flags  # D x T: dates a unit dropped off on day d is away
    trip: Array  # G x D: cost of a drop-off, nought where one is booked already
    size: Array  # G x D: most units of one more drop-off
    limit: Array  # G x T: units that may still be away
    spare: Array  # G x T: of these, at no cost
    away_cost: Array  # G x T

    @property
    def free(self) -> Array:
        return np.maximum(self.available - self.agreed, 0.0)

    @property
    def cost(self) -> Array:
        return self.waiting + self.early


def state_problem(
    units: Iterable[DueUnit],
    crews: Iterable[Crew],
    days: Iterable[BenchDay],
    booked: Iterable[Booked],
    yards: Iterable[YardMorning],
    terms: PlanTerms,
) -> Problem:
    """Sort everything, so that the order of the input changes nothing, and check it."""
    days_ = tuple(sorted(days, key=lambda d: d.on))
    crews_ = tuple(sorted(crews, key=lambda c: c.key))
    units_ = tuple(sorted(units, key=lambda u: (u.crew, u.key)))
    booked_ = tuple(sorted(booked, key=lambda b: (b.on, b.crew)))
    yards_ = tuple(sorted(yards, key=lambda y: (y.on, y.contractor)))
    _check(units_, crews_, days_, booked_, yards_, terms)
    index = {c.key: g for g, c in enumerate(crews_)}
    at = {d.on: i for i, d in enumerate(days_)}
    window, dates = _window(days_, terms.turnaround_days)
    working = np.array([[t.weekday() in c.working_days for t in dates] for c in crews_], dtype=float)
    away = np.zeros((len(crews_), len(dates)))
    agreed = np.array([d.promised for d in days_], dtype=float)
    trip = np.array([[c.trip] * len(days_) for c in crews_], dtype=float).reshape(len(crews_), len(days_))
    for visit in booked_:
        if visit.on in at:
            away[index[visit.crew]] += visit.units * window[at[visit.on]]
            agreed[at[visit.on]] += visit.minutes
            trip[index[visit.crew], at[visit.on]] = 0.0
    open_minutes = [0.0 if d.closed else float(int(d.minutes * (1 - terms.walk_in_share) + 1e-9)) for d in days_]
    limit = np.maximum(np.array([c.away_limit for c in crews_], dtype=float)[:, None] - away, 0.0)
    waiting, early = _costs(units_, crews_, days_, yards_, index, terms)
    return Problem(
        units=units_,
        crews=crews_,
        days=days_,
        yards=yards_,
        minutes=np.array([u.minutes for u in units_], dtype=float),
        crew=np.array([index[u.crew] for u in units_], dtype=np.intp),
        waiting=waiting,
        early=early,
        day_of=np.array([*range(len(days_)), *(at[y.on] for y in yards_)], dtype=np.intp),
        available=np.array(open_minutes),
        agreed=agreed,
        window=window,
        trip=trip,
        size=np.array([[row[w].min() for w in window] for row in limit]).reshape(len(crews_), len(days_)),
        limit=limit,
        spare=np.maximum(np.array([c.spares for c in crews_], dtype=float)[:, None] - away, 0.0),
        away_cost=working * np.array([c.away_per_day for c in crews_], dtype=float)[:, None],
    )


def _costs(
    units: Sequence[DueUnit],
    crews: Sequence[Crew],
    days: Sequence[BenchDay],
    yards: Sequence[YardMorning],
    index: dict[str, int],
    terms: PlanTerms,
) -> tuple[Array, Array]:
    """Waiting and early costs of every unit in every column; infinite where a column is not for it."""
    origin = days[0].on
    columns = [d.on for d in days] + [y.on for y in yards]
    after = days[-1].on + timedelta(days=terms.carry_days)
    at = np.array([(day - origin).days for day in [*columns, after]], dtype=float)
    if not units:
        return np.zeros((0, at.size)), np.zeros((0, at.size))

    def offsets(name: str) -> Array:
        return np.array([(getattr(u, name) - origin).days for u in units], dtype=float)[:, None]

    late, soon = days_late_and_early(at[None, :], offsets("due_early"), offsets("due"), offsets("due_late"))
    waiting = late * np.array([u.late_per_day for u in units])[:, None]
    early = soon * np.array([u.early_per_day for u in units])[:, None]
    waiting[:, -1] += [crews[index[u.crew]].trip for u in units]
    closed = {d.on for d in days if d.closed}
    for i, unit in enumerate(units):
        for k, day in enumerate(columns):
            theirs = k < len(days) or (
                unit.yard and yards[k - len(days)].contractor == crews[index[unit.crew]].contractor
            )
            wanted = (unit.earliest is None or day >= unit.earliest) and (unit.latest is None or day <= unit.latest)
            if not theirs or not wanted or day in closed:
                waiting[i, k] = np.inf
    return waiting, early


def _window(days: Sequence[BenchDay], turnaround: int) -> tuple[Flags, list[date]]:
    """Dates from each drop-off until the unit can be fetched; bench days after the last are taken as weekdays."""
    open_days = [d.on for d in days if not d.closed]
    last = days[-1].on
    following = (last + timedelta(days=n) for n in range(1, 8 * (turnaround + 2)))
    open_days += [day for day in following if day.weekday() < 5]
    first = days[0].on
    ready = []
    for day in days:
        later = [other for other in open_days if other > day.on]
        ready.append(later[turnaround - 1] if turnaround else day.on + timedelta(days=1))
    dates = [first + timedelta(days=n) for n in range((max(ready) - first).days)]
    return np.array([[day.on <= t < until for t in dates] for day, until in zip(days, ready, strict=True)]), dates


def _check(
    units: Sequence[DueUnit],
    crews: Sequence[Crew],
    days: Sequence[BenchDay],
    booked: Sequence[Booked],
    yards: Sequence[YardMorning],
    terms: PlanTerms,
) -> None:
    """Refuse what cannot be planned, naming it."""
    if not days:
        raise ValueError("no days to plan")
    for kind, keys in (
        ("unit", [u.key for u in units]),
        ("crew", [c.key for c in crews]),
        ("day", [d.on for d in days]),
    ):
        repeated = {str(k) for k in keys if keys.count(k) > 1}  # type: ignore[arg-type]
        if repeated:
            raise ValueError(f"{kind} given twice: {min(repeated)}")
    known, dates = {c.key for c in crews}, {d.on for d in days}
    for unit in units:
        if unit.crew not in known:
            raise ValueError(f"unit {unit.key}: unknown crew {unit.crew}")
        if not unit.due_early <= unit.due <= unit.due_late:
            raise ValueError(f"unit {unit.key}: its due dates are out of order")
        numbers = (unit.minutes, unit.late_per_day, unit.early_per_day)
        if not all(isfinite(x) and x >= 0 for x in numbers):
            raise ValueError(f"unit {unit.key}: minutes and costs must be numbers of nought or more")
    for visit in booked:
        if visit.crew not in known:
            raise ValueError(f"booked visit on {visit.on}: unknown crew {visit.crew}")
    for yard in yards:
        if yard.on not in dates:
            raise ValueError(f"yard morning on {yard.on} is not among the days")
    for crew in crews:
        if (
            crew.away_limit < 0
            or crew.spares < 0
            or not all(isfinite(x) and x >= 0 for x in (crew.trip, crew.away_per_day))
        ):
            raise ValueError(f"crew {crew.key}: limits and costs must be numbers of nought or more")
    for day in days:
        if not all(isfinite(x) and x >= 0 for x in (day.minutes, day.promised)):
            raise ValueError(f"day {day.on}: minutes must be numbers of nought or more")
    if not 0 <= terms.walk_in_share <= 1 or terms.turnaround_days < 0:
        raise ValueError("the walk-in share lies between 0 and 1, the turnaround at nought or more")
