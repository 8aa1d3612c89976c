"""Exposure without a guard: stretches between looks, from the crew's habit and what the looks found."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from fleet.models import Trimmer
from fleet.reliability.guard_chain import GuardLooks, fit_chains, off_after
from fleet.reliability.guard_grid import crew_habits
from fleet.upkeep.guard_exposure import Exposure, guard_exposure, guard_looks, learn_habits
from fleet.upkeep.refresh import answers_for
from tests.fleet.upkeep.conftest import MONDAY, SHOP, Yard


def day(n: int) -> dt.date:
    return MONDAY + dt.timedelta(days=n)


def _exposure(unit: Trimmer, habits: dict[int, tuple[float, float]]) -> Exposure:
    found = answers_for([unit.pk])
    looks, names = guard_looks(found.histories, found.lines)
    return guard_exposure(found.histories, found.lines, looks, names, [habits])


@pytest.fixture
def unit(yard: Yard) -> Trimmer:
    unit = yard.unit(bought_on=MONDAY)
    for week in range(1, 11):
        yard.meter(unit, day(7 * week), 10 * week)
    return unit


def test_habits_on_a_grid_agree_with_the_fit_by_search() -> None:
    rng = np.random.default_rng(1)
    units, looks, crews = 120, 30, 4
    unit = np.repeat(np.arange(units), looks)
    hour = np.cumsum(rng.exponential(12, (units, looks)), axis=1).ravel()
    truth, state = np.array([0.02, 0.15, 0.3, 0.5]), np.zeros(units * looks)
    for i in range(units * looks):
        gap, before = (hour[i] - hour[i - 1], state[i - 1]) if i % looks else (hour[i], 0.0)
        state[i] = rng.random() < off_after(truth[unit[i] % crews], 0.04, np.float64(before), gap)
    seen = GuardLooks.build(unit, unit % crews, hour, state)
    share, pace = crew_habits(seen, crews)
    by_search = fit_chains(seen, crews)
    assert np.allclose(share, by_search[0], atol=0.01)
    assert np.allclose(pace, by_search[1], rtol=0.12)


def test_between_two_looks_that_agree_the_chance_follows_them(yard: Yard, unit: Trimmer) -> None:
    for n in (14, 21, 28):
        yard.see(unit, day(n), guard="off" if n < 28 else "on")
    found = _exposure(unit, {yard.north.pk: (0.2, 0.02)})
    middle = found.chance[np.searchsorted(found.start, 25.0, side="right") - 1]
    assert middle > 0.9  # off at 20 h and at 30 h
    late = found.chance[-1]
    assert late < 0.2  # on at 40 h, and not yet back at the habit's share
    assert found.start[0] == 0
    assert found.end[-1] == pytest.approx(100)
    assert np.allclose(found.start[1:], found.end[:-1])


def test_a_guard_refitted_was_off_before_and_on_after(yard: Yard, unit: Trimmer) -> None:
    yard.see(unit, day(35), guard="refitted")
    found = _exposure(unit, {yard.north.pk: (0.2, 0.05)})
    just_before, just_after = (np.searchsorted(found.start, at, side="right") - 1 for at in (45.0, 51.0))
    assert found.chance[just_before] > 0.5 > found.chance[just_after]


def test_a_shop_visit_without_a_look_leaves_nothing_known(yard: Yard, unit: Trimmer) -> None:
    yard.see(unit, day(35), guard="off")
    habits = {yard.north.pk: (0.2, 0.0005)}
    assert _exposure(unit, habits).recent[0] > 0.5
    yard.serve(unit, "clutch", day(42), "ok", by=SHOP, done="looked")
    assert _exposure(unit, habits).chance[-1] == 0.2


def test_a_crew_nobody_looked_at_is_not_learned(yard: Yard, unit: Trimmer) -> None:
    other = yard.unit("QH-2", crew=yard.south)
    yard.see(unit, day(35), guard="off")
    found = answers_for([unit.pk, other.pk])
    assert set(learn_habits(*guard_looks(found.histories, found.lines))) == {yard.north.pk}


def test_a_unit_without_hours_stands_as_it_came(yard: Yard) -> None:
    assert _exposure(yard.unit("QH-8"), {}).recent[0] == 0
    assert _exposure(yard.unit("QH-9", guard="off"), {}).recent[0] == 1
