"""Steps that never make a plan worse: filling gaps, moves, swaps and chains, crews planned anew two by two."""

from __future__ import annotations

import time

import numpy as np

from shop.planning.problem import Array, Flags, Ints, Problem
from shop.planning.program import solve, write_program
from shop.planning.state import State

_BETTER = 1e-6
_SLACK = 1e-9
_NODES = 300
_SECONDS = 2.0


class Clock:
    """Seconds left; whether they ran out before the work was done."""

    def __init__(self, seconds: float) -> None:
        self.start = time.monotonic()
        self.end = self.start + seconds
        self.ran_out = False

    def left(self) -> float:
        return self.end - time.monotonic()

    def over(self) -> bool:
        self.ran_out = self.ran_out or self.left() <= 0
        return self.ran_out


def empty_state(problem: Problem) -> State:
    return State(problem, np.full(problem.minutes.size, -1, dtype=np.intp))


def fill_greedily(state: State) -> None:
    """Place units that have no place, dearest to leave per minute first, where they add least."""
    problem = state.problem
    while True:
        waiting = np.flatnonzero(state.column == state.nowhere)
        if not waiting.size:
            return
        gain = np.where(state.room_for()[waiting] >= -_SLACK, state.moves[waiting], np.inf)
        gain[:, state.nowhere] = 0.0
        best = gain.argmin(axis=1)
        value = gain[np.arange(waiting.size), best]
        worth = value / np.maximum(problem.minutes[waiting], 1.0)
        pick = int(np.argmin(worth))
        if value[pick] >= -_BETTER:
            return
        state.put(waiting[pick : pick + 1], best[pick : pick + 1])


def polish(state: State, clock: Clock) -> None:
    """Best move, swap or chain of two moves, until none helps."""
    while not clock.over():
        found = min(_best_move(state), _best_swap(state), _best_chain(state), key=lambda f: f[0])
        if found[0] >= -_BETTER or not _try(state, np.array(found[1]), np.array(found[2])):
            return


def _try(state: State, units: Ints, columns: Ints) -> bool:
    """Move units if that helps: two moves at once may share a yard morning that each took for its own."""
    before, kept = state.total(), state.column[units].copy()
    state.put(units, columns)
    if state.total() < before - 0.5 * _BETTER and (not state.problem.yards or state.feasible()):
        return True
    state.put(units, kept)
    return False


Found = tuple[float, list[int], list[int]]


def _best_move(state: State) -> Found:
    gain = np.where(state.room_for() >= -_SLACK, state.moves, np.inf)
    i, k = np.unravel_index(int(np.argmin(gain)), gain.shape) if gain.size else (0, 0)
    return (float(gain[i, k]), [int(i)], [int(k)]) if gain.size else (0.0, [], [])


def _swap_gain(state: State) -> tuple[Array, Flags]:
    """Cost of unit i taking the drop-off day of unit j (crews apart: each with its own trip), and minutes of i."""
    days = len(state.problem.days)
    drop = state.column < days
    target = np.where(drop, state.column, 0)
    gain = state.moves[:, target]
    gain[:, ~drop] = np.inf
    same_crew = state.problem.crew[:, None] == state.problem.crew[None, :]
    gain[same_crew] = np.inf
    return gain, drop


def _best_swap(state: State) -> Found:
    """Two units of different crews change days; one of them may have had none."""
    problem = state.problem
    n = state.column.size
    if n < 2:
        return 0.0, [], []
    take, drop = _swap_gain(state)
    give = np.where(drop[:, None], take.T, state.moves[:, state.nowhere][None, :])  # j to where i was
    give[~drop & (state.column != state.nowhere)] = np.inf  # not into a yard morning
    both = take + give
    left = np.full(n, np.inf)
    left[drop] = state.free[state.column[drop]]
    more = problem.minutes[:, None] - problem.minutes[None, :]  # minutes i needs beyond those of j
    fits = (left[None, :] - more >= -_SLACK) & (left[:, None] + more >= -_SLACK)
    both[~fits] = np.inf
    i, j = np.unravel_index(int(np.argmin(both)), both.shape)
    return float(both[i, j]), [int(i), int(j)], [int(state.column[j]), int(state.column[i])]


def _best_chain(state: State) -> Found:
    """Unit i takes the day of unit j, which moves on to a day with room."""
    problem = state.problem
    n = state.column.size
    if n < 2:
        return 0.0, [], []
    take, drop = _swap_gain(state)
    on = np.where(state.room_for() >= -_SLACK, state.moves, np.inf)
    on[np.arange(n), state.column] = np.inf
    same_day = np.zeros_like(on, dtype=bool)
    same_day[:, : state.nowhere] = problem.day_of[None, :] == np.where(drop, state.column, -1)[:, None]
    on[same_day] = np.inf
    onward = on.argmin(axis=1)
    both = take + on[np.arange(n), onward][None, :]
    left = np.where(drop, state.free[np.where(drop, state.column, 0)], -np.inf)
    both[(left + problem.minutes)[None, :] - problem.minutes[:, None] < -_SLACK] = np.inf
    # The place i leaves may be the day j goes to: then it is roomier still, never fuller.
    i, j = np.unravel_index(int(np.argmin(both)), both.shape)
    return float(both[i, j]), [int(i), int(j)], [int(state.column[j]), int(onward[j])]


def two_by_two(state: State, clock: Clock, order: Ints) -> bool:
    """Plan crews anew in pairs, the others held; true where that helped."""
    helped = False
    for start in range(0, order.size - 1, 2):
        if clock.over():
            break
        pair = order[start : start + 2]
        units = np.concatenate([state.members[g] for g in pair])
        if not units.size:
            continue
        program = write_program(state.problem, units, state.around(units))
        chosen, _ = solve(program, seconds=min(_SECONDS, clock.left()), gap=1e-4, nodes=_NODES)
        if chosen is None:
            continue
        helped = _try(state, units, chosen) or helped
    return helped


def some_days(state: State, clock: Clock, first: int, count: int) -> bool:
    """Plan all units of ``count`` days from ``first`` anew among these days; true where that helped."""
    problem, days = state.problem, len(state.problem.days)
    within = np.zeros(days + len(problem.yards), bool)
    within[first : min(first + count, days)] = True
    units = np.flatnonzero((state.column == state.nowhere) | np.append(within, False)[state.column])
    if not units.size:
        return False
    program = write_program(problem, units, state.around(units, within))
    chosen, _ = solve(program, seconds=min(_SECONDS, clock.left()), gap=1e-4, nodes=_NODES)
    return chosen is not None and _try(state, units, chosen)
