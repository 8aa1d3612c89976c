"""Coverage and error of pooled estimates against plain and held-shape fits, by simulation with known truth."""

from __future__ import annotations

import numpy as np

from fleet.reliability import Lifetimes, fit_weibull, pool_models
from tests.reliability.simulated import keep_groups, models

B10 = np.log(-np.log(0.9))


def coverage(rng: np.random.Generator, count: int, fleets: int, reach: float = 0.8) -> dict[str, float]:
    """Share of 95 % intervals that hold the truth."""
    inside: dict[str, list[np.ndarray]] = {"shape": [], "scale": [], "B10": []}
    for _ in range(fleets):
        log_shape, log_scale, rows = models(rng, count, reach=reach)
        if not rows.event_counts().any():
            continue
        fit = pool_models(rows)
        limits = {**fit.confint(), "B10": fit.quantile_confint(0.1)}
        truth = {"shape": log_shape, "scale": log_scale, "B10": log_scale + B10 * np.exp(-log_shape)}
        for name, values in inside.items():
            low, high = limits[name]
            values.append((low <= np.exp(truth[name])) & (np.exp(truth[name]) <= high))
    return {name: float(np.concatenate(values).mean()) for name, values in inside.items()}


def errors(rng: np.random.Generator, fleets: int, count: int = 15) -> dict[tuple[str, str], np.ndarray]:
    """Mean squared errors of log shape and log B10 by (method, failures of the model)."""
    seen: dict[tuple[str, str], list[np.ndarray]] = {}
    for _ in range(fleets):
        log_shape, log_scale, rows = models(rng, count)
        events = rows.event_counts()
        if (events >= 2).sum() < 2:
            continue
        log_b10 = log_scale + B10 * np.exp(-log_shape)
        pooled = pool_models(rows)
        plain = fit_weibull(keep_groups(rows, events >= 2))
        some = np.flatnonzero(events >= 2)[(events[events >= 2] <= 5) & plain.converged]
        pick = (events[events >= 2] <= 5) & plain.converged
        few = events <= 1
        # Shape held at the component's median; no failure counts as 0.693 of one (the median of its chance).
        held = float(np.median(plain.shape[plain.converged]))
        mass = np.bincount(rows.group, weights=rows.lower**held - rows.entry**held, minlength=count)
        held_b10 = np.log(mass / np.maximum(events, np.log(2))) / held + B10 / held
        for key, shape, b10, at in (
            (("plain", "2-5"), np.log(plain.shape[pick]), np.log(plain.quantile(0.1)[pick]), some),
            (("pooled", "2-5"), np.log(pooled.shape[some]), np.log(pooled.quantile(0.1)[some]), some),
            (("held", "0-1"), np.full(few.sum(), np.log(held)), held_b10[few], np.flatnonzero(few)),
            (("pooled", "0-1"), np.log(pooled.shape[few]), np.log(pooled.quantile(0.1)[few]), np.flatnonzero(few)),
        ):
            seen.setdefault(key, []).append(np.column_stack([shape - log_shape[at], b10 - log_b10[at]]) ** 2)
    return {key: np.concatenate(values).mean(axis=0) for key, values in seen.items()}


def drift_with_many_failures(rng: np.random.Generator, fleets: int, count: int = 15) -> tuple[float, float]:
    """Median relative difference of pooled from plain shape and B10 where models have about 200 failures each."""
    shapes, tenths = [], []
    for _ in range(fleets):
        shape, scale = np.exp(rng.normal(np.log(1.8), 0.25, count)), np.exp(rng.normal(5.0, 0.45, count))
        group = np.repeat(np.arange(count), 345)
        life = scale[group] * rng.exponential(size=group.size) ** (1 / shape[group])
        end = rng.uniform(0.3, 1.7, group.size) * scale[group]
        rows = Lifetimes(lower=np.minimum(life, end), upper=np.where(life <= end, life, np.inf), group=group)
        plain, pooled = fit_weibull(rows), pool_models(rows)
        shapes.append(np.abs(pooled.shape / plain.shape - 1))
        tenths.append(np.abs(pooled.quantile(0.1) / plain.quantile(0.1) - 1))
    return float(np.median(shapes)), float(np.median(tenths))
