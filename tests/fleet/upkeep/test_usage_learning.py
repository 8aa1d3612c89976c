"""Usual hours learned from simulated ledgers whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from fleet.upkeep.days import day_of
from fleet.upkeep.histories import NO_CREW, Histories
from fleet.upkeep.season import Season
from fleet.upkeep.usage import PRIOR_DAY_RATE
from fleet.upkeep.usage_learning import learn_usage
from tests.fleet.upkeep.conftest import MONDAY

SEASON = Season("03-15", "11-30", "1111100")
FIRST = day_of(MONDAY)


def ledger(weekly: np.ndarray, crews: np.ndarray | None = None) -> Histories:
    """Units that log hours run each Friday: ``weekly`` is (units, weeks), NaN for no entry."""
    n = len(weekly)
    unit, week = np.nonzero(~np.isnan(weekly))
    empty = np.zeros(0, dtype=np.int64)
    nothing = {"unit": empty, "day": empty, "id": empty}
    return Histories(
        units={
            "id": np.arange(n),
            "contractor": np.zeros(n, dtype=np.int64),
            "model": np.zeros(n, dtype=np.int64),
            "registered": np.full(n, FIRST),
            "bought": np.full(n, FIRST),
            "retired": np.full(n, 2**40),
            "hours_at_registration": np.zeros(n),
            "guard": np.zeros(n, dtype=np.int16),
            "version": np.zeros(n, dtype=np.int64),
        },
        hours={
            "unit": unit,
            "day": FIRST + 7 * week + 4,
            "id": np.arange(len(unit)),
            "meter": np.full(len(unit), np.nan),
            "run": weekly[unit, week],
            "litres": np.full(len(unit), np.nan),
            "replaced": np.zeros(len(unit), dtype=np.int64),
        },
        crew_hours={k: np.zeros(0) for k in ("crew", "monday", "id", "hours", "litres", "share")},
        moves={
            "unit": np.arange(n),
            "day": np.full(n, FIRST),
            "id": np.arange(n),
            "crew": np.full(n, NO_CREW) if crews is None else crews,
        },
        guards=nothing,
        services=nothing,
        failures=nothing,
        core=np.ones(n, dtype=bool),
    )


def learn(h: Histories):  # type: ignore[no-untyped-def]
    return learn_usage(h, SEASON, np.full(h.n_units, 0.65), 1)


def test_without_entries_the_prior_stands() -> None:
    assert learn(ledger(np.full((3, 5), np.nan))).day_rate == PRIOR_DAY_RATE


def test_crews_are_told_apart_and_spreads_found() -> None:
    rng = np.random.default_rng(7)
    crews = np.repeat([1, 2], 40)
    rate = np.where(crews == 1, 4.0, 8.0) * rng.lognormal(-0.02, 0.2, 80)
    weekly = rate[:, None] * rng.gamma(4.0, 1 / 4.0, (80, 30))  # relative spread of a week: 1/2
    usage = learn(ledger(weekly, crews))
    assert 5 * usage.crew_rates[1] == pytest.approx(weekly[crews == 1].mean(), rel=0.05)
    assert 5 * usage.crew_rates[2] == pytest.approx(weekly[crews == 2].mean(), rel=0.05)
    assert usage.week_cv == pytest.approx(0.5, rel=0.1)
    assert usage.unit_cv == pytest.approx(0.2, abs=0.08)
    assert max(usage.season.profile) - min(usage.season.profile) < 0.15


def test_the_spring_flush_is_seen() -> None:
    heavy = np.where(np.arange(30) < 8, 9.0, 4.5)  # April and May twice the rest
    usage = learn(ledger(np.tile(heavy, (30, 1))))
    profile = usage.season.profile
    assert profile[3] == pytest.approx(2 * profile[6], rel=0.15)


def test_bands_widen_where_past_projections_missed() -> None:
    rng = np.random.default_rng(3)
    steady = rng.gamma(4.0, 5 / 4.0, (40, 30))
    # Units that change their pace every six weeks: no spread of weeks or units says how far that carries.
    jumps = np.repeat(rng.choice([0.3, 3.0], (40, 5)), 6, axis=1)
    assert learn(ledger(steady)).scale["run"] == pytest.approx(1.0, abs=0.05)
    assert learn(ledger(steady * jumps)).scale["run"] > 1.15
