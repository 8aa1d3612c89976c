"""Renewals, age replacement and failure-finding looks; published cases c30, c31, c32 in ``data/``."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from fleet.reliability import failure_finding_interval, renewal_function
from fleet.reliability.renewal import age_replacement, least_cost_age, unavailability
from tests.reliability import published


@pytest.mark.parametrize("shape", published.case("c32")["data"]["shapes"])
def test_renewal_function_matches_the_series_in_120_digits(shape):
    rows = published.case("c32")["computed"][shape]["values"]
    ours = renewal_function([row["t_over_eta"] * 250 for row in rows], float(shape), 250.0)
    assert ours == pytest.approx([row["M_series"] for row in rows], rel=1e-6)


def test_renewal_function_by_simulation_and_its_limits():
    rng = np.random.default_rng(1)
    arrivals = np.cumsum(100 * rng.weibull(1.7, (40_000, 12)), axis=1)
    assert renewal_function(260.0, 1.7, 100.0) == pytest.approx((arrivals <= 260).sum(axis=1).mean(), abs=0.02)
    assert renewal_function([0.0, 70.0], 1.0, 35.0).tolist() == [0.0, 2.0]
    with pytest.raises(ValueError, match="above 0"):
        renewal_function(10.0, 0.0)


@pytest.mark.parametrize("case", published.case("c30")["computed"]["cases"], ids=lambda c: f"{c['cf']}-{c['beta']}")
def test_age_replacement_matches_high_precision(case):
    best = age_replacement(case["beta"], case["eta"], case["cp"], case["cf"])
    assert best.cost_rate == pytest.approx(case["cost_mpmath"], rel=1e-9)
    assert best.run_to_failure == pytest.approx(case["run_to_failure_cost"], rel=1e-9)
    if case["saving_fraction"] > 0:
        assert best.interval == pytest.approx(case["T_opt_mpmath"], rel=1e-6)
    else:
        assert np.isinf(best.interval)


def test_run_to_failure_where_planning_cannot_pay():
    assert np.isinf(age_replacement(0.9, 100, 1, 50).interval)
    assert np.isinf(age_replacement(3.0, 100, 5, 5).interval)


def test_normal_life_matches_the_textbook_optimum():
    """Jardine & Tsang, age-based example (printed optimum 4 weeks, from memory)."""
    expected = published.case("c31")["computed"]
    best = least_cost_age(norm(5, 1).sf, 5, 10, 15)
    assert best.cost_rate == pytest.approx(expected["cost"], rel=1e-6)
    assert best.interval == pytest.approx(expected["T_opt"], rel=1e-5)
    assert round(best.interval) == published.case("c31")["published"]["T_opt_weeks"]


def test_general_search_agrees_with_the_weibull_solution():
    from scipy.stats import weibull_min

    exact = age_replacement(2.2, 300, 40, 260)
    search = least_cost_age(weibull_min(2.2, scale=300).sf, 40, 260, 2500)
    assert search.cost_rate == pytest.approx(exact.cost_rate, rel=1e-7)


@given(st.floats(10, 1e5), st.floats(1e-4, 0.5), st.floats(0.3, 1.0))
def test_look_interval_meets_the_allowed_unavailability(mtbf, allowed, sensitivity):
    interval = failure_finding_interval(mtbf, allowed, sensitivity)
    assert unavailability(interval, mtbf, sensitivity) == pytest.approx(allowed, rel=1e-9)


def test_look_interval_for_short_intervals_and_by_simulation():
    assert failure_finding_interval(1e4, 1e-4, 0.8) == pytest.approx(1e4 * 1e-4 / (1 / 0.8 - 0.5), rel=1e-3)
    rng = np.random.default_rng(2)
    life = rng.exponential(1000, 200_000)
    first = np.ceil(life / 150) * 150
    found = first + 150 * (rng.geometric(0.7, life.size) - 1)
    assert unavailability(150, 1000, 0.7) == pytest.approx((found - life).sum() / found.sum(), rel=0.02)
    with pytest.raises(ValueError, match="allowed"):
        failure_finding_interval(100, 1.5)
