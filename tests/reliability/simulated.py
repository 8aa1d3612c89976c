"""Simulated exposure with known truth, for coverage and comparison tests."""

from __future__ import annotations

import numpy as np

from fleet.reliability.lifetimes import Lifetimes


def groups_of_units(
    rng: np.random.Generator, groups: int, units: int, shape: np.ndarray, scale: np.ndarray, *, reach: float = 1.2
) -> Lifetimes:
    """Groups with delayed entry (40 % of units) and censoring; ``reach`` in scales is the longest observation."""
    group = np.repeat(np.arange(groups), units)
    n = group.size
    k, eta = np.broadcast_to(shape, (groups,))[group], np.broadcast_to(scale, (groups,))[group]
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 0.5, n) * eta, 0.0)
    life = eta * ((entry / eta) ** k + rng.exponential(size=n)) ** (1 / k)
    end = entry + rng.uniform(0.1, reach, n) * eta
    event = life <= end
    return Lifetimes(
        lower=np.where(event, life, end), upper=np.where(event, life, np.inf), entry=entry, group=group, groups=groups
    )


def keep_groups(rows: Lifetimes, keep: np.ndarray) -> Lifetimes:
    """The rows of the kept groups, coded anew."""
    code = np.cumsum(keep) - 1
    part = rows.take(keep[rows.group])
    return Lifetimes(
        lower=part.lower, upper=part.upper, entry=part.entry, group=code[part.group], groups=int(keep.sum())
    )
