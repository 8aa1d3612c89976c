"""Curves against R's survfit and a direct Lawless-Nadeau computation (sources in ``data/``), and slow counts."""

import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize

from fleet.reliability import Lifetimes, kaplan_meier, mean_cumulative_function, nelson_aalen, turnbull
from tests.reliability import published

INF = float("inf")
LIMITS = {"log-log": "ci95_loglog", "log": "ci95_log", "plain": "ci95_plain"}


def survfit_cases():
    for name in ("maintained", "nonmaintained"):
        pick = np.array(published.case("c13")["data"]["x"]) == name.title()
        yield name, published.right_censored("c13").take(pick), published.case("c13")["computed"][name], 0.0
    yield "genfan", published.right_censored("c14", "hours"), published.case("c14")["computed"]["r"], 0.0
    for sex in ("male", "female"):
        yield sex, published.residents(sex.title()), published.case("c10")["computed"][f"km_{sex}"], 0.0
    yield "male after 850", published.residents("Male"), published.case("c10")["computed"]["km_male_cond850"], 850.0


@pytest.mark.parametrize(("rows", "expected", "after"), [pytest.param(*c[1:], id=c[0]) for c in survfit_cases()])
def test_kaplan_meier_and_nelson_aalen_match_survfit(rows, expected, after):
    curve, hazard = kaplan_meier(rows, after=after), nelson_aalen(rows, after=after)
    at = np.array(expected["time"], float)
    assert curve.at(at) == pytest.approx(expected["surv"], abs=1e-12)
    assert hazard.at(at) == pytest.approx(expected["nelson_aalen_ctype1"], abs=1e-12)
    step = np.searchsorted(curve.time, at, side="right") - 1
    alive = (step >= 0) & (np.array(expected["surv"]) > 0)
    step = step[alive]
    assert curve.se[step] == pytest.approx(np.array(expected["greenwood_se"], float)[alive], rel=1e-9)
    assert hazard.se[step] == pytest.approx(np.array(expected["na_se_poisson_ctype1"])[alive], rel=1e-9)
    for kind, key in LIMITS.items():
        other = kaplan_meier(rows, after=after, limits=kind)
        assert np.column_stack([other.low, other.high])[step] == pytest.approx(
            np.array(expected[key], float)[alive], rel=1e-9
        )


def test_early_risk_sets_send_the_curve_to_zero_and_conditioning_helps():
    rows = published.residents("Male")
    assert kaplan_meier(rows).at(1000.0) == 0.0
    assert kaplan_meier(rows, after=850.0).at(1000.0) == pytest.approx(0.5008, abs=1e-4)


def test_an_entry_at_an_event_time_is_not_at_risk_there():
    curve = kaplan_meier(Lifetimes(entry=[0, 10, 0], lower=[10, 20, 30], upper=[10, 20, INF]))
    assert curve.at_risk.tolist() == [2, 2]


def test_looks_are_refused():
    with pytest.raises(ValueError, match="row 1: the event lies in an interval"):
        kaplan_meier(Lifetimes(lower=[5, 6], upper=[5, 9]))
    with pytest.raises(ValueError, match="limits must be"):
        kaplan_meier(Lifetimes(lower=[5], upper=[5]), limits="bent")


def test_kaplan_meier_agrees_with_lifelines_under_delayed_entry():
    from lifelines import KaplanMeierFitter

    rows = published.residents("Female")
    ours = kaplan_meier(rows)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitter = KaplanMeierFitter().fit(rows.lower, event_observed=rows.exact, entry=rows.entry)
    assert ours.value == pytest.approx(fitter.survival_function_at_times(ours.time).to_numpy(), abs=1e-10)


def valve_seats():
    data = published.case("c16")["data"]
    unit, time, status = (np.array(data[name]) for name in ("id", "time", "status"))
    event = status == 1
    return unit[event], time[event].astype(float), unit[~event], time[~event].astype(float)


def test_mean_cumulative_function_matches_the_direct_formula_with_ties_in_a_unit():
    event_unit, event_time, unit, end = valve_seats()
    assert event_time.size == 48
    ours = mean_cumulative_function(event_unit, event_time, unit, 0, end)
    expected = published.case("c16")["computed"]["direct"]
    step = np.searchsorted(ours.time, expected["time"], side="right") - 1
    assert ours.value[step] == pytest.approx(expected["mcf"], rel=1e-12)
    assert ours.se[step] == pytest.approx(expected["se_LN"], rel=1e-10)
    assert np.column_stack([ours.low, ours.high])[step] == pytest.approx(np.array(expected["ci95_log"]), rel=1e-6)
    # Ignoring what a unit's repairs have in common gives another figure.
    assert ours.se[step][-1] ** 2 != pytest.approx(expected["var_ignoring_within_unit_covariance"][-1], rel=0.05)


