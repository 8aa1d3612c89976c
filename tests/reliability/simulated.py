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


def models(
    rng: np.random.Generator, count: int, *, spread: tuple[float, float] = (0.25, 0.45), reach: float = 0.8
) -> tuple[np.ndarray, np.ndarray, Lifetimes]:
    """True log shapes and log scales of ``count`` models with 3-40 units each, and what was seen of them."""
    mean_shape, mean_scale = rng.normal(np.log(1.8), 0.3), rng.normal(5.0, 0.5)
    log_shape, log_scale = rng.normal(mean_shape, spread[0], count), rng.normal(mean_scale, spread[1], count)
    group = np.repeat(np.arange(count), rng.integers(3, 40, count))
    n = group.size
    k, eta = np.exp(log_shape)[group], np.exp(log_scale)[group]
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 0.4, n) * np.exp(mean_scale), 0.0)
    life = eta * ((entry / eta) ** k + rng.exponential(size=n)) ** (1 / k)
    end = entry + rng.uniform(0.1, reach, n) * np.exp(mean_scale)
    event = life <= end
    rows = Lifetimes(
        lower=np.where(event, life, end), upper=np.where(event, life, np.inf), entry=entry, group=group, groups=count
    )
    return log_shape, log_scale, rows
