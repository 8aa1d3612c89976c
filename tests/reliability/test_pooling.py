"""Pooled models: against a long Markov chain, plain fits, and simulation with known truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.reliability import Lifetimes, fit_weibull, pool_models
from tests.reliability import pooling_study
from tests.reliability.simulated import models

INF = float("inf")


def three_models() -> Lifetimes:
    return Lifetimes(
        lower=[60, 95, 130, 150, 150, 40, 70, 80, 80, 120, 120],
        upper=[60, 95, 130, INF, INF, 40, 70, INF, INF, INF, INF],
        group=[0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2],
    )


def chain(rows: Lifetimes, walkers: int, steps: int) -> np.ndarray:
    """Random-walk Metropolis over models, means and spreads, written out from the model's definition: (draws, 2 G)."""
    groups = rows.groups
    ends = np.array([0.09, 3.5])[:, None] * [0.3, 0.5]  # The grid's ends: the spreads are integrated between them.

    def log_posterior(theta):
        logs, mean, spread = (
            theta[:, : 2 * groups].reshape(-1, groups, 2),
            theta[:, -4:-2],
            np.exp(theta[:, -2:]),
        )
        value = -0.5 * ((mean[:, 0] - np.log(1.8)) / 0.5) ** 2 + (
            np.log(spread) - 0.5 * (spread / [0.3, 0.5]) ** 2
        ).sum(1)
        value += (-0.5 * ((logs - mean[:, None]) / spread[:, None]) ** 2 - np.log(spread)[:, None]).sum((1, 2))
        shape, scale = np.exp(logs[:, rows.group, 0]), np.exp(logs[:, rows.group, 1])
        late = np.where(rows.interval, rows.upper, rows.lower)
        start, low, high = ((at / scale) ** shape for at in (rows.entry, rows.lower, late))
        row = start - low
        row[:, rows.exact] += (np.log(shape / scale) + (shape - 1) * np.log(rows.lower / scale))[:, rows.exact]
        row[:, rows.interval] += np.log(-np.expm1((low - high)[:, rows.interval]))
        return np.where(((spread < ends[0]) | (spread > ends[1])).any(1), -np.inf, value + row.sum(1))

    rng = np.random.default_rng(1)
    fit = pool_models(rows)
    center = np.concatenate([np.column_stack([np.log(fit.shape), np.log(fit.scale)]).ravel(), [0.6, 4.8, -1.6, -1.2]])
    now = np.tile(center, (walkers, 1))
    width = np.concatenate([np.tile([0.2, 0.25], groups), [0.22, 0.26, 0.37, 0.37]])
    value, kept = log_posterior(now), []
    for step in range(steps):
        trial = now + width * rng.normal(size=now.shape) * rng.choice([0.3, 1.0], size=(walkers, 1))
        new = log_posterior(trial)
        taken = np.log(rng.random(walkers)) < new - value
        now, value = np.where(taken[:, None], trial, now), np.where(taken, new, value)
        if step > steps // 6 and step % 20 == 0:
            kept.append(now[:, : 2 * groups])
    return np.concatenate(kept)


def with_looks() -> Lifetimes:
    """A model whose failures were all found by looking, beside one with a failure and one with none."""
    return Lifetimes(
        lower=[40, 60, 90, 120, 60, 95, 150, 150, 120, 80],
        upper=[60, 90, 140, INF, 100, 95, INF, INF, INF, INF],
        entry=[0, 0, 20, 0, 10, 0, 50, 0, 0, 0],
        group=[0, 0, 0, 0, 0, 1, 1, 1, 2, 2],
    )


@pytest.mark.parametrize("rows", [three_models(), with_looks()], ids=["exact", "looks"])
def test_posterior_agrees_with_a_long_markov_chain(rows):
    drawn = chain(rows, 500, 6000)
    sd = drawn.std(axis=0).reshape(-1, 2)
    fit = pool_models(rows)
    mean = np.column_stack([np.log(fit.shape), np.log(fit.scale)])
    assert mean == pytest.approx(drawn.mean(axis=0).reshape(-1, 2), abs=0.03)
    dev = fit.means - mean
    variance = np.einsum("m,mgi->gi", fit.weights, np.einsum("mgii->mgi", fit.covariances) + dev**2)
    assert np.sqrt(variance) == pytest.approx(sd, rel=0.06)
    for j, (name, draws) in enumerate(zip(("shape", "scale"), fit.draws(4096), strict=True)):
        ends = np.quantile(drawn[:, j::2], [0.025, 0.975], axis=0)
        for found in (np.log(fit.confint()[name]), np.log(np.quantile(draws, [0.025, 0.975], axis=0))):
            assert (np.abs(found - ends) / sd[:, j]).max() < 0.2


