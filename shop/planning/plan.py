"""``plan_dropoffs``: a day for every unit that falls due, over all contractors."""

from __future__ import annotations

import threading
from collections.abc import Iterable
from typing import Literal

import numpy as np

from shop.planning.answer import read_plan
from shop.planning.dive import dive_anew, first_plan
from shop.planning.problem import Problem, state_problem
from shop.planning.program import Program, Surroundings, lower_bound, solve, write_program
from shop.planning.search import Clock, empty_state, polish, some_days, two_by_two
from shop.planning.state import State
from shop.planning.terms import BenchDay, BenchPlan, Booked, Crew, DueUnit, PlanTerms, YardMorning

USUAL = PlanTerms()
_WHOLE = 400  # unit-day pairs up to which the program is simply solved to the end
_PROVEN = 1e-5  # as near to the bound as the solver's own tolerances allow
_DIVES = 25  # dives for a few crews in each round
_DAYS_TOGETHER = (2, 3)  # neighboring days planned anew, everything else held


def plan_dropoffs(
    units: Iterable[DueUnit],
    crews: Iterable[Crew],
    days: Iterable[BenchDay],
    *,
    booked: Iterable[Booked] = (),
    yards: Iterable[YardMorning] = (),
    terms: PlanTerms = USUAL,
) -> BenchPlan:
    """Propose a day for each unit at least cost.

    Cost is risk of waiting past due, intervals given up by coming early, trips, and units away beyond the spares, in
    one currency. No day goes over its minutes (walk-in share, promises and booked visits taken off), no crew over its
    limit of units away, booked visits stay. A unit without a place costs what waiting ``carry_days`` past the last day
    and a trip of its own cost.

    A mixed-integer program. HiGHS proves how little any plan can cost and solves small questions whole; larger ones
    are rounded by diving into its relaxation, again and again for a few crews at a time, and polished by exchanges.
    The plan is the same for the same input, in any order, unless the clock cuts the search short.

    Raises ``ValueError`` naming what cannot be planned: unknown crews, repeated keys, dates out of order, negative or
    missing numbers.
    """
    problem = state_problem(units, crews, days, booked, yards, terms)
    clock = Clock(terms.seconds)
    state, bound, ended = _search(problem, terms, clock)
    if not state.feasible():
        raise AssertionError("a plan came out over its limits")
    return read_plan(state, bound, ended, terms.seconds - clock.left())


def _search(
    problem: Problem, terms: PlanTerms, clock: Clock
) -> tuple[State, float, Literal["optimal", "searched", "time"]]:
    everyone = np.arange(problem.minutes.size)
    if not everyone.size:
        return empty_state(problem), 0.0, "optimal"
    whole = write_program(problem, everyone, Surroundings.empty(problem))
    if not whole.pair_unit.size:
        state = empty_state(problem)
        return state, state.total(), "optimal"
    if whole.pair_unit.size <= _WHOLE:
        chosen, bound = solve(whole, seconds=clock.left() / 2, gap=_PROVEN)
        state = State(problem, everyone * 0 - 1 if chosen is None else chosen)
        if state.total() - bound <= 2 * _PROVEN * state.total():
            return state, bound, "optimal"
    bound = lower_bound(whole, clock.left())
    proof = _Proof(whole, bound, clock.left())
    state = first_plan(problem, clock)
    for turn in range(terms.rounds):
        if clock.over() or state.total() <= bound * (1 + terms.aim):
            break
        state = dive_anew(state, clock, rounds=_DIVES, seed=turn)
        for count in _DAYS_TOGETHER:
            for first in range(max(len(problem.days) - count + 1, 1)):
                some_days(state, clock, first, count)
        two_by_two(state, clock, np.random.default_rng(turn).permutation(len(problem.crews)))
        polish(state, clock)
    return state, proof.bound(clock), "time" if clock.ran_out else "searched"


class _Proof:
    """HiGHS tightens the bound beside the search, on the other core."""

    def __init__(self, program: Program, start: float, seconds: float) -> None:
        self._best = start
        self._thread = threading.Thread(target=self._work, args=(program, seconds), daemon=True)
        self._thread.start()

    def _work(self, program: Program, seconds: float) -> None:
        _, bound = solve(program, seconds=seconds, gap=0.0, nodes=1)
        self._best = max(self._best, bound)

    def bound(self, clock: Clock) -> float:
        self._thread.join(max(clock.left(), 0.5))
        return self._best
