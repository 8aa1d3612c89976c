"""Rounding by diving: solve the relaxation, settle the units it is surest of, solve again with what is left.

The relaxation of ``program`` leaves few units in doubt, so a dozen solutions settle two hundred units. Diving anew for
some crews, the others held, mends what the first dive got wrong.
"""

from __future__ import annotations

import numpy as np

from shop.planning.problem import Array, Ints, Problem
from shop.planning.program import Program, Surroundings, relax_within, write_program
from shop.planning.search import Clock, fill_greedily, polish
from shop.planning.state import State

_SURE, _NOUGHT, _SLACK = 0.999, 1e-3, 1e-9
_AT_ONCE = 8  # doubtful pairs settled between two relaxations
_CREWS = (5, 6)  # held in turn: dives small enough to be quick, large enough to rearrange
_WANDER = 0.001  # a plan this much above the best may still be walked on from


def dive(problem: Problem, units: Ints, around: Surroundings, clock: Clock, at_once: int = _AT_ONCE) -> Ints:
    """A column for each of ``units`` (-1: none) within what ``around`` leaves free."""
    program = write_program(problem, units, around)
    pairs = program.pair_unit.size
    low, high = np.zeros(program.upper.size), program.upper.copy()
    settling = _Settling(problem, program, around.free.copy())
    while not clock.over():
        relaxed = relax_within(program, low, high, clock.left())
        if relaxed is None:
            break
        before = int(np.count_nonzero(high[:pairs]))
        settling.settle(relaxed[:pairs], low, high, at_once)
        if int(np.count_nonzero(high[:pairs])) == before or settling.done(high):
            break
    return settling.column


class _Settling:
    """Units settled so far, and the minutes that they leave."""

    def __init__(self, problem: Problem, program: Program, free: Array) -> None:
        self.column = np.full(program.units.size, -1, dtype=np.intp)
        self._unit, self._to = program.pair_unit, program.pair_column
        self._day = problem.day_of[self._to]
        self._minutes = problem.minutes[program.units][self._unit]
        travel = np.zeros(problem.day_of.size)
        travel[len(problem.days) :] = [y.travel_minutes for y in problem.yards]
        self._travel = travel[self._to]
        self._opened: set[int] = set()
        self._free = free

    def settle(self, share: Array, low: Array, high: Array, at_once: int) -> None:
        """Settle all sure pairs and the surest doubtful ones; rule out those that no longer fit."""
        doubtful = 0
        for pair in np.argsort(-share, kind="stable"):
            if share[pair] < _NOUGHT or (share[pair] < _SURE and doubtful >= at_once):
                break
            if self.column[self._unit[pair]] < 0:
                self._take(int(pair), low, high)
                doubtful += share[pair] < _SURE
        pairs = self._unit.size
        tight = (self.column[self._unit] < 0) & (self._minutes > self._free[self._day] + _SLACK)
        high[:pairs][tight] = 0.0

    def _take(self, pair: int, low: Array, high: Array) -> None:
        to, day = int(self._to[pair]), self._day[pair]
        needs = self._minutes[pair] + (0.0 if to in self._opened else self._travel[pair])
        if self._free[day] < needs - _SLACK:
            high[pair] = 0.0
            return
        self._free[day] -= needs
        if self._travel[pair]:
            self._opened.add(to)
        self.column[self._unit[pair]] = to
        high[: self._unit.size][self._unit == self._unit[pair]] = 0.0
        low[pair] = high[pair] = 1.0

    def done(self, high: Array) -> bool:
        """No unit is left that could still go somewhere."""
        open_pairs = (self.column[self._unit] < 0) & (high[: self._unit.size] > 0)
        return not bool(open_pairs.any())


def first_plan(problem: Problem, clock: Clock) -> State:
    """The best of a plan filled greedily and two dives over all units."""
    everyone = np.arange(problem.minutes.size)
    best = State(problem, np.full(everyone.size, -1, dtype=np.intp))
    fill_greedily(best)
    polish(best, clock)
    for at_once in (_AT_ONCE // 2, _AT_ONCE):
        if clock.over():
            break
        state = State(problem, dive(problem, everyone, Surroundings.empty(problem), clock, at_once))
        fill_greedily(state)
        polish(state, clock)
        if state.feasible() and state.total() < best.total():
            best = state
    return best


def dive_anew(best: State, clock: Clock, *, rounds: int, seed: int) -> State:
    """The best plan met by diving anew for a few crews at a time."""
    problem, crews = best.problem, len(best.members)
    draws = np.random.default_rng(seed)
    now = best
    for turn in range(rounds):
        if clock.over():
            break
        some = np.sort(draws.permutation(crews)[: min(_CREWS[turn % len(_CREWS)], max(crews // 2, 1))])
        units = np.flatnonzero(np.isin(problem.crew, some))
        state = State(problem, now.column.copy())
        state.put(units, dive(problem, units, now.around(units), clock))
        fill_greedily(state)
        polish(state, clock)
        if not state.feasible():
            continue
        if state.total() < best.total() - 1e-9:
            best = now = state
        elif state.total() < best.total() * (1 + _WANDER):
            now = state
    return best
