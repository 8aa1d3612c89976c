"""Cost of misuse: chains against enumeration, and simulated fleets with known truth."""

import itertools
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.reliability import excess_failures, misuse_posterior
from fleet.reliability.guard_chain import GuardLooks, fit_chains, off_after, smoothed_off
from fleet.reliability.misuse_posterior import CrewTotals
from tests.reliability import misuse_study


def test_smoothing_agrees_with_summing_over_every_path():
    """Hour by hour over all paths of a short chain, with the closed form's step probabilities."""
    share, pace, hours = np.array([0.3]), np.array([0.2]), 7
    up = float(off_after(share, pace, np.array([0.0]), np.array([1.0]))[0])
    stay = float(off_after(share, pace, np.array([1.0]), np.array([1.0]))[0])
    step = np.array([[1 - up, up], [1 - stay, stay]])
    for first, last in itertools.product((0, 1), repeat=2):
        weight = np.zeros(hours + 1)
        total = 0.0
        for middle in itertools.product((0, 1), repeat=hours - 1):
            path = (first, *middle, last)
            p = np.prod([step[a, b] for a, b in itertools.pairwise(path)])
            total += p
            weight += p * np.array(path)
        looks = GuardLooks.build([0, 0], [0, 0], [10.0, 17.0], [first, last])
        at = 10.0 + np.arange(1, hours)
        ours = smoothed_off(looks, share, pace, np.zeros(hours - 1, int), np.zeros(hours - 1, int), at)
        assert ours == pytest.approx((weight / total)[1:-1], abs=1e-12)


def test_before_the_first_look_and_after_a_break_the_chain_runs_freely():
    share, pace = np.array([0.4]), np.array([0.05])
    looks = GuardLooks.build([0, 0], [0, 0], [50.0, 80.0], [1.0, np.nan], [1.0, np.nan])
    at = np.array([20.0, 65.0, 500.0, 81.0])
    p = smoothed_off(looks, share, pace, np.zeros(4, int), np.zeros(4, int), at)
    assert p[0] > 0.4
    assert p[1] == pytest.approx(0.4 + 0.6 * np.exp(-0.05 * 15))
    assert p[2:] == pytest.approx(0.4)
    other = smoothed_off(looks, share, pace, np.array([1]), np.array([0]), np.array([30.0]))
    assert other == pytest.approx(0.4)


def test_habits_are_recovered_from_many_looks():
    rng = np.random.default_rng(1)
    unit, hour, found = [], [], []
    for u in range(60):
        state, now = float(rng.random() < 0.35), 0.0
        for _ in range(25):
            gap = rng.uniform(5, 30)
            state = float(rng.random() < off_after(np.array(0.35), np.array(0.04), np.array(state), np.array(gap)))
            now += gap
            unit.append(u)
            hour.append(now)
            found.append(state)
    share, pace = fit_chains(GuardLooks.build(unit, np.zeros(len(unit)), hour, found), 1)
    assert share[0] == pytest.approx(0.35, abs=0.05)
    assert pace[0] == pytest.approx(0.04, rel=0.2)


@pytest.mark.parametrize("ratio", [1.0, 2.0, 3.0])
def test_intervals_cover_and_verdicts_are_right(ratio):
    """Short form of the study in study_decisions (500 fleets): 86-96 % at full size."""
    found = misuse_study.run(3, ratio, 40)
    assert found["ratio covered"] >= 0.78
    assert found["excess covered"] >= 0.78
    if ratio == 1:
        assert found["costs more"] <= 0.08
    if ratio == 3:
        assert found["costs more"] >= 0.8


def test_a_crew_on_hard_ground_is_not_accused_for_its_ground():
    found = misuse_study.run(4, 1.0, 40, hard_ground=True)
    assert found["any crew"] <= 0.1


def fleet(seed=5, ratio=2.5):
    return misuse_study.simulate(np.random.default_rng(seed), ratio).arguments


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 200), st.floats(0.05, 0.95))
def test_order_and_cuts_of_the_exposure_change_nothing(seed, where):
    one = fleet(seed)
    answer = excess_failures(**one)
    rng = np.random.default_rng(seed)
    cut = one["entry"] + where * (one["end"] - one["entry"])
    order = rng.permutation(2 * one["unit"].size)
    two = {
        **one,
        "unit": np.tile(one["unit"], 2)[order],
        "crew": np.tile(one["crew"], 2)[order],
        "entry": np.concatenate([one["entry"], cut])[order],
        "end": np.concatenate([cut, one["end"]])[order],
    }
    turn = rng.permutation(one["failure_unit"].size)
    for name in ("failure_unit", "failure_hour", "failure_off"):
        two[name] = one[name][turn]
    other = excess_failures(**two)
    assert other.guard_off_hours == pytest.approx(answer.guard_off_hours, rel=1e-3)
    assert other.ratio == pytest.approx(answer.ratio, rel=5e-3)
    assert other.failures.tolist() == answer.failures.tolist()


def test_the_same_input_gives_the_same_answer():
    one, two = excess_failures(**fleet()), excess_failures(**fleet())
    assert (one.excess == two.excess).all()
    assert one.verdict == two.verdict


def test_costs_follow_failures_and_a_verdict_says_how_long_to_wait():
    answer = excess_failures(**fleet(ratio=1.3))
    assert answer.excess_cost == pytest.approx(answer.excess * misuse_study.COST)
    for word, hours in zip(answer.verdict, answer.hours_needed, strict=True):
        assert word in ("costs_more", "no_excess", "cannot_tell")
        assert np.isfinite(hours) == (word == "cannot_tell")
    assert (answer.excess_low <= answer.excess).all()
    assert (answer.excess <= answer.excess_high).all()
    assert answer.hours.sum() == pytest.approx(fleet(ratio=1.3)["end"].sum())


