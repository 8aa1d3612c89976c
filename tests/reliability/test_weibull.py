"""Properties of Weibull fits, and comparison with slow implementations and a general-purpose library."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize

from fleet.reliability import Lifetimes, WeibullPrior, fit_weibull
from tests.reliability.simulated import groups_of_units, keep_groups

INF = float("inf")


def slow_log_likelihood(rows: Lifetimes, shape: float, scale: float, coef: np.ndarray) -> float:
    """Row by row, as the definition reads; spells summed one by one."""
    total = 0.0
    looked: dict[int, float] = {}
    for i in range(rows.size):
        ratio = float(np.exp(rows.covariates[i] @ coef))
        entry, lower, upper = (
            (hours / scale) ** shape * ratio for hours in (rows.entry[i], rows.lower[i], rows.upper[i])
        )
        total -= lower - entry
        if rows.lower[i] == rows.upper[i]:
            total += np.log(shape / scale * (rows.lower[i] / scale) ** (shape - 1) * ratio)
        elif np.isfinite(rows.upper[i]):
            spell = i if rows.spell is None else int(rows.spell[i])
            looked[spell] = looked.get(spell, 0.0) + upper - lower
    return total + sum(np.log(-np.expm1(-mass)) for mass in looked.values())


def mixed_rows(seed: int, n: int = 40, p: int = 2) -> Lifetimes:
    """Exact, right-, left- and interval-censored rows with delayed entry and covariates."""
    rng = np.random.default_rng(seed)
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 60, n), 0.0)
    end = entry + rng.uniform(5, 150, n)
    kind = rng.integers(0, 4, n)
    kind[:4] = [0, 0, 1, 2]
    lower = np.where(kind == 3, entry, end)
    upper = np.choose(kind, [end, end + rng.uniform(5, 50, n), np.full(n, INF), end])
    return Lifetimes(entry=entry, lower=lower, upper=upper, covariates=rng.random((n, p)) if p else None)


@pytest.mark.parametrize("seed", range(6))
def test_agrees_with_a_slow_row_by_row_fit(seed):
    rows = mixed_rows(seed)

    def cost(theta):
        return -slow_log_likelihood(rows, np.exp(theta[0]), np.exp(theta[1]), theta[2:])

    best = minimize(cost, [0.2, 4.5, 0, 0], method="BFGS", options={"gtol": 1e-7})
    best = minimize(cost, best.x, method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000})
    fit = fit_weibull(rows)
    assert fit.converged.all()
    assert fit.log_likelihood[0] == pytest.approx(-best.fun, abs=1e-8)
    assert np.log(fit.shape[0]) == pytest.approx(best.x[0], abs=2e-5)
    assert np.log(fit.scale[0]) == pytest.approx(best.x[1], abs=2e-5)
    assert fit.coef == pytest.approx(best.x[2:], abs=2e-4)


def test_profile_limits_agree_with_a_slow_profile():
    rows = mixed_rows(3, p=1)
    fit = fit_weibull(rows)
    top = fit.log_likelihood[0]

    def short(log_shape):
        best = minimize(
            lambda t: -slow_log_likelihood(rows, np.exp(log_shape), np.exp(t[0]), t[1:]), [4.5, 0.0], tol=1e-10
        )
        return top + best.fun - 1.920729410347062

    low = brentq(short, np.log(fit.shape[0]) - 1.5, np.log(fit.shape[0]), xtol=1e-7)
    high = brentq(short, np.log(fit.shape[0]), np.log(fit.shape[0]) + 1.5, xtol=1e-7)
    limits = fit.confint(0.95)
    assert [limits["shape"][0][0], limits["shape"][1][0]] == pytest.approx(np.exp([low, high]), rel=1e-5)

    def short_coef(value):
        best = minimize(
            lambda t: -slow_log_likelihood(rows, np.exp(t[0]), np.exp(t[1]), np.array([value])), [0.2, 4.5], tol=1e-10
        )
        return top + best.fun - 1.920729410347062

    low = brentq(short_coef, fit.coef[0] - 4, fit.coef[0], xtol=1e-7)
    assert limits["coef"][0][0] == pytest.approx(low, abs=1e-5)


def test_quantile_limits_agree_with_a_slow_profile():
    rows = mixed_rows(5, p=0)
    fit = fit_weibull(rows)
    low, high = fit.quantile_confint(0.1, 0.9)

    def short(log_b10):
        def cost(log_shape):
            shape = float(np.exp(log_shape[0]))
            scale = float(np.exp(log_b10)) * (-np.log(0.9)) ** (-1 / shape)
            return -slow_log_likelihood(rows, shape, scale, np.empty(0))

        return fit.log_likelihood[0] + minimize(cost, [0.0], tol=1e-10).fun - 2.705543454095404 / 2

    middle = np.log(fit.quantile(0.1)[0])
    expected = [brentq(short, middle - 5, middle, xtol=1e-7), brentq(short, middle, middle + 3, xtol=1e-7)]
    assert np.log([low[0], high[0]]) == pytest.approx(expected, abs=1e-5)


def test_agrees_with_lifelines_and_is_never_less_likely():
    from lifelines import WeibullFitter

    rng = np.random.default_rng(8)
    rows = groups_of_units(rng, 12, 60, rng.uniform(0.8, 3, 12), rng.uniform(60, 300, 12))
    fit = fit_weibull(rows)
    for g in range(12):
        part = rows.take(rows.group == g)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            other = WeibullFitter().fit(part.lower, event_observed=part.exact, entry=part.entry)
        assert fit.shape[g] == pytest.approx(other.rho_, rel=1e-3)
        assert fit.scale[g] == pytest.approx(other.lambda_, rel=1e-3)
        assert fit.log_likelihood[g] >= other.log_likelihood_ - 1e-9


def test_agrees_with_surpyval_on_looks():
    import surpyval

    rng = np.random.default_rng(2)
    life = 120 * rng.weibull(1.8, 80)
    before = np.floor(life / 30) * 30
    other = surpyval.Weibull.fit(x=np.column_stack([before, before + 30]).tolist())
    fit = fit_weibull(Lifetimes(lower=before, upper=before + 30))
    assert [fit.scale[0], fit.shape[0]] == pytest.approx(other.params, rel=1e-3)


seeds = st.integers(0, 10_000)


@settings(max_examples=25, deadline=None)
@given(seeds, st.floats(0.01, 100))
def test_scaling_hours_scales_the_scale(seed, factor):
    rows = mixed_rows(seed)
    fit = fit_weibull(rows)
    scaled = Lifetimes(
        entry=rows.entry * factor, lower=rows.lower * factor, upper=rows.upper * factor, covariates=rows.covariates
    )
    other = fit_weibull(scaled)
    assert other.shape == pytest.approx(fit.shape, rel=1e-5, nan_ok=True)
    assert other.scale == pytest.approx(fit.scale * factor, rel=1e-5, nan_ok=True)


@settings(max_examples=25, deadline=None)
@given(seeds, st.integers(0, 39), st.floats(0.02, 0.98))
def test_splitting_a_row_at_any_hour_changes_nothing(seed, row, share):
    rows = mixed_rows(seed)
    last = rows.upper[row] if np.isfinite(rows.upper[row]) else rows.lower[row]
    cut = rows.entry[row] + share * (last - rows.entry[row])
    entry, lower, upper = ([*values] for values in (rows.entry, rows.lower, rows.upper))
    spell = list(range(rows.size))
    x = [*rows.covariates]
    lower[row] = min(rows.lower[row], cut)
    upper[row] = cut if rows.lower[row] < cut < rows.upper[row] < INF else INF
    entry.append(cut)
    lower.append(max(cut, rows.lower[row]))
    upper.append(rows.upper[row])
    spell.append(row)
    x.append(x[row])
    split = Lifetimes(entry=entry, lower=lower, upper=upper, spell=spell, covariates=np.array(x))
    one, two = fit_weibull(rows), fit_weibull(split)
    assert two.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-7, nan_ok=True)
    assert two.shape == pytest.approx(one.shape, rel=1e-5, nan_ok=True)
    assert (one.events == two.events).all()


@settings(max_examples=25, deadline=None)
@given(seeds, st.randoms(use_true_random=False))
def test_row_order_and_unobserved_rows_change_nothing(seed, random):
    rows = mixed_rows(seed)
    order = list(range(rows.size))
    random.shuffle(order)
    shuffled = rows.take(np.array(order))
    idle = Lifetimes(
        entry=[*shuffled.entry, 30.0],
        lower=[*shuffled.lower, 30.0],
        upper=[*shuffled.upper, INF],
        covariates=np.vstack([shuffled.covariates, [[0.3, 0.9]]]),
    )
    one, two = fit_weibull(rows), fit_weibull(idle)
    assert two.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-7, nan_ok=True)
    assert two.coef == pytest.approx(one.coef, abs=1e-4)


@settings(max_examples=15, deadline=None)
@given(seeds)
def test_groups_alone_or_together_give_the_same(seed):
    rng = np.random.default_rng(seed)
    rows = groups_of_units(rng, 5, 25, rng.uniform(1, 3, 5), rng.uniform(80, 200, 5))
    rows = keep_groups(rows, rows.event_counts() >= 2)
    together = fit_weibull(rows)
    limits = together.confint()
    for g in range(rows.groups):
        part = rows.take(rows.group == g)
        alone = fit_weibull(Lifetimes(entry=part.entry, lower=part.lower, upper=part.upper))
        assert alone.shape[0] == pytest.approx(together.shape[g], rel=1e-5)
        assert alone.scale[0] == pytest.approx(together.scale[g], rel=1e-5)
        assert alone.confint()["scale"][1][0] == pytest.approx(limits["scale"][1][g], rel=1e-4)


def test_all_events_at_one_hour_give_no_estimate():
    fit = fit_weibull(Lifetimes(lower=[50, 50, 50, 30, 40], upper=[50, 50, 50, 30, 40], group=[0, 0, 0, 1, 1]))
    assert fit.converged.tolist() == [False, True]
    assert np.isnan(fit.shape[0])
    assert np.isnan(fit.scale[0])
    assert np.isnan(fit.confint()["shape"][0][0])


def test_a_group_without_event_raises_or_leans_on_its_prior():
    rows = Lifetimes(lower=[50, 80, 60], upper=[50, 80, INF], group=[0, 0, 1], groups=3)
    with pytest.raises(ValueError, match="group 1 has no event"):
        fit_weibull(rows)
    with pytest.raises(ValueError, match="no event in any group"):
        fit_weibull(Lifetimes(lower=[60.0]))
    prior = WeibullPrior(log_shape=0.6, log_shape_sd=0.3, log_scale=5.0, log_scale_sd=0.5)
    fit = fit_weibull(rows, prior)
    assert fit.scale[2] == pytest.approx(np.exp(5.0))
    assert fit.shape[2] == pytest.approx(np.exp(0.6))
    assert fit.scale[1] > fit.scale[2]


def test_posterior_mode_agrees_with_a_slow_search():
    rows = mixed_rows(11, p=1)
    prior = WeibullPrior(log_shape=0.8, log_shape_sd=0.2, log_scale=4.0, log_scale_sd=0.3, coef_sd=0.5)

    def cost(t):
        penalty = 0.5 * (((t[0] - 0.8) / 0.2) ** 2 + ((t[1] - 4.0) / 0.3) ** 2 + (t[2] / 0.5) ** 2)
        return penalty - slow_log_likelihood(rows, np.exp(t[0]), np.exp(t[1]), t[2:])

    best = minimize(cost, [0.5, 4.2, 0.0], tol=1e-11)
    fit = fit_weibull(rows, prior)
    assert [np.log(fit.shape[0]), np.log(fit.scale[0]), fit.coef[0]] == pytest.approx(best.x, abs=1e-5)


def test_methods_agree_with_scipy():
    from scipy.stats import weibull_min

    fit = fit_weibull(mixed_rows(1, p=0))
    law = weibull_min(fit.shape[0], scale=fit.scale[0])
    hours = np.array([5.0, 60.0, 140.0])
    assert fit.survival(hours) == pytest.approx(law.sf(hours))
    assert fit.hazard(hours) == pytest.approx(law.pdf(hours) / law.sf(hours))
    assert fit.quantile([0.1, 0.5]) == pytest.approx(law.ppf([0.1, 0.5]))
    assert fit.mean_life() == pytest.approx(law.mean())
    assert fit.failure_probability(60, 30) == pytest.approx((law.sf(60) - law.sf(90)) / law.sf(60))


def test_covariates_tilt_the_hazard():
    fit = fit_weibull(mixed_rows(1, p=2))
    x = np.array([[0.0, 0.0], [1.0, 0.5]])
    ratio = float(np.exp(x[1] @ fit.coef))
    assert fit.hazard(50.0, x)[1] == pytest.approx(fit.hazard(50.0)[0] * ratio)
    assert fit.survival(fit.quantile(0.2, x), x) == pytest.approx([0.8, 0.8])
    with pytest.raises(ValueError, match="covariates"):
        fit.survival(50.0, [1.0])


def test_profile_limits_cover_as_they_say():
    """A short form of the study in study_coverage: 800 groups of 30 units with at least two failures."""
    rng = np.random.default_rng(1)
    shape, scale = rng.uniform(1, 3, 800), rng.uniform(100, 300, 800)
    rows = groups_of_units(rng, 800, 30, shape, scale)
    keep = rows.event_counts() >= 2
    fit = fit_weibull(keep_groups(rows, keep))
    for name, truth in (("shape", shape[keep]), ("scale", scale[keep])):
        low, high = fit.confint(0.95)[name]
        assert 0.92 <= np.mean((low <= truth) & (truth <= high)) <= 0.975
