"""Weibull fits against published data sets; each source stands in the JSON file of ``data/``."""

import numpy as np
import pytest

from fleet.reliability import Lifetimes, fit_weibull
from tests.reliability import published

SIMPLE = [("c01", "time"), ("c02", "time"), ("c03", "hours"), ("c04", "distance")]
REGRESSIONS = {
    "c24": ("age", "year", "surgery", "transplant"),
    "c26": ("fin", "age", "race", "wexp", "mar", "paro", "prio", "employed"),
}


@pytest.mark.parametrize(("start", "time"), SIMPLE)
def test_estimates_match_the_reference_tool_and_the_printed_digits(start, time):
    fit = fit_weibull(published.right_censored(start, time))
    expected = published.case(start)["computed"]["r_survreg"]
    assert fit.shape[0] == pytest.approx(expected["shape"], rel=1e-6)
    assert fit.scale[0] == pytest.approx(expected["scale"], rel=1e-6)
    assert fit.log_likelihood[0] == pytest.approx(expected["loglik"], abs=1e-9)
    assert np.sqrt(fit.covariance[0, 0, 0]) == pytest.approx(expected["se_log_sigma"], rel=1e-4)
    assert np.sqrt(fit.covariance[0, 1, 1]) == pytest.approx(expected["se_mu"], rel=1e-4)
    assert fit.covariance[0, 0, 1] == pytest.approx(-expected["cov_mu_logsigma"], rel=1e-4)
    assert fit.quantile(0.1)[0] == pytest.approx(expected["B10"], rel=1e-6)
    assert fit.mean_life()[0] == pytest.approx(expected["mean"], rel=1e-6)
    for name in ("shape", "scale"):
        low, high = fit.wald_confint()[name]
        assert [low[0], high[0]] == pytest.approx(expected[f"{name}_ci95_wald_log"], rel=1e-4)


@pytest.mark.parametrize(("start", "time"), SIMPLE)
def test_profile_limits_match_the_reference_tool(start, time):
    limits = fit_weibull(published.right_censored(start, time)).confint(0.95)
    expected = published.case(start)["computed"]["r_profile_lr"]
    for name in ("shape", "scale"):
        assert [limits[name][0][0], limits[name][1][0]] == pytest.approx(expected[f"{name}_ci95_lr"], rel=1e-5)


def test_handbook_digits_of_nist_8_4_1_3():
    fit = fit_weibull(published.right_censored("c02"))
    printed = published.case("c02")["published"]
    assert round(float(fit.scale[0]), 3) == printed["scale"]
    assert round(float(fit.shape[0]), 4) == printed["shape"]
    assert -fit.log_likelihood[0] == pytest.approx(printed["neg_loglik_printed"], abs=6e-4)
    assert fit.mean_life()[0] == pytest.approx(printed["mean"], abs=6e-4)


def test_profile_and_wald_limits_differ_much_with_few_failures():
    fit = fit_weibull(published.right_censored("c03", "hours"))
    assert fit.confint()["scale"][1][0] == pytest.approx(106_087, rel=1e-4)
    assert fit.wald_confint()["scale"][1][0] == pytest.approx(65_534, rel=1e-4)


@pytest.mark.parametrize(
    ("rows", "start"), [(published.current_status, "c06"), (published.heat_exchanger, "c07")], ids=["c06", "c07"]
)
def test_looks_match_the_reference_tool(rows, start):
    fit = fit_weibull(rows())
    computed = published.case(start)["computed"]
    expected = computed.get("r_survreg_interval2") or computed["r_survreg"]
    assert fit.shape[0] == pytest.approx(expected["shape"], rel=1e-5)
    assert fit.scale[0] == pytest.approx(expected["scale"], rel=1e-5)
    assert fit.log_likelihood[0] == pytest.approx(expected["loglik"], abs=1e-9)
    assert np.sqrt(fit.covariance[0, 1, 1]) == pytest.approx(expected["se_mu"], rel=1e-4)