def test_a_model_without_exposure_has_the_prior_and_hours_without_failure_lengthen_life():
    rows = three_models()
    more = Lifetimes(
        lower=[*rows.lower, 30.0, *[200.0] * 3],
        upper=[*rows.upper, INF, *[INF] * 3],
        entry=[*rows.entry, 30.0, *[0.0] * 3],
        group=[*rows.group, 3, *[5] * 3],
        groups=6,
    )
    fit = pool_models(more)
    assert fit.scale[3] == pytest.approx(fit.scale[4], rel=1e-9)
    assert fit.shape[3] == pytest.approx(fit.shape[4], rel=1e-9)
    assert fit.drawn[3] == pytest.approx(1.0)
    assert fit.scale[5] > fit.scale[3]
    assert fit.failures.tolist() == [3, 2, 0, 0, 0, 0]
    assert (fit.drawn[:2] < 1).all()
    low, high = fit.confint()["scale"]
    assert high[4] / low[4] > high[0] / low[0]


def test_no_event_anywhere_is_refused():
    with pytest.raises(ValueError, match="no event in any group"):
        pool_models(Lifetimes(lower=[50.0, 60.0], group=[0, 1]))


def test_one_model_needs_no_special_case():
    fit = pool_models(Lifetimes(lower=[60, 95, 130, 150], upper=[60, 95, 130, INF]))
    assert fit.converged.all()
    assert 80 < fit.scale[0] < 220


def test_many_failures_come_out_as_the_plain_fit():
    rng = np.random.default_rng(3)
    count = 9
    log_shape, log_scale = rng.normal(0.6, 0.25, count), rng.normal(5, 0.45, count)
    group = np.repeat(np.arange(count), 320)
    life = np.exp(log_scale)[group] * rng.exponential(size=group.size) ** np.exp(-log_shape)[group]
    end = np.exp(log_scale)[group] * rng.uniform(0.5, 2.0, group.size)
    event = life <= end
    rows = Lifetimes(lower=np.where(event, life, end), upper=np.where(event, life, INF), group=group)
    assert np.median(rows.event_counts()) > 190
    pooled, plain = pool_models(rows), fit_weibull(rows)
    assert np.median(np.abs(pooled.shape / plain.shape - 1)) < 0.02
    assert np.median(np.abs(pooled.scale / plain.scale - 1)) < 0.02
    assert (pooled.drawn < 0.1).all()


@pytest.mark.parametrize("count", [5, 15, 40])
def test_pooled_limits_cover_as_they_say(count):
    """Short form of the study in study_coverage; 91-98 % at full size."""
    share = pooling_study.coverage(np.random.default_rng(count), count, max(6, 200 // count))
    assert all(0.90 <= value <= 0.99 for value in share.values()), share


def test_pooled_error_is_below_plain_and_held_shape_fits():
    found = pooling_study.errors(np.random.default_rng(2), 12)
    assert (found["pooled", "2-5"] < found["plain", "2-5"]).all()
    assert (found["pooled", "0-1"] < found["held", "0-1"]).all()


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 500), st.floats(0.05, 20))
def test_scaling_order_and_splitting(seed, factor):
    rng = np.random.default_rng(seed)
    rows = models(rng, 4)[2]
    if rows.event_counts().sum() < 2:
        return
    one = pool_models(rows)
    order = rng.permutation(rows.size)
    middle = 0.5 * (rows.entry + rows.lower)
    cut = Lifetimes(
        entry=np.concatenate([rows.entry, middle])[np.concatenate([order, order + rows.size])] * factor,
        lower=np.concatenate([middle, rows.lower])[np.concatenate([order, order + rows.size])] * factor,
        upper=np.concatenate([np.full(rows.size, INF), rows.upper])[np.concatenate([order, order + rows.size])]
        * factor,
        group=np.concatenate([rows.group, rows.group])[np.concatenate([order, order + rows.size])],
        groups=4,
    )
    two = pool_models(cut)
    assert two.shape == pytest.approx(one.shape, rel=1e-3)
    assert two.scale == pytest.approx(one.scale * factor, rel=1e-3)
    again = pool_models(rows)
    assert (again.scale == one.scale).all()


def test_covariates_are_common_to_the_models():
    rng = np.random.default_rng(6)
    log_shape, log_scale, rows = models(rng, 12, reach=1.2)
    x = (rng.random(rows.size) < 0.4).astype(float)
    shape, scale = np.exp(log_shape)[rows.group], np.exp(log_scale)[rows.group]
    life = scale * ((rows.entry / scale) ** shape + rng.exponential(size=rows.size) / np.exp(0.8 * x)) ** (1 / shape)
    end = rows.entry + rng.uniform(0.2, 1.2, rows.size) * scale
    event = life <= end
    lower = np.where(event, life, end)
    fit = pool_models(
        Lifetimes(entry=rows.entry, lower=lower, upper=np.where(event, life, INF), group=rows.group, covariates=x)
    )
    low, high = fit.confint()["coef"]
    assert low[0] < 0.8 < high[0]
    assert high[0] - low[0] < 1.5
    assert (fit.survival(50.0, [1.0]) < fit.survival(50.0, [0.0])).all()
    assert (fit.quantile(0.1, [1.0]) < fit.quantile(0.1)).all()


def test_with_many_failures_the_pooled_fit_is_all_but_the_plain_one():
    """Short form of study_coverage: at 200 failures a model the median difference stays within 2 %."""
    assert max(pooling_study.drift_with_many_failures(np.random.default_rng(12), 2)) <= 0.02
