"""The bench plan: never over capacity, as good as every plan there is where all can be tried, the same in any order."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shop.planning import BenchDay, BenchPlan, Booked, Crew, DueUnit, PlanTerms, YardMorning, plan_dropoffs
from shop.planning.waiting import days_late_and_early
from tests.shop.planning.cases import FIRST, Case, spring
from tests.shop.planning.rivals import (
    as_placed,
    cost_of,
    first_come,
    least_cost,
    simulated_risk,
    waiting_of,
    within_limits,
)

TERMS = PlanTerms()


def unit(key: str = "a", crew: str = "north", minutes: float = 30, due: date = FIRST, **more: object) -> DueUnit:
    return DueUnit(key, crew, minutes, due, due, due, **{"late_per_day": 5.0, **more})  # type: ignore[arg-type]


def week(minutes: float = 400, days: int = 5) -> list[BenchDay]:
    return [BenchDay(FIRST + timedelta(days=n), minutes) for n in range(days)]


NORTH = Crew("north", "quarry", away_limit=3, spares=1, away_per_day=60, trip=20)


def plan_case(case: Case, terms: PlanTerms = TERMS) -> BenchPlan:
    return plan_dropoffs(case.units, case.crews, case.days, terms=terms)


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(12))
def test_tiny_plans_are_the_best_there_are(seed: int) -> None:
    case = spring(seed, units=5, days=4, crews=2, load=0.9 + 0.05 * (seed % 5))
    plan = plan_case(case)
    assert plan.ended == "optimal"
    assert plan.gap < 1e-6
    placed = as_placed(plan)
    assert within_limits(placed, case.units, case.crews, case.days, TERMS)
    assert cost_of(placed, case.units, case.crews, case.days, TERMS) == pytest.approx(plan.costs.total, rel=1e-3)
    best = least_cost(case.units, case.crews, case.days, TERMS)
    assert plan.costs.total == pytest.approx(best, rel=2e-3)


@given(st.integers(0, 10_000), st.integers(0, 30), st.integers(2, 9), st.floats(0.5, 1.6))
@settings(max_examples=25, deadline=None)
def test_never_over_capacity_and_closed_days_stay_empty(seed: int, units: int, days: int, load: float) -> None:
    case = spring(seed, units=units, days=days, crews=4, load=load) if units else spring(seed, 1, days, 4, load)
    plan = plan_case(case, PlanTerms(rounds=1, seconds=4))
    placed = as_placed(plan)
    assert set(placed) == {u.key for u in case.units}
    assert within_limits(placed, case.units, case.crews, case.days, TERMS)
    assert not {d.on for d in case.days if d.closed} & set(placed.values())
    assert plan.bound <= plan.costs.total * (1 + 1e-9)
    assert all(load.planned <= max(load.available, load.agreed) + 1e-9 for load in plan.loads)


@given(st.integers(0, 1000), st.randoms(use_true_random=False))
@settings(max_examples=10, deadline=None)
def test_the_order_of_the_input_changes_nothing(seed: int, mixed: random.Random) -> None:
    case = spring(seed, units=12, days=6, crews=3)
    lists = [list(case.units), list(case.crews), list(case.days)]
    for values in lists:
        mixed.shuffle(values)
    terms = PlanTerms(rounds=1, seconds=60)
    again = plan_dropoffs(*lists, terms=terms)  # type: ignore[arg-type]
    assert again.placed == plan_case(case, terms).placed


def test_the_larger_search_comes_close_to_the_proven_bound_and_beats_first_come() -> None:
    """A short seeded version; ``tests.benchmarks.bench_bench_plan`` has the full size."""
    case = spring(5, units=60, days=12, crews=8)
    plan = plan_case(case, PlanTerms(rounds=2, seconds=30))
    placed = as_placed(plan)
    assert within_limits(placed, case.units, case.crews, case.days, TERMS)
    assert plan.gap < 0.08
    queue = first_come(case.units, case.crews, case.days, TERMS)
    risk = [simulated_risk(way, case.units, case.days, TERMS, seed=1) for way in (placed, queue)]
    assert risk[0] < 0.9 * risk[1]
    whole = [cost_of(way, case.units, case.crews, case.days, TERMS) for way in (placed, queue)]
    assert whole[0] < 0.9 * whole[1]


def test_when_the_clock_runs_out_the_plan_is_still_within_limits() -> None:
    case = spring(3, units=80, days=15, crews=10)
    plan = plan_case(case, PlanTerms(seconds=0.05))
    assert plan.ended == "time"
    assert within_limits(as_placed(plan), case.units, case.crews, case.days, TERMS)
    assert 0 <= plan.bound <= plan.costs.total


def test_days_late_and_early_agree_with_numerical_integration() -> None:
    for early, late, on in ((0, 0, 3), (4, 9, -6), (4, 9, 0), (2, 8, 5), (7, 7, 20)):
        due = FIRST + timedelta(days=30)
        one = replace(unit(due=due), due_early=due - timedelta(days=early), due_late=due + timedelta(days=late))
        day = due + timedelta(days=on)
        lateness, earliness = days_late_and_early(*(np.array([float(x)]) for x in (on, -early, 0, late)))
        for late_cost, early_cost, ours in ((1.0, 0.0, lateness), (0.0, 1.0, earliness)):
            rival = waiting_of(replace(one, late_per_day=late_cost, early_per_day=early_cost), day)
            assert ours[0] == pytest.approx(rival, abs=2e-2)


def test_units_due_come_together_in_one_trip_and_a_booked_visit_is_used() -> None:
    both = [unit("a", early_per_day=0.1), unit("b", early_per_day=0.1)]
    crew = replace(NORTH, spares=2)
    plan = plan_dropoffs(both, [crew], week())
    assert len({p.on for p in plan.placed}) == 1
    assert plan.costs.trips == 20
    wednesday = FIRST + timedelta(days=2)
    booked = plan_dropoffs(both, [replace(crew, trip=50)], week(), booked=[Booked("north", wednesday, 0, 0)])
    assert {p.on for p in booked.placed} == {wednesday}
    assert booked.costs.trips == 0


def test_promised_minutes_booked_visits_and_walk_ins_are_not_given_away() -> None:
    days = [BenchDay(FIRST, 400, promised=200), BenchDay(FIRST + timedelta(days=1), 400)]
    plan = plan_dropoffs([unit(minutes=80)], [NORTH], days, booked=[Booked("north", FIRST, 1, 40)])
    assert plan.placed[0].on == FIRST + timedelta(days=1)  # 300 after walk-ins, 240 of them given away
    assert (plan.loads[0].available, plan.loads[0].agreed, plan.loads[0].planned) == (300, 240, 240)
    assert plan.loads[0].when_due == 320


def test_units_of_a_crew_away_stay_within_its_limit() -> None:
    crew = replace(NORTH, away_limit=1, spares=1)
    plan = plan_dropoffs([unit("a"), unit("b")], [crew], week())
    first, second = sorted(p.on for p in plan.placed)
    assert (second - first).days >= TERMS.turnaround_days


def test_every_unit_without_a_place_has_its_reason() -> None:
    short = week(minutes=80, days=2)  # 60 after walk-ins
    units = [
        unit("long", minutes=90),
        unit("late", earliest=FIRST + timedelta(days=9)),
        *(unit(f"many {n}", minutes=40) for n in range(4)),
    ]
    plan = plan_dropoffs(units, [replace(NORTH, away_limit=9, spares=9)], short)
    why = {u.unit: (u.reason, dict(u.values)) for u in plan.unplaced}
    assert why["long"] == ("longer_than_a_day", {"minutes": 90, "most_free": 60})
    assert why["late"] == ("no_open_day", {})
    assert [w for key, w in why.items() if key.startswith("many")] == [
        ("bench_full", {"minutes": 40, "most_free": 20})
    ] * 2
    none_away = plan_dropoffs([unit("a")], [replace(NORTH, away_limit=0)], week())
    assert (none_away.unplaced[0].reason, none_away.unplaced[0].values["limit"]) == ("crew_away", 0)
    much_later = unit("a", due=FIRST + timedelta(days=60), early_per_day=4.0)
    assert plan_dropoffs([much_later], [NORTH], week()).unplaced[0].reason == "better_later"


@pytest.mark.parametrize("count", [1, 30])
@pytest.mark.parametrize(
    ("days", "crew", "reason"),
    [
        ([replace(day, closed=True) for day in week()], NORTH, "no_open_day"),
        (week(minutes=0), NORTH, "no_open_day"),
        ([replace(day, promised=300) for day in week()], NORTH, "bench_full"),
        (week(minutes=20), NORTH, "longer_than_a_day"),
        (week(), replace(NORTH, away_limit=0), "crew_away"),
    ],
)
def test_where_nothing_can_be_placed_the_answer_says_why(days: list, crew: Crew, reason: str, count: int) -> None:
    plan = plan_dropoffs([unit(f"unit {n}") for n in range(count)], [crew], days)
    assert not plan.placed
    assert [u.reason for u in plan.unplaced] == [reason] * count
    assert plan.bound == pytest.approx(plan.costs.total)
    assert plan.gap == pytest.approx(0)


def test_what_cannot_be_done_in_a_yard_comes_to_the_bench() -> None:
    yard = YardMorning("quarry", FIRST, travel_minutes=0, cost=0, most_units=20)
    plan = plan_dropoffs([unit("a"), unit("b", yard=False)], [NORTH], week(), yards=[yard])
    assert {p.unit: p.place for p in plan.placed} == {"a": "yard", "b": "bench"}


def test_a_morning_at_the_yard_serves_many_without_leaving_any_behind() -> None:
    units = [unit(f"unit {n}", crew=crew, minutes=20) for n in range(4) for crew in ("north",)]
    units = [replace(u, key=f"{u.key} {i}", crew=("north", "south")[i % 2]) for i, u in enumerate(units)]
    crews = [replace(NORTH, spares=0, trip=40), replace(NORTH, key="south", spares=0, trip=40)]
    tuesday = FIRST + timedelta(days=1)
    yard = YardMorning("quarry", tuesday, travel_minutes=40, cost=50, most_units=4)
    plan = plan_dropoffs(units, crews, week(), yards=[yard])
    assert {(p.on, p.place) for p in plan.placed} == {(tuesday, "yard")}
    assert (plan.costs.trips, plan.costs.away) == (50, 0)
    assert plan.loads[1].planned == 120  # work and the way there
    few = plan_dropoffs(units, crews, week(), yards=[replace(yard, most_units=1)])
    assert sum(p.place == "yard" for p in few.placed) <= 1


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"crew": "west"}, "unknown crew west"),
        ({"minutes": -1.0}, "unit a: minutes"),
        ({"minutes": float("nan")}, "unit a: minutes"),
        ({"due_late": FIRST - timedelta(days=1)}, "out of order"),
    ],
)
def test_what_cannot_be_planned_is_refused_by_name(change: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        plan_dropoffs([replace(unit(), **change)], [NORTH], week())  # type: ignore[arg-type]


def test_repeated_keys_and_empty_calendars_are_refused() -> None:
    with pytest.raises(ValueError, match="unit given twice: a"):
        plan_dropoffs([unit(), unit()], [NORTH], week())
    with pytest.raises(ValueError, match="no days"):
        plan_dropoffs([unit()], [NORTH], [])
    assert plan_dropoffs([], [NORTH], week()).placed == ()