@pytest.mark.parametrize("sex", ["Male", "Female"])
def test_delayed_entry_matches_two_reference_tools(sex):
    fit = fit_weibull(published.residents(sex))
    expected = published.case("c10")["computed"][sex.lower()]
    for tool in ("r1", "r2"):
        assert fit.shape[0] == pytest.approx(expected[tool]["shape"], rel=1e-6)
        assert fit.scale[0] == pytest.approx(expected[tool]["scale"], rel=1e-6)
    assert fit.log_likelihood[0] == pytest.approx(expected["r1"]["loglik"], abs=1e-8)
    assert np.sqrt(fit.covariance[0, 0, 0]) == pytest.approx(expected["r2"]["se_log"][1], rel=1e-4)


@pytest.mark.parametrize("start", sorted(REGRESSIONS))
def test_covariates_that_change_match_the_reference_tool(start):
    names = REGRESSIONS[start]
    fit = fit_weibull(published.spells(start, names))
    expected = published.case(start)["computed"]["weibullPH"]
    labels = ["transplant1" if name == "transplant" else name for name in names]
    assert fit.coef == pytest.approx([expected["coef"][name] for name in labels], rel=1e-4)
    assert np.sqrt(np.diag(fit.coef_covariance)) == pytest.approx([expected["se"][name] for name in labels], rel=1e-4)
    assert np.log(fit.scale[0]) == pytest.approx(expected["coef"]["log(scale)"], rel=1e-5)
    assert np.log(fit.shape[0]) == pytest.approx(expected["coef"]["log(shape)"], rel=1e-5)
    assert np.sqrt(fit.covariance[0, 1, 1]) == pytest.approx(expected["se"]["log(scale)"], rel=1e-4)
    assert fit.log_likelihood[0] == pytest.approx(expected["loglik"][1], abs=1e-7)


@pytest.mark.parametrize(
    ("start", "time", "status", "names", "key"),
    [
        ("c25", "week", "arrest", ("fin", "age", "race", "wexp", "mar", "paro", "prio"), "weibullAFT"),
        ("c27", "time", "status", ("age", "sex", "ph.ecog"), "survreg"),
        ("c29", "time", "status", ("x",), "weibull"),
    ],
)
def test_fixed_covariates_match_accelerated_life_fits(start, time, status, names, key):
    """An accelerated-life coefficient is minus the proportional-hazards one times sigma = 1 / shape."""
    fit = fit_weibull(published.right_censored(start, time, status, covariates=published.columns(start, *names)))
    expected = published.case(start)["computed"][key]
    ours = -fit.coef / fit.shape[0]
    assert ours == pytest.approx([expected["coef"][name] for name in names], rel=1e-4)
    assert fit.shape[0] == pytest.approx(expected["shape"], rel=1e-5)
    assert np.log(fit.scale[0]) == pytest.approx(expected["coef"]["(Intercept)"], rel=1e-5)
    assert fit.log_likelihood[0] == pytest.approx(expected["loglik"][1], abs=1e-7)


def test_held_shape_matches_the_closed_form_and_its_bounds():
    """c36: recalled, not seen in print, and therefore weak evidence; the closed form is exact."""
    for one in published.case("c36")["computed"]["cases"]:
        if one["r"] == 0:
            continue
        t = np.array(one["t"], dtype=float)
        upper = np.where(np.arange(t.size) < one["r"], t, np.inf)
        fit = fit_weibull(Lifetimes(lower=t, upper=upper), shape=one["beta"])
        assert fit.scale[0] == pytest.approx(one["eta_mle"], rel=1e-9)


def test_gaps_of_air_conditioners_match_the_reference_tool():
    gaps = [np.array(values, float) for values in published.case("c22")["data"].values()]
    group = np.repeat(np.arange(len(gaps)), [g.size for g in gaps])
    every = np.concatenate(gaps)
    fit = fit_weibull(Lifetimes(lower=every, upper=every, group=group))
    for g, name in enumerate(published.case("c22")["data"]):
        expected = published.case("c22")["computed"]["by_segment"][name]
        assert fit.shape[g] == pytest.approx(expected["weibull_gap_shape"], rel=1e-5)
        assert fit.scale[g] == pytest.approx(expected["weibull_gap_scale"], rel=1e-5)
    pooled = fit_weibull(Lifetimes(lower=every, upper=every))
    expected = published.case("c22")["computed"]["pooled_gaps_weibull"]
    assert pooled.shape[0] == pytest.approx(expected["shape"], rel=1e-6)
    assert pooled.log_likelihood[0] == pytest.approx(expected["loglik"], rel=1e-9)