def slow_mean_cumulative(event_unit, event_time, unit, entry, end, at):
    total = 0.0
    residual = dict.fromkeys(unit, 0.0)
    for t in sorted(set(event_time)):
        if t > at:
            break
        risk = {u for u, a, b in zip(unit, entry, end, strict=True) if a < t <= b}
        d = sum(1 for time in event_time if time == t)
        total += d / len(risk)
        for u in risk:
            own = sum(1 for v, time in zip(event_unit, event_time, strict=True) if v == u and time == t)
            residual[u] += (own - d / len(risk)) / len(risk)
    return total, sum(r * r for r in residual.values()) ** 0.5


@pytest.mark.parametrize("seed", range(3))
def test_mean_cumulative_function_agrees_with_a_slow_count_under_delayed_entry(seed):
    rng = np.random.default_rng(seed)
    entry = rng.integers(0, 40, 12).astype(float)
    end = entry + rng.integers(30, 80, 12)
    who = rng.integers(0, 12, 25)
    when = np.ceil(entry[who] + rng.random(25) * (end[who] - entry[who]))
    ours = mean_cumulative_function(who, when, np.arange(12), entry, end)
    for i in (3, ours.time.size - 1):
        value, se = slow_mean_cumulative(list(who), list(when), list(range(12)), entry, end, ours.time[i])
        assert ours.value[i] == pytest.approx(value)
        assert ours.se[i] == pytest.approx(se)


def test_events_outside_their_windows_are_refused():
    with pytest.raises(ValueError, match="event 1: unit 1 is not watched at 120 h"):
        mean_cumulative_function([1, 1], [50, 120], [1], 0, [100])
    with pytest.raises(ValueError, match="event 0: unit 9 is not watched"):
        mean_cumulative_function([9], [50], [1], 0, [100])
    with pytest.raises(ValueError, match="window 0"):
        mean_cumulative_function([1], [50], [1], 100, [100])


def test_a_unit_watched_in_two_spans_counts_in_both():
    ours = mean_cumulative_function([1, 2], [80, 90], [1, 1, 2], [0, 60, 0], [40, 100, 100])
    assert ours.at_risk.tolist() == [2, 2]


def test_turnbull_matches_the_printed_heat_exchanger_figures():
    """Counts reconstructed from memory; printed estimates 0.0133, 0.0384, 0.0582."""
    curve = turnbull(published.heat_exchanger())
    assert curve.converged
    assert 1 - curve.survival[:3] == pytest.approx(published.case("c07")["computed"]["npmle"]["F"], abs=1e-9)
    assert (1 - curve.survival[:3]).round(4).tolist() == published.case("c07")["published"]["NPMLE_F"]


@settings(max_examples=20, deadline=None)
@given(st.integers(0, 5000))
def test_turnbull_is_kaplan_meier_where_times_are_exact(seed):
    rng = np.random.default_rng(seed)
    life = np.ceil(100 * rng.weibull(1.6, 30))
    end = np.ceil(rng.uniform(20, 160, 30))
    lower = np.minimum(life, end)
    rows = Lifetimes(lower=lower, upper=np.where(life <= end, lower, INF))
    if not rows.exact.any():
        return
    curve, other = turnbull(rows), kaplan_meier(rows)
    assert curve.converged
    assert curve.survival[: other.value.size] == pytest.approx(other.value, abs=1e-6)


@pytest.mark.parametrize("late", [False, True])
def test_turnbull_of_looks_is_the_most_likely_of_all_masses(late):
    """A general optimiser over masses on every 20 h finds nothing better, with and without delayed entry."""
    rng = np.random.default_rng(4)
    life = 100 * rng.weibull(2, 80)
    entry = np.where(rng.random(80) < 0.4, 20 * rng.integers(0, 4, 80), 0.0) if late else np.zeros(80)
    kept = life > entry
    life, entry = life[kept], entry[kept]
    before = np.maximum(np.floor(life / 20) * 20 * (rng.random(life.size) < 0.8), entry)
    after = np.ceil(life / 20) * 20
    ours = turnbull(Lifetimes(entry=entry, lower=before, upper=after))
    left = np.arange(0, after.max(), 20)
    inside = (left >= before[:, None]) & (left + 20 <= after[:, None])
    behind = left >= entry[:, None]

    def cost(theta):
        mass = np.exp(theta - theta.max())
        return -(np.log(inside @ mass) - np.log(behind @ mass)).sum()

    best = minimize(
        cost, np.zeros(left.size), method="L-BFGS-B", options={"maxiter": 5000, "ftol": 1e-14, "gtol": 1e-9}
    )
    assert ours.converged
    assert ours.log_likelihood >= -best.fun - 1e-7
    assert ours.log_likelihood == pytest.approx(-best.fun, abs=1e-3)