def test_guards_always_on_leave_nothing_to_accuse():
    one = fleet()
    one["look_found"] = np.where(np.isnan(one["look_found"]), np.nan, 0.0)
    one["look_left"] = np.zeros_like(one["look_left"])
    one["failure_off"] = np.zeros_like(one["failure_off"])
    answer = excess_failures(**one)
    assert "costs_more" not in answer.verdict
    assert (answer.guard_off_hours < 0.1 * answer.hours).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"failure_unit": [999]}, "failure 0: unit 999 has no exposure"),
        ({"look_unit": [999]}, "look 0: unit 999 has no exposure"),
        ({"failure_hour": [1e6]}, "failure 0: outside"),
        ({"look_found": [0.5]}, "look 0: found must be"),
        ({"end": [-1.0]}, "span 0"),
    ],
)
def test_bad_input_is_named(change, message):
    one = fleet()
    ((name, value),) = change.items()
    spoilt = np.array(one[name]).copy()
    spoilt[0] = value[0]
    if name == "look_found":
        spoilt[:] = np.where(np.isnan(spoilt), np.nan, 0.5)
        message = "found must be"
    with pytest.raises(ValueError, match=message):
        excess_failures(**{**one, name: spoilt})


def test_without_failure_there_is_nothing_to_compare():
    one = {**fleet(), "failure_unit": [], "failure_hour": [], "failure_off": []}
    with pytest.raises(ValueError, match="no failure"):
        excess_failures(**one)


def _dense(totals: CrewTotals, spread: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log evidence, crews' log levels and their covariance at each log ratio, one whole matrix at a time."""
    crews = totals.expected.size
    middle = np.average(totals.share, weights=totals.expected)
    design = np.column_stack([np.ones(crews), totals.share - middle, np.eye(crews)])
    prior = np.concatenate([[0.01, misuse_posterior.SHARE_SD**-2], np.full(crews, spread**-2)])
    failures, levels, values, covariances = totals.failures, [], [], []
    centre = np.zeros(crews + 2)
    centre[0] = np.log((failures.sum() + 0.5) / totals.expected.sum())
    for log_ratio in misuse_posterior.LOG_RATIOS:
        exposure = totals.expected + np.expm1(log_ratio) * totals.expected_off
        theta = np.zeros(crews + 2)
        theta[0] = np.log((failures.sum() + 0.5) / exposure.sum())
        for _ in range(40):
            mu = np.exp(design @ theta) * exposure
            hessian = design.T @ (mu[:, None] * design) + np.diag(prior)
            theta = theta + np.linalg.solve(hessian, (failures - mu) @ design - prior * (theta - centre))
        off = theta - centre
        value = failures @ (design @ theta) - mu.sum() + log_ratio * totals.failures_off.sum()
        value += np.log1p(np.expm1(log_ratio) * totals.unknown_off).sum()
        value -= 0.5 * (log_ratio / misuse_posterior.RATIO_SD) ** 2 + 0.5 * off @ (prior * off)
        values.append(value + 0.5 * np.log(prior).sum() - 0.5 * np.linalg.slogdet(hessian)[1])
        levels.append(design @ theta)
        covariances.append(design @ np.linalg.inv(hessian) @ design.T)
    return np.array(values), np.array(levels), np.array(covariances)


@pytest.mark.parametrize(("crews", "spread"), [(1, 0.3), (3, 0.05), (12, 0.8)])
def test_the_border_of_two_gives_what_whole_matrices_give(crews, spread):
    totals = _some_crews(crews)
    mode = misuse_posterior._levels(totals, misuse_posterior._design(totals), spread)
    value, levels, covariance = _dense(totals, spread)
    assert mode.value == pytest.approx(value, abs=1e-8)
    assert mode.eta == pytest.approx(levels, abs=1e-8)
    ours = np.einsum("rci,rij,rdj->rcd", mode.follow, mode.common, mode.follow)
    ours[:, np.arange(crews), np.arange(crews)] += mode.own
    assert ours == pytest.approx(covariance, abs=1e-8)
    z = np.random.default_rng(5).normal(size=(mode.eta.shape[0], crews))
    drawn = misuse_posterior._correlated(mode.own, mode.follow, mode.common, z)
    assert drawn == pytest.approx(np.einsum("rcd,rd->rc", np.linalg.cholesky(covariance), z), abs=1e-8)


def test_two_hundred_crews_take_seconds_not_minutes():
    """Whole matrices took almost three minutes; the bound leaves room for a busy machine."""
    start = time.process_time()
    _, levels, _ = misuse_posterior.posterior_draws(_some_crews(200))
    assert levels.shape == (misuse_posterior.DRAWS, 200)
    assert time.process_time() - start < 10


def _some_crews(crews: int) -> CrewTotals:
    rng = np.random.default_rng(crews)
    expected, share = rng.uniform(2, 30, crews), rng.uniform(0, 0.7, crews)
    failures = rng.poisson(expected)
    return CrewTotals(
        expected=expected,
        expected_off=expected * share,
        expected_off_sd=0.1 * expected * share,
        share=share,
        failures=failures.astype(float),
        failures_off=rng.binomial(failures, share).astype(float),
        unknown_crew=rng.integers(0, crews, 4),
        unknown_off=rng.random(4),
    )
