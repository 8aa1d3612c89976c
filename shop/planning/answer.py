"""Reading a finished search: placements, loads of the days, costs, and why a unit found no place."""

from __future__ import annotations

from typing import Literal

import numpy as np

from shop.planning.problem import Array, Problem
from shop.planning.state import State
from shop.planning.terms import BenchPlan, DayLoad, Placed, PlanCosts, Unplaced


def read_plan(state: State, bound: float, ended: Literal["optimal", "searched", "time"], seconds: float) -> BenchPlan:
    """The plan in the words of the question."""
    problem = state.problem
    days, total = len(problem.days), state.total()
    placed = [_placed(state, int(i), days) for i in np.flatnonzero(state.column < state.nowhere)]
    unplaced = [_unplaced(state, int(i)) for i in np.flatnonzero(state.column == state.nowhere)]
    bound = min(bound, total)
    visits = sum(int(np.sum((state.counts(g) > 0) & (problem.trip[g] > 0))) for g in range(len(problem.crews)))
    yards = sum(bool(np.any(state.column == days + j)) for j in range(len(problem.yards)))
    return BenchPlan(
        placed=tuple(sorted(placed, key=lambda p: (p.on, p.crew, p.unit))),
        unplaced=tuple(sorted(unplaced, key=lambda u: (u.crew, u.unit))),
        loads=_loads(state),
        costs=_costs(state),
        bound=bound,
        gap=(total - bound) / total if total > 0 else 0.0,
        ended=ended,
        trips=visits + yards,
        seconds=seconds,
    )


def _placed(state: State, i: int, days: int) -> Placed:
    problem, column = state.problem, int(state.column[i])
    unit = problem.units[i]
    return Placed(
        unit=unit.key,
        crew=unit.crew,
        on=problem.days[int(problem.day_of[column])].on,
        place="bench" if column < days else "yard",
        waiting_cost=float(problem.waiting[i, column]),
        early_cost=float(problem.early[i, column]),
    )


def _unplaced(state: State, i: int) -> Unplaced:
    problem, unit = state.problem, state.problem.units[i]
    may = np.isfinite(problem.cost[i, : state.nowhere]) & (problem.available[problem.day_of] > 0)
    days = problem.day_of[may]
    reason: str
    values: dict[str, float] = {"minutes": unit.minutes}
    if not days.size:
        return Unplaced(unit.key, unit.crew, "no_open_day", {})
    if problem.available[days].max() < unit.minutes:
        reason, values["most_free"] = "longer_than_a_day", float(problem.available[days].max())
    elif state.free[days].max() < unit.minutes:
        reason, values["most_free"] = "bench_full", float(max(state.free[days].max(), 0.0))
    elif np.isfinite(state.moves[i, : state.nowhere][may][state.free[days] >= unit.minutes]).any():
        reason = "better_later"
    else:
        crew = problem.crews[int(problem.crew[i])]
        reason, values["limit"] = "crew_away", float(crew.away_limit)
    return Unplaced(unit.key, unit.crew, reason, values)


def _loads(state: State) -> tuple[DayLoad, ...]:
    problem = state.problem
    due = _when_due(problem)
    planned = problem.agreed + problem.free - state.free
    return tuple(
        DayLoad(
            on=day.on,
            closed=day.closed,
            available=float(problem.available[i]),
            agreed=float(problem.agreed[i]),
            when_due=float(problem.agreed[i] + due[i]),
            planned=float(planned[i]),
        )
        for i, day in enumerate(problem.days)
    )


def _when_due(problem: Problem) -> Array:
    """Minutes of each day if every unit came on the first open day from its due date on, room or not."""
    minutes = np.zeros(len(problem.days))
    open_days = [(day.on, i) for i, day in enumerate(problem.days) if problem.available[i] > 0]
    for unit in problem.units:
        for on, i in open_days:
            if on >= unit.due:
                minutes[i] += unit.minutes
                break
    return minutes


def _costs(state: State) -> PlanCosts:
    problem = state.problem
    units = np.arange(state.column.size)
    here = state.column < state.nowhere
    waiting, early = problem.waiting[units, state.column], problem.early[units, state.column]
    parts = np.array([state.crew_cost(g) for g in range(len(problem.crews))]).reshape(-1, 3).sum(axis=0)
    return PlanCosts(
        waiting=float(waiting[here].sum()),
        early=float(early[here].sum()),
        trips=float(parts[1]) + state.yard_cost(),
        away=float(parts[2]),
        left_over=float((waiting + early)[~here].sum()),
    )
