"""When each task of each unit falls due: the same function for a scan of everyone and for one unit after an entry.

Works on plain arrays and looks at no clock: what it returns changes only when the ledger, the catalog or the snapshot
does. States (past due, due now, ...) are worked out when read, in ``fleet.upkeep.ready``.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import NO_DAY, date_of, day_of, month_day_in
from fleet.upkeep.histories import COMPONENT_CODE, FAILURE_DONE_CODE, SERVICE_DONE_CODE, TASK_CODE, Histories
from fleet.upkeep.holds import FINDINGS
from fleet.upkeep.intervals import Interval
from fleet.upkeep.learned import STAGGERED, LearnedTables, level_of
from fleet.upkeep.timelines import Timelines
from fleet.vocabulary import TASK_KEYS, TASKS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SAFETY = "safety"
_STAGGERED = np.isin(TASK_KEYS, STAGGERED)
_TASK_OF_FINDING = {f.key: f.task for f in FINDINGS}
# A review answers for the order that closes at least this long after the last one.
REVIEW_REST_DAYS = 180


@dataclass(frozen=True)
class Flags:
    """One row a unit in use and task, sorted by unit and task; None columns stand as NaN or ``NO_DAY``.

    ``basis`` counts in ``fleet.upkeep.learned.BASES``; ``setting`` names the learned interval behind a row, if any.
    """

    unit: Ints
    task: NDArray[np.int8]
    last_done_hours: Floats
    last_done_on: Ints
    counts_from_hours: Floats
    counts_from_on: Ints
    interval_hours: Floats
    interval_months: Ints
    from_maker: NDArray[np.bool_]
    basis: NDArray[np.int8]
    setting: NDArray[Any]
    staggered: NDArray[np.bool_]
    due_hours: Floats
    due_date: Ints
    passed_on: Ints
    holds: Mapping[int, list[tuple[str, int]]] = field(default_factory=dict)


def _interval_table(tables: Sequence[Mapping[str, Interval]]) -> tuple[Floats, Ints, NDArray[np.bool_]]:
    """Hours (NaN: none), months (0: none) and whether the maker says so, by table and task."""
    hours = np.array([[np.nan if (h := t[k].hours) is None else h for k in TASK_KEYS] for t in tables])
    months = np.array([[t[k].months or 0 for k in TASK_KEYS] for t in tables], dtype=np.int64)
    maker = np.array([[t[k].source == "maker" for k in TASK_KEYS] for t in tables], dtype=bool)
    shape = (len(tables), len(TASK_KEYS))
    return hours.reshape(shape), months.reshape(shape), maker.reshape(shape)


def add_months_to_days(days: Ints, months: Ints) -> Ints:
    """The same day of the month so many months on, or that month's last day, for arrays of day numbers."""
    dates = days.astype("datetime64[D]")
    month = dates.astype("datetime64[M]")
    in_month = (dates - month.astype("datetime64[D]")).astype(np.int64)
    target = month + months
    length = ((target + 1).astype("datetime64[D]") - target.astype("datetime64[D]")).astype(np.int64)
    return target.astype("datetime64[D]").astype(np.int64) + np.minimum(in_month, length - 1)


def renewals(h: Histories, lines: Timelines) -> tuple[Floats, Ints]:
    """Hours and day on which each task of each core unit was last done: (n, tasks), NaN and ``NO_DAY`` for never.

    Cleaning, greasing and changing renew a task; looking renews only tasks that are looks. A gearbox repaired or
    replaced starts a new grease cycle.
    """
    n = len(lines.unit)
    last_hours = np.full((n, len(TASK_KEYS)), np.nan)
    last_day = np.full((n, len(TASK_KEYS)), NO_DAY)
    s, f = h.services, h.failures
    by_look = np.array([TASKS[k].renewed_by_look for k in TASK_KEYS])
    done = (s["done"] != SERVICE_DONE_CODE["looked"]) | by_look[s["task"]]
    mended = np.isin(f["done"], [FAILURE_DONE_CODE["repaired"], FAILURE_DONE_CODE["replaced"]])
    gearbox = mended & (f["component"] == COMPONENT_CODE["gearbox"])
    unit = np.concatenate([s["unit"][done], f["unit"][gearbox]])
    task = np.concatenate([s["task"][done], np.full(int(gearbox.sum()), TASK_CODE["grease"])]).astype(np.int64)
    day = np.concatenate([s["day"][done], f["day"][gearbox]])
    hours = np.concatenate([s["hours"][done], f["hours"][gearbox]])
    order = np.lexsort((day, task, unit))
    unit, task, day, hours = unit[order], task[order], day[order], hours[order]
    last = np.ones(len(unit), dtype=bool)
    last[:-1] = (unit[:-1] != unit[1:]) | (task[:-1] != task[1:])
    unit, task, day, hours = unit[last], task[last], day[last], hours[last]
    row = lines.row_of[unit]
    last_hours[row, task] = np.where(np.isnan(hours), lines.hours_on(unit, day), hours)
    last_day[row, task] = day
    return last_hours, last_day


