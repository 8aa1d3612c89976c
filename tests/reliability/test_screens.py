"""Looks at what blocks: the limit holds, the manual caps, few looks lean on other models."""

import numpy as np
import pytest

from fleet.reliability import Lifetimes, look_interval

INF = float("inf")


def looks(seed: int, models: int = 4, scale: float = 120.0) -> Lifetimes:
    rng = np.random.default_rng(seed)
    group = np.repeat(np.arange(models), 60)
    life = scale * np.exp(rng.normal(0, 0.2, models))[group] * rng.weibull(2.0, group.size)
    look = rng.uniform(20, 70, group.size)
    blocked = life <= look
    return Lifetimes(lower=np.where(blocked, 0.0, look), upper=np.where(blocked, look, INF), group=group)


def test_the_true_probability_at_the_interval_is_near_the_limit():
    found = [look_interval(looks(seed, 1), manual=100.0, risk_limit=0.1).interval[0] for seed in range(8)]
    assert 1 - np.exp(-((np.median(found) / 120.0) ** 2)) == pytest.approx(0.1, abs=0.04)


def test_never_above_the_manual_and_the_manual_without_findings():
    assert (look_interval(looks(1), manual=15.0, risk_limit=0.1).interval <= 15.0).all()
    quiet = look_interval(Lifetimes(lower=[40.0, 50.0], group=[0, 1]), manual=[30.0, 20.0], risk_limit=0.1)
    assert quiet.interval.tolist() == [30.0, 20.0]
    assert np.isnan(quiet.probability).all()


def test_a_stricter_limit_shortens_and_bad_figures_are_refused():
    rows = looks(2)
    strict, loose = (look_interval(rows, manual=100.0, risk_limit=r) for r in (0.03, 0.2))
    assert (strict.interval < loose.interval).all()
    assert (strict.probability <= 0.03).all()
    for bad in ({"manual": 0.0, "risk_limit": 0.1}, {"manual": 50.0, "risk_limit": 1.0}):
        with pytest.raises(ValueError, match="above 0"):
            look_interval(rows, **bad)
