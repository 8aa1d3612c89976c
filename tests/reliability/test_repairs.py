"""Power law and trend tests against the NIST handbook, AMSAA, Proschan's segments (sources in ``data/``), and
simulation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad, simpson
from scipy.stats import gamma

from fleet.reliability import fit_power_law, trend_test
from tests.reliability import published

NIST = published.case("c19")["data"]["failure_times"]


def test_one_system_matches_the_handbook_and_the_reference_tools():
    fit = fit_power_law([1] * 10, NIST, [1], 0, [1500])
    expected = published.case("c19")["computed"]
    assert fit.shape == pytest.approx(expected["mle"]["beta"], rel=1e-9)
    assert fit.scale**-fit.shape == pytest.approx(expected["mle"]["lambda"], rel=1e-9)
    assert fit.log_likelihood == pytest.approx(expected["mle"]["loglik"], abs=1e-9)
    assert fit.unbiased_shape() == pytest.approx(expected["modified"]["beta_unbiased"], rel=1e-9)
    assert round(1 - fit.unbiased_shape(), 4) == published.case("c19")["published"]["growth_slope_modified"]
    assert fit.confint(0.95, "exact")["shape"] == pytest.approx(expected["beta_ci95_exact"], rel=1e-9)
    assert fit.confint(0.95, "wald")["shape"] == pytest.approx(expected["mle"]["beta_ci95_wald_log"], rel=1e-5)


def test_one_system_trend_matches_the_reference_tool():
    test = trend_test([1] * 10, NIST, [1], 0, [1500])
    expected = published.case("c19")["computed"]["trend"]
    assert test.laplace == pytest.approx(expected["laplace_U"], rel=1e-9)
    assert test.laplace_p == pytest.approx(expected["laplace_p_two_sided"], rel=1e-9)
    assert (test.chi_square, test.degrees) == (pytest.approx(expected["mil189_chisq"]), expected["mil189_df"])
    assert test.p_two_sided == pytest.approx(expected["mil189_p_two_sided"], rel=1e-9)


def three_systems():
    data = published.case("c20")["data"]
    parts = [data["S1"], data["S2"], data["S3"]]
    return np.repeat([1, 2, 3], [len(part) for part in parts]), np.concatenate(parts)


def test_three_systems_match_the_printed_and_the_computed_figures():
    who, when = three_systems()
    fit = fit_power_law(who, when, [1, 2, 3], 0, 200)
    expected = published.case("c20")["computed"]["r1"]
    assert fit.shape == pytest.approx(expected["beta"], rel=1e-9)
    assert fit.scale**-fit.shape == pytest.approx(expected["lambda"], rel=1e-9)
    assert round(fit.shape, 3) == published.case("c20")["published"]["beta"]
    assert round(fit.scale**-fit.shape, 3) == published.case("c20")["published"]["lambda"]
    test = trend_test(who, when, [1, 2, 3], 0, 200)
    assert test.laplace == pytest.approx(published.case("c20")["computed"]["trend"]["laplace_U"], rel=1e-9)
    assert test.chi_square == pytest.approx(published.case("c20")["computed"]["trend"]["mil189_chisq"], rel=1e-9)


def test_failure_truncated_segments_match_one_by_one_and_pooled():
    who, when = [], []
    for i, (name, gaps) in enumerate(published.case("c22")["data"].items()):
        times = np.cumsum(gaps).astype(float)
        who += [i] * times.size
        when += list(times)
        expected = published.case("c22")["computed"]["by_segment"][name]
        fit = fit_power_law([i] * times.size, times, [i], 0, [times[-1]])
        assert fit.shape == pytest.approx(expected["power_law_beta_mle"], rel=1e-8)
        assert fit.unbiased_shape("failure") == pytest.approx(expected["beta_unbiased_failure_trunc"], rel=1e-8)
        test = trend_test([i] * times.size, times, [i], truncation="failure")
        assert test.laplace == pytest.approx(expected["laplace_U"], abs=1e-10)
        assert test.chi_square == pytest.approx(expected["mil189_chisq"], rel=1e-10)
    pooled = trend_test(who, when, range(14), truncation="failure")
    expected = published.case("c22")["computed"]["pooled_trend"]
    assert pooled.laplace == pytest.approx(expected["laplace_U"], rel=1e-9)
    assert pooled.p_two_sided == pytest.approx(expected["mil189_p_two_sided"], rel=1e-9)


def pumps(**more):
    data = published.case("c37")["data"]
    end = np.array(data["t"])
    who = np.repeat(np.arange(10), data["x"])
    # At a constant rate the likelihood does not depend on when the events fell.
    when = np.concatenate([(np.arange(n) + 1) / (n + 1) * t for n, t in zip(data["x"], end, strict=True)])
    return fit_power_law(who, when, np.arange(10), 0, end, shape=1.0, factors=True, **more)


def test_pump_factors_match_two_gamma_poisson_fits():
    fit = pumps()
    expected = published.case("c37")["computed"]["r"]
    assert 1 / fit.dispersion == pytest.approx(expected["alpha"], rel=1e-6)
    assert fit.scale / fit.dispersion == pytest.approx(expected["beta"], rel=1e-6)
    assert fit.factors / fit.scale == pytest.approx(expected["post_mean"], rel=1e-6)
    assert np.sqrt(fit.covariance[2, 2]) == pytest.approx(expected["se_log"][0], rel=1e-4)


def test_a_marginal_likelihood_by_quadrature_peaks_at_the_same_place():
    rng = np.random.default_rng(3)
    end = rng.uniform(50, 200, 15)
    counts = rng.poisson(4 * (end / 100) ** 1.4 * rng.gamma(1.5, 1 / 1.5, 15))
    who = np.repeat(np.arange(15), counts)
    when = end[who] * rng.random(who.size) ** (1 / 1.4)
    fit = fit_power_law(who, when, np.arange(15), 0, end, factors=True)
    z = np.linspace(1e-6, 15, 6001)[:, None]

    def log_likelihood(log_shape, log_scale, log_spread):
        shape, scale, a = np.exp([log_shape, log_scale, -log_spread])
        given = z**counts * np.exp(-z * (end / scale) ** shape) * gamma.pdf(z, a, scale=1 / a)
        rates = np.log(shape / scale * (when / scale) ** (shape - 1)).sum()
        return rates + np.log(simpson(given, x=z[:, 0], axis=0)).sum()

    best = np.log([fit.shape, fit.scale, fit.dispersion])
    top = log_likelihood(*best)
    assert fit.log_likelihood == pytest.approx(top, abs=1e-4)
    for shift in np.vstack([np.eye(3), -np.eye(3)]) * 0.05:
        assert log_likelihood(*(best + shift)) < top


@settings(max_examples=15, deadline=None)
@given(st.integers(0, 5000), st.floats(0.1, 20))
def test_scaling_hours_scales_the_scale_and_order_and_cuts_do_not_matter(seed, factor):
    rng = np.random.default_rng(seed)
    entry = rng.uniform(0, 50, 8)
    end = entry + rng.uniform(40, 100, 8)
    who = rng.integers(0, 8, 20)
    when = entry[who] + rng.random(20) * (end[who] - entry[who])
    one = fit_power_law(who, when, np.arange(8), entry, end)
    if not one.converged:
        assert np.isnan(one.shape)
        return
    order = rng.permutation(20)
    two = fit_power_law(who[order], when[order] * factor, np.arange(8), entry * factor, end * factor)
    assert two.shape == pytest.approx(one.shape, rel=1e-5)
    assert np.log(two.scale) == pytest.approx(np.log(one.scale * factor), abs=1e-5)
    cut = 0.5 * (entry[0] + end[0])
    three = fit_power_law(who, when, [0, *range(8)], [cut, entry[0], *entry[1:]], [end[0], cut, *end[1:]])
    assert three.log_likelihood == pytest.approx(one.log_likelihood, abs=1e-7)


def test_covariates_and_factors_are_recovered_from_unequal_windows():
    rng = np.random.default_rng(5)
    n = 1500
    entry = rng.uniform(0, 100, n)
    end = entry + rng.uniform(50, 300, n)
    x = (rng.random(n) < 0.4).astype(float)
    mass = ((end / 80) ** 1.5 - (entry / 80) ** 1.5) * np.exp(0.5 * x)
    counts = rng.poisson(mass * rng.gamma(2.5, 1 / 2.5, n))
    who = np.repeat(np.arange(n), counts)
    when = (entry[who] ** 1.5 + rng.random(who.size) * (end[who] ** 1.5 - entry[who] ** 1.5)) ** (1 / 1.5)
    fit = fit_power_law(who, when, np.arange(n), entry, end, covariates=x, factors=True)
    assert fit.shape == pytest.approx(1.5, abs=0.06)
    assert fit.coef[0] == pytest.approx(0.5, abs=0.12)
    assert fit.dispersion == pytest.approx(0.4, abs=0.06)
    low, high = fit.confint(0.95)["shape"]
    assert low < 1.5 < high


def test_alike_units_have_no_dispersion_and_factor_one():
    who, when = three_systems()
    fit = fit_power_law(who, when, [1, 2, 3], 0, 200, factors=True)
    assert fit.dispersion == 0
    assert fit.factors.tolist() == [1, 1, 1]


def test_methods_follow_the_estimates():
    fit = fit_power_law([1] * 10, NIST, [1], 0, [1500])
    assert fit.mean_repairs(0, 1500) == pytest.approx(10)
    assert quad(fit.intensity, 500, 1500)[0] == pytest.approx(fit.mean_repairs(500, 1500))


def test_bad_input_is_refused():
    with pytest.raises(ValueError, match="no event"):
        fit_power_law([], [], [1], 0, [100])
    with pytest.raises(ValueError, match="event 0"):
        fit_power_law([1], [150], [1], 0, [100])
    with pytest.raises(ValueError, match="end is needed"):
        trend_test([1], [150], [1])
    with pytest.raises(ValueError, match="truncation"):
        trend_test([1], [150], [1], 0, 200, truncation="both")


def test_a_likelihood_that_rises_without_end_gives_no_estimate():
    """Late entry and early events: every smaller shape is more likely."""
    fit = fit_power_law([1, 1, 2], [51, 52, 61], [1, 2], [50, 60], [500, 500])
    assert not fit.converged
    assert np.isnan(fit.shape)