def _review_dates(from_day: Ints, order_by: Sequence[str]) -> Ints:
    """The first order date at least half a year after the day counted from."""
    due = np.empty(len(from_day), dtype=np.int64)
    known: dict[tuple[int, str], int] = {}
    for i, (day, month_day) in enumerate(zip(from_day.tolist(), order_by, strict=True)):
        key = (day, month_day)
        if key not in known:
            rested = date_of(day + REVIEW_REST_DAYS)
            this_year = month_day_in(rested.year, month_day)
            known[key] = day_of(this_year if this_year >= rested else month_day_in(rested.year + 1, month_day))
        due[i] = known[key]
    return due


def compute_flags(
    h: Histories,
    lines: Timelines,
    tables: Sequence[Mapping[str, Interval]],
    table_of: Ints,
    order_by: Sequence[str],
    holds: Mapping[int, list[tuple[str, int]]],
    learned: LearnedTables,
    exposure: Floats,
    stagger: NDArray[np.bool_],
) -> Flags:
    """Flags of the core units in use.

    Parameters
    ----------
    tables, table_of
        Interval tables and, for each row of ``lines``, which one holds for it.
    order_by
        MM-DD of the pre-season order for each row of ``lines``; empty: none.
    holds
        Findings that stand, by row number in ``h.units``.
    learned
        Intervals that take the manual's place, by the same tables; never longer than the manual's.
    exposure, stagger
        Each row's share of hours without a guard, and whether its contractor opted in to staggered services.
    """
    n, n_tasks = len(lines.unit), len(TASK_KEYS)
    hours_of, months_of, maker_of = _interval_table(tables)
    interval_hours, months, maker = hours_of[table_of], months_of[table_of], maker_of[table_of]
    level = level_of(exposure)
    told = learned.hours[table_of, :, level]
    shorter = told < interval_hours
    interval_hours = np.where(shorter, told, interval_hours)
    basis = np.where(shorter, learned.basis[table_of, :, level], 0).astype(np.int8)
    halved = stagger & (h.units["id"][lines.unit] % 2 == 1)
    staggered = halved[:, None] & _STAGGERED[None, :] & ~np.isnan(interval_hours)
    interval_hours = np.where(staggered, interval_hours / 2, interval_hours)
    last_hours, last_day = renewals(h, lines)
    start = h.units["hours_at_registration"][lines.unit]
    registered, bought = h.units["registered"][lines.unit], h.units["bought"][lines.unit]
    start_day = np.where((start == 0) & (bought < NO_DAY), bought, registered)
    never = last_day == NO_DAY
    from_hours = np.where(never, start[:, None], last_hours)
    from_day = np.where(never, start_day[:, None], last_day)
    due_hours = from_hours + interval_hours
    due_date = np.where(months > 0, add_months_to_days(from_day, months), NO_DAY)
    # Lay-up follows the season's close, which depends on the day it is asked for.
    due_date[:, TASK_CODE["lay_up"]] = NO_DAY
    review = TASK_CODE["review"]
    ordered = np.flatnonzero([bool(o) for o in order_by] & (months[:, review] > 0))
    if len(ordered):
        due_date[ordered, review] = _review_dates(from_day[ordered, review], [order_by[int(i)] for i in ordered])
    in_use = h.units["retired"][lines.unit] == NO_DAY
    held = np.zeros((n, n_tasks), dtype=bool)
    for unit, found in holds.items():
        for key, _day in found:
            held[lines.row_of[unit], TASK_CODE[_TASK_OF_FINDING[key]]] = True
    applies = (~np.isnan(interval_hours) | (months > 0) | held) & in_use[:, None]
    row, task = np.nonzero(applies)
    return Flags(
        unit=lines.unit[row],
        task=task.astype(np.int8),
        last_done_hours=last_hours[row, task],
        last_done_on=last_day[row, task],
        counts_from_hours=from_hours[row, task],
        counts_from_on=from_day[row, task],
        interval_hours=interval_hours[row, task],
        interval_months=months[row, task],
        from_maker=maker[row, task],
        basis=basis[row, task],
        setting=learned.digest[table_of][row, task],
        staggered=staggered[row, task],
        due_hours=due_hours[row, task],
        due_date=due_date[row, task],
        passed_on=lines.passed_on(row, np.nan_to_num(due_hours[row, task], nan=np.inf)),
        holds={
            int(i): found
            for i in np.flatnonzero(held[row, task])
            if (found := _holds_of(holds, int(lines.unit[row[i]]), TASK_KEYS[task[i]]))
        },
    )


def _holds_of(holds: Mapping[int, list[tuple[str, int]]], unit: int, task: str) -> list[tuple[str, int]]:
    return [(key, day) for key, day in holds.get(unit, ()) if _TASK_OF_FINDING[key] == task]
