"""Pooled models: against a long Markov chain, plain fits, and simulation with known truth."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.reliability import Lifetimes, fit_weibull, pool_models
from tests.reliability import pooling_study
from tests.reliability.simulated import models
from tests.reliability.test_weibull import slow_log_likelihood

INF = float("inf")


def three_models() -> Lifetimes:
    return Lifetimes(
        lower=[60, 95, 130, 150, 150, 40, 70, 80, 80, 120, 120],
        upper=[60, 95, 130, INF, INF, 40, 70, INF, INF, INF, INF],
        group=[0, 0, 0, 0, 0, 1, 1, 1, 1, 2, 2],
    )


def test_posterior_agrees_with_a_long_markov_chain():
    """Random-walk Metropolis over models, means and spreads, written out from the model's definition."""
    rows = three_models()
    parts = [rows.take(rows.group == g) for g in range(3)]

    def log_posterior(theta):
        logs, mean, spread = theta[:6].reshape(3, 2), theta[6:8], np.exp(theta[8:])
        value = -0.5 * ((mean[0] - np.log(1.8)) / 0.5) ** 2
        value += (np.log(spread) - 0.5 * (spread / [0.3, 0.5]) ** 2).sum()
        value += (-0.5 * ((logs - mean) / spread) ** 2 - np.log(spread)).sum()
        # The grid's ends: the spreads are integrated between them.
        if (spread < 0.09 * np.array([0.3, 0.5])).any() or (spread > 3.5 * np.array([0.3, 0.5])).any():
            return -np.inf
        shape, scale = np.exp(logs).T
        for g, part in enumerate(parts):
            event = part.exact
            value += (np.log(shape[g] / scale[g]) + (shape[g] - 1) * np.log(part.lower[event] / scale[g])).sum()
            value -= ((part.lower / scale[g]) ** shape[g]).sum()
        return value

    assert log_posterior(np.array([0.5, 4.8, 0.4, 4.5, 0.6, 5, 0.5, 4.8, -1.5, -1.0])) < slow_log_likelihood(
        parts[0], 1.6, 120.0, np.empty(0)
    )
    rng = np.random.default_rng(1)
    now = np.array([0.6, 4.8, 0.6, 4.6, 0.6, 5.2, 0.6, 4.9, np.log(0.2), np.log(0.3)])
    width = np.array([0.25, 0.25, 0.3, 0.3, 0.3, 0.4, 0.3, 0.35, 0.5, 0.5]) * 0.75
    value = log_posterior(now)
    kept = []
    for step in range(60_000):
        trial = now + width * rng.normal(size=10) * rng.choice([0.3, 1.0])
        new = log_posterior(trial)
        if np.log(rng.random()) < new - value:
            now, value = trial, new
        if step > 4000:
            kept.append(now[:6])
    chain = np.array(kept)
    fit = pool_models(rows)
    mean = np.einsum("m,mgi->gi", fit.weights, fit.means)
    dev = fit.means - mean
    variance = np.einsum("m,mgi->gi", fit.weights, np.einsum("mgii->mgi", fit.covariances) + dev**2)
    assert mean.ravel() == pytest.approx(chain.mean(axis=0), abs=0.07)
    assert np.sqrt(variance).ravel() == pytest.approx(chain.std(axis=0), rel=0.17)


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
