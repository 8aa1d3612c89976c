"""One fit for many owners gives what ``service_interval`` gives each of them."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.reliability import Lifetimes, service_interval
from fleet.reliability.interval_choices import study_wear


def _rows(seed: int = 3, units: int = 90, cycles: int = 5) -> tuple[Lifetimes, np.ndarray]:
    rng = np.random.default_rng(seed)
    unit, entry = np.repeat(np.arange(units), cycles), np.tile(np.arange(cycles) * 45.0, units)
    life = 120.0 * rng.weibull(2.5, unit.size)
    lower = np.minimum(entry + 45.0, entry + life)
    upper = np.where(life < 45.0, lower, np.inf)
    rows = Lifetimes(
        group=unit % 3, entry=entry, lower=lower, upper=upper, since=np.zeros(unit.size), unit=unit,
        covariates=rng.uniform(0, 0.5, unit.size),
    )  # fmt: skip
    return rows, unit % 7


def test_one_fit_gives_the_same_as_asking_for_each() -> None:
    rows, crew = _rows()
    whole = service_interval(
        rows, manual=50.0, planned_cost=8, failure_cost=300, horizon=600, risk_limit=0.1, gate=0.7, x=[0.4], crew=crew
    )
    study = study_wear(rows, reference=50.0, crew=crew)
    for g in range(3):
        one = study.choose(
            g, manual=50.0, planned_cost=8, failure_cost=300, horizon=600, risk_limit=0.1, gate=0.7, x=[0.4]
        )
        assert one.interval == pytest.approx(whole.interval[g])
        assert one.cheaper == pytest.approx(whole.probability_cheaper[g])
        assert np.allclose(one.costs, whole.candidate_costs[g])
    assert whole.interval.min() < 50.0


def test_a_shorter_manual_is_never_passed() -> None:
    rows, crew = _rows()
    study = study_wear(rows, reference=50.0, crew=crew)
    short = study.choose(0, manual=12.0, planned_cost=8, failure_cost=300, horizon=600, x=[0.0])
    long = study.choose(0, manual=50.0, planned_cost=8, failure_cost=300, horizon=600, x=[0.0])
    assert short.interval <= 12.0 < long.interval
    # The same interval costs the same whatever the manual says.
    at = np.interp(12.0, long.candidates, long.costs)
    assert short.costs[-1] == pytest.approx(at, rel=0.05)


def test_without_an_event_there_is_nothing_to_study() -> None:
    with pytest.raises(ValueError, match="manual"):
        study_wear(Lifetimes(lower=[30.0], since=[0.0]), reference=50.0)
