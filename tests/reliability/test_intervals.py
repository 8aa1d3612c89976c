"""Service intervals: never above the manual's, the manual's without failures, near the best with the truth known."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.reliability import Lifetimes, age_replacement, fit_weibull, service_interval
from fleet.reliability.interval_costs import interval_costs
from fleet.reliability.intervals import SHARES, _decide, candidate_shares
from fleet.reliability.wear import BINS, Layout, _Squares, fit_wear
from fleet.reliability.wear_cells import cut_cells
from tests.reliability import interval_study
from tests.reliability.interval_study import HORIZON, PLANNED, Truth

INF = float("inf")


def answer(truth, rows, crew=None, **more):
    return service_interval(
        rows,
        manual=truth.manual,
        planned_cost=PLANNED,
        failure_cost=truth.failure_cost,
        horizon=HORIZON,
        crew=crew,
        **more,
    )


@pytest.mark.parametrize(
    ("kind", "failures", "most"),
    [
        ("weibull", 10, 0.03),
        ("two_clocks", 10, 0.03),
        ("weibull", 60, 0.01),
        ("two_clocks", 60, 0.01),
        ("lognormal", 30, 0.05),
        ("bathtub", 30, 0.08),
        ("age_alone", 30, 0.01),
    ],
)
def test_excess_cost_over_the_best_interval_is_small(kind, failures, most):
    """Short form of ``make study``."""
    assert interval_study.regrets(np.random.default_rng(1), kind, failures, 20)[0].mean() <= most


def test_the_yardstick_agrees_with_a_straightforward_sum():
    """Hour by hour in very small steps, for a hazard of both clocks."""
    truth = Truth(lambda age, since, ratio: 0.002 * (age / 100) ** 0.5 * (since / 50) ** 1.5, 50.0, PLANNED * 10)
    step = HORIZON / 600_000
    age = (np.arange(600_000) + 0.5) * step
    for interval in (17.0, 50.0):
        alive = np.exp(-np.cumsum(truth.hazard(age, age % interval, age) * step))
        planned = alive[(np.arange(interval, HORIZON - 1e-9, interval) / step).astype(int) - 1].sum()
        slow = (truth.failure_cost * (1 - alive[-1]) + PLANNED * planned) / (alive.sum() * step)
        assert truth.cost_rate(interval) == pytest.approx(slow, rel=1e-4)
    assert truth.best() <= min(truth.cost_rate(HORIZON / n) for n in range(12, 60))


def test_candidates_share_out_the_horizon_and_end_with_the_manual():
    shares = candidate_shares(np.array([25.0, 100.0]), 600.0)
    assert shares[:, -1].tolist() == [1.0, 1.0]
    assert (np.diff(shares, axis=1) > 0).all()
    parts = 600 / (100 * shares[1])
    assert {7, 8, 9, 10} <= set(np.round(parts[np.abs(parts - np.round(parts)) < 1e-6]).astype(int).tolist())


def test_a_smaller_step_away_from_the_manual_is_taken_where_the_best_is_too_unsure():
    shares = np.array([0.4, 0.7, 1.0])
    rates = np.array([[0.2, 0.8, 1.0]] * 6 + [[1.4, 0.9, 1.0]] * 2 + [[1.4, 1.1, 1.0]] * 2)
    chosen = {gate: _decide(rates, np.zeros((10, 3)), shares, 50.0, None, gate)[0] for gate in (0.5, 0.7, 0.9)}
    assert chosen == {0.5: pytest.approx(20.0), 0.7: pytest.approx(35.0), 0.9: 50.0}


def test_wear_by_hours_since_service_is_fitted_without_bias():
    """Beside the plain maximum-likelihood fit of the same lives: events count at their own hour."""
    rng = np.random.default_rng(4)
    age = rng.uniform(0, 300, 4000)
    life = 70 * rng.weibull(2.2, age.size)
    end = np.minimum(life, 50.0)
    upper = np.where(life <= 50, life, INF)
    plain = fit_weibull(Lifetimes(lower=end, upper=upper))
    rows = Lifetimes(entry=age, lower=age + end, upper=age + upper, since=0.0)
    fit = fit_wear(cut_cells(rows, np.array([50.0]), np.zeros(age.size, int)), np.array([50.0]), 1, neglect=False)
    assert fit.mean[2] == pytest.approx(plain.shape[0] - 1, abs=0.05)


def test_without_any_failure_the_manual_stands():
    rows = Lifetimes(lower=[50, 100, 150], entry=[0, 50, 100], since=[0, 0, 0], unit=[1, 1, 1], group=[0, 0, 1])
    found = service_interval(rows, manual=[50.0, 40.0], planned_cost=10, failure_cost=300, horizon=600)
    assert found.interval.tolist() == [50.0, 40.0]
    assert found.basis == ["manual", "manual"]


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 1000), st.sampled_from(sorted(interval_study.KINDS)), st.integers(1, 15))
def test_never_above_the_manual_and_the_same_every_time(seed, kind, failures):
    rng = np.random.default_rng(seed)
    truth = interval_study.draw_truth(rng, kind)
    rows, crew = interval_study.observe(rng, truth, failures)
    one, two = answer(truth, rows, crew), answer(truth, rows, crew)
    assert 0 < one.interval[0] <= truth.manual
    assert one.interval[0] == two.interval[0]
    assert one.cost_rate[0] <= one.cost_rate_manual[0] * (1 + 1e-9)


@settings(max_examples=6, deadline=None)
@given(st.integers(0, 1000))
def test_row_order_changes_nothing(seed):
    rng = np.random.default_rng(seed)
    truth = interval_study.draw_truth(rng, "two_clocks")
    rows, crew = interval_study.observe(rng, truth, 8)
    order = rng.permutation(rows.size)
    one, two = answer(truth, rows, crew), answer(truth, rows.take(order), crew[order])
    assert two.interval[0] == one.interval[0]
    assert two.cost_rate[0] == pytest.approx(one.cost_rate[0], rel=1e-6)


def test_a_model_without_failures_leans_on_the_others():
    rng = np.random.default_rng(3)
    truth = Truth(lambda age, since, ratio: 2.8 / 70 * (np.maximum(since, 1e-3) / 70) ** 1.8, 50.0, PLANNED * 20)
    rows, _crew = interval_study.observe(rng, truth, 40)
    both = Lifetimes(
        entry=np.append(rows.entry, 0.0),
        lower=np.append(rows.lower, 30.0),
        upper=np.append(rows.upper, INF),
        since=np.append(rows.since, 0.0),
        unit=np.append(rows.unit, 10**6),
        group=np.append(np.zeros(rows.size, int), 1),
    )
    found = service_interval(both, manual=50.0, planned_cost=PLANNED, failure_cost=PLANNED * 20, horizon=HORIZON)
    assert found.basis == ["model", "pooled"]
    assert found.failures.tolist() == [40, 0]
    assert (found.interval < 50).all()


def test_the_risk_limit_and_the_gate_hold():
    rng = np.random.default_rng(5)
    truth = Truth(lambda age, since, ratio: 3 / 90 * (np.maximum(since, 1e-3) / 90) ** 2, 50.0, PLANNED * 6)
    rows, crew = interval_study.observe(rng, truth, 40)
    free, bound = answer(truth, rows, crew), answer(truth, rows, crew, risk_limit=0.03)
    assert bound.interval[0] < free.interval[0]
    assert bound.failure_probability[0] <= 0.03
    assert bound.limited_by_risk[0]
    assert answer(truth, rows, crew, gate=1.1).interval[0] == truth.manual


def test_guard_off_units_get_the_interval_at_their_own_exposure():
    rng = np.random.default_rng(6)
    rows = []
    for unit in range(160):
        x = float(unit % 2)
        scale = 90 * np.exp(-0.9 * x / 2.5)
        for cycle in range(8):
            life, planned = scale * rng.weibull(2.5), 50 * np.exp(rng.normal(0, 0.2))
            rows.append((cycle * 50.0, cycle * 50.0 + min(life, planned), float(life < planned), unit, x))
    entry, lower, event, unit, x = np.array(rows).T
    data = Lifetimes(
        entry=entry,
        lower=lower,
        upper=np.where(event == 1, lower, INF),
        since=np.zeros(entry.size),
        unit=unit.astype(int),
        covariates=x,
    )
    common = {"manual": 50.0, "planned_cost": PLANNED, "failure_cost": PLANNED * 12, "horizon": HORIZON}
    off = service_interval(data, x=[1.0], **common)
    on = service_interval(data, **common)
    assert off.interval[0] < on.interval[0]
    assert off.cost_rate[0] > on.cost_rate[0]


def test_cost_of_an_interval_agrees_with_fine_integration_and_with_age_replacement():
    level, by_since = np.log(0.5 / 50), 1.6
    truth = Truth(lambda age, since, ratio: 0.01 * (np.maximum(since, 1e-9) / 50) ** 1.6, 50.0, PLANNED * 8)
    draws = np.concatenate([[level, 0.0, by_since, 0.0], np.zeros(BINS)])[None]
    rates, _ = interval_costs(draws, 50.0, SHARES, PLANNED, PLANNED * 8, HORIZON)
    exact = [truth.cost_rate(50 * share) for share in SHARES]
    assert rates[0] == pytest.approx(exact, rel=0.004)
    # Over an endless horizon every cycle is alike: renewal at each service.
    shape = 2.6
    scale = (shape / 0.01 * 50**1.6) ** (1 / shape)
    long, _ = interval_costs(draws, 50.0, np.array([1.0]), PLANNED, PLANNED * 8, 40_000.0)
    t = 50.0
    lived = np.trapezoid(np.exp(-((np.linspace(0, t, 4001) / scale) ** shape)), np.linspace(0, t, 4001))
    failed = 1 - np.exp(-((t / scale) ** shape))
    assert long[0, 0] == pytest.approx((PLANNED * 8 * failed + PLANNED * (1 - failed)) / lived, rel=0.01)
    assert age_replacement(shape, scale, PLANNED, PLANNED * 8).interval > 0


def test_events_found_by_looking_count_once_and_shift_the_fit():
    rows = Lifetimes(
        entry=[0, 0, 0, 0], lower=[20, 35, 50, 50], upper=[50, 35, INF, INF], since=[0, 0, 0, 0], unit=[1, 2, 3, 4]
    )
    cells = cut_cells(rows, np.array([50.0]), np.zeros(4, dtype=int))
    fit = fit_wear(cells, np.array([50.0]), 1, neglect=False)
    assert fit.converged
    assert fit.shares.sum() == pytest.approx(2.0)
    assert cells.hours.sum() == pytest.approx(50 + 35 + 50 + 50)


def test_past_neglect_is_carried_along_a_components_history():
    rows = Lifetimes(entry=[0, 100, 200], lower=[100, 200, 250], since=[0, 0, 0], unit=[1, 1, 1])
    cells = cut_cells(rows, np.array([50.0]), np.zeros(3, dtype=int))
    last = cells.neglect[-1]
    past = (100**3 * 2 + 50**3) / (3 * 50**2)
    assert last == pytest.approx(np.log((3 * past + 50) / (250 + 50)), abs=0.05)
    kept = Lifetimes(entry=[0, 50, 100], lower=[50, 100, 150], since=[0, 0, 0], unit=[1, 1, 1])
    assert np.abs(cut_cells(kept, np.array([50.0]), np.zeros(3, dtype=int)).neglect).max() < 0.5


def test_many_cells_are_put_together_without_changing_the_answer(monkeypatch):
    rng = np.random.default_rng(8)
    truth = interval_study.draw_truth(rng, "two_clocks")
    rows, crew = interval_study.observe(rng, truth, 25)
    whole = answer(truth, rows, crew)
    monkeypatch.setattr("fleet.reliability.wear_cells.MANY", 100)
    small = answer(truth, rows, crew)
    assert small.cost_rate_manual[0] == pytest.approx(whole.cost_rate_manual[0], rel=0.02)


def _some_cells():
    rng = np.random.default_rng(9)
    n = 120
    entry = rng.uniform(0, 200, n)
    end = entry + rng.uniform(5, 50, n)
    upper = np.where(rng.random(n) < 0.3, end, INF)
    upper = np.where(rng.random(n) < 0.2, end + 10, upper)
    rows = Lifetimes(entry=entry, lower=end, upper=upper, since=0.0, group=np.arange(n) % 3, covariates=rng.random(n))
    return cut_cells(rows, np.full(3, 50.0), np.arange(n) % 4)


def test_squares_of_the_design_are_those_of_plain_matrices():
    cells, reference = _some_cells(), np.full(3, 50.0)
    x = Layout(1, 4, 3, True).design(cells, reference)
    weight = np.random.default_rng(1).random(x.shape[0])
    full = x.toarray()
    assert _Squares(x).weighted(weight) == pytest.approx(full.T @ np.diag(weight) @ full, rel=1e-12)


def test_the_same_wear_is_found_wherever_it_begins():
    cells, reference = _some_cells(), np.full(3, 50.0)
    plain = fit_wear(cells, reference, 4, neglect=False)
    one = fit_wear(cells, reference, 4, neglect=True)
    two = fit_wear(cells, reference, 4, neglect=True, start=plain.mean)
    assert two.mean == pytest.approx(one.mean, abs=1e-6)
    assert two.evidence == pytest.approx(one.evidence, abs=1e-8)
    assert two.covariance == pytest.approx(one.covariance, abs=1e-6)


@pytest.mark.parametrize(
    "bad", [{"manual": 0.0}, {"planned_cost": -1}, {"failure_cost": 0}, {"horizon": INF}, {"risk_limit": 1.5}]
)
def test_bad_figures_are_refused(bad):
    rows = Lifetimes(lower=[30.0], upper=[30.0], since=[0.0])
    good = {"manual": 50.0, "planned_cost": 10, "failure_cost": 100, "horizon": 600}
    with pytest.raises(ValueError, match="above 0"):
        service_interval(rows, **{**good, **bad})
