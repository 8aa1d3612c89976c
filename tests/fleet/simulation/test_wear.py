"""Wear against the Weibull distribution itself (scipy's), on either clock and under changing stress."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from fleet.simulation.columns import COMPONENTS, TASKS
from fleet.simulation.parameters import Wear
from fleet.simulation.scenario import demo_parameters
from fleet.simulation.wear import WearState, WearTable
from tests.fleet.simulation.conftest import TODAY

GEARBOX, STARTER, STOP_SWITCH = (COMPONENTS.index(c) for c in ("gearbox", "starter", "stop_switch"))
GREASE = TASKS.index("grease")
NEVER = Wear(1.0, 1e9)


def state_of(count, seed, frailty_variance=0.0, **wear):
    """One model on which everything but the components given never fails."""
    model = replace(demo_parameters(TODAY).models[0], wear={c: wear.get(c, NEVER) for c in COMPONENTS})
    rng = np.random.default_rng(seed)
    return WearState(WearTable.of([model]), np.zeros(count, dtype=int), rng, frailty_variance)


def first_failures(state, component, hours=2.0, steps=400, stress=None, each_step=None):
    """Age of each unit's component at its first failure, NaN for the survivors."""
    count = len(state.age)
    ages = np.full(count, np.nan)
    stress = np.ones((count, len(COMPONENTS))) if stress is None else stress
    for step in range(steps):
        if each_step:
            each_step(step)
        _, broken = state.step(np.full(count, hours), stress)
        mine = broken.component == component
        ages[broken.unit[mine]] = state.age[broken.unit[mine], component]
    return ages


def test_life_by_age_is_weibull():
    ages = first_failures(state_of(4000, 1, starter=Wear(1.8, 200)), STARTER)
    assert np.isnan(ages).mean() < 0.001
    assert stats.kstest(ages[~np.isnan(ages)], stats.weibull_min(1.8, scale=200).cdf).pvalue > 0.01


def test_life_since_service_is_weibull_within_each_round():
    """Greased every 50 hours: survival of n rounds is the n-th power of one round's."""
    state = state_of(6000, 2, gearbox=Wear(2.2, 100, since_share=1.0))
    units = np.arange(6000)

    def grease(step):
        if step and step % 25 == 0:
            state.renew_task(units, np.full(6000, GREASE))

    ages = first_failures(state, GEARBOX, steps=100, each_step=grease)
    one_round = np.exp(-((50 / 100) ** 2.2))
    for rounds in (1, 2, 4):
        alive = 1 - np.mean(ages <= 50 * rounds)
        assert alive == pytest.approx(one_round**rounds, abs=0.02)


def test_stress_multiplies_the_hazard():
    stress = np.ones((4000, len(COMPONENTS)))
    stress[:, STARTER] = 3.0
    ages = first_failures(state_of(4000, 3, starter=Wear(1.5, 300)), STARTER, stress=stress)
    assert stats.kstest(ages, stats.weibull_min(1.5, scale=300 * 3 ** (-1 / 1.5)).cdf).pvalue > 0.01


def test_both_clocks_multiply():
    """With equal clocks (nobody services) any split of the power gives the plain Weibull."""
    ages = first_failures(state_of(4000, 4, gearbox=Wear(2.0, 150, since_share=0.5)), GEARBOX)
    assert stats.kstest(ages, stats.weibull_min(2.0, scale=150).cdf).pvalue > 0.01


def test_frailty_is_a_gamma_factor_with_mean_one():
    """Population survival under gamma frailty of variance v is (1 + v H)^(-1/v)."""
    ages = first_failures(state_of(6000, 5, 0.5, starter=Wear(1.5, 200)), STARTER)
    for at in (100.0, 200.0, 400.0):
        expected = (1 + 0.5 * (at / 200) ** 1.5) ** (-2)
        assert 1 - np.mean(ages <= at) == pytest.approx(expected, abs=0.02)


def test_a_failure_that_shows_stops_the_unit_and_a_hidden_one_does_not():
    state = state_of(500, 6, starter=Wear(1.0, 10), stop_switch=Wear(1.0, 10, shows=0.0))
    ran, broken = state.step(np.full(500, 20.0), np.ones((500, len(COMPONENTS))))
    shown = broken.unit[~broken.hidden]
    assert (broken.component[~broken.hidden] == STARTER).all()
    assert (ran[shown] < 20.0).all()
    stayed = np.setdiff1d(np.arange(500), shown)
    assert (ran[stayed] == 20.0).all()
    assert state.failed[:, STOP_SWITCH].any()
    assert not state.failed[:, STARTER].any()


def test_a_replaced_part_is_new_a_used_one_not_quite_and_a_repaired_one_old():
    state = state_of(3, 7, gearbox=Wear(2.0, 100, since_share=1.0))
    state.age[:, GEARBOX] = 80.0
    state.since[:, GREASE] = 30.0
    unit = np.arange(3)
    state.renew_part(unit, np.full(3, GEARBOX), np.array([True, True, False]), np.array([0.0, 25.0, 0.0]))
    assert state.age[:, GEARBOX].tolist() == [0.0, 25.0, 80.0]
    assert state.since[:, GREASE].tolist() == [0.0, 0.0, 0.0]
