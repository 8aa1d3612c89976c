"""Curves of a component's record, thinned for drawing: survival without a model, the fit's line, and what misfits."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from fleet.reliability import Lifetimes, PooledFit, kaplan_meier, mean_cumulative_function, turnbull
from fleet.upkeep.fit_records import KAPLAN_MEIER, MEAN_REPAIRS, TURNBULL, Curve, FitLine, MisfitBin
from fleet.upkeep.fit_rows import ComponentRows, Piece

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A curve is drawn from so many points at most, and from so many spells or units: more would not change its look.
POINTS, TURNBULL_SPELLS, REPAIR_UNITS = 40, 400, 150
LINE_POINTS, MISFIT_BINS = 25, 8


def _numbers(values: NDArray) -> tuple[float | None, ...]:
    return tuple(None if not np.isfinite(v) else float(f"{v:.4g}") for v in values.tolist())


def _thin(n: int) -> Ints:
    return np.unique(np.linspace(0, n - 1, min(n, POINTS)).round().astype(np.int64)) if n else np.zeros(0, np.int64)


def record_curve(rows: Lifetimes, group: int) -> Curve | None:
    """Kaplan-Meier, or Turnbull where looks found failures; None without a failure."""
    mine = rows.take(rows.group == group)
    if not mine.event_counts().any():
        return None
    if not mine.interval.any():
        curve = kaplan_meier(mine, group=group)
        at = _thin(len(curve.time))
        return Curve(
            KAPLAN_MEIER, _numbers(curve.time[at]), _numbers(curve.value[at]), _numbers(curve.low[at]),
            _numbers(curve.high[at]), tuple(int(v) for v in curve.at_risk[at]),
        )  # fmt: skip
    if mine.size > TURNBULL_SPELLS:
        mine = mine.take(np.linspace(0, mine.size - 1, TURNBULL_SPELLS).round().astype(np.int64))
    found = turnbull(_coarse(mine), group=group, tolerance=1e-4, max_iterations=300)
    last = float(np.max(np.where(np.isfinite(mine.upper), mine.upper, mine.lower)))
    hours = np.unique(np.concatenate([found.left, found.right[np.isfinite(found.right)]]))
    hours = hours[hours <= last][_thin(int((hours <= last).sum()))]
    low, high = found.limits(hours)
    return Curve(TURNBULL, _numbers(hours), _numbers((low + high) / 2), _numbers(low), _numbers(high))


def _coarse(rows: Lifetimes) -> Lifetimes:
    """Hours rounded so that a few hundred rows share a few score of ends."""
    finite = np.where(np.isfinite(rows.upper), rows.upper, rows.lower)
    step = max(0.5, float(2 ** np.floor(np.log2(max(float(finite.max(initial=1.0)), 1.0) / 100))))
    lower, entry = np.round(rows.lower / step) * step, np.floor(rows.entry / step) * step
    upper = np.where(np.isfinite(rows.upper), np.round(rows.upper / step) * step, np.inf)
    upper = np.where(rows.exact, lower, np.maximum(upper, lower))
    stuck = upper <= entry
    upper, lower = np.where(stuck, entry + step, upper), np.maximum(np.where(stuck, entry, lower), entry)
    lower = np.where(rows.exact, upper, lower)
    return Lifetimes(lower=lower, upper=upper, entry=entry, group=rows.group, groups=rows.groups)


def fit_line(pooled: PooledFit, group: int, x: Floats, until: float) -> FitLine:
    """The fitted survival under conditions ``x`` with its posterior limits."""
    hours = np.linspace(0.0, until, LINE_POINTS)
    shape, scale = pooled.draws(256)
    ratio = float(np.exp(x @ pooled.coef)) if x.size else 1.0
    alive = np.exp(-((hours[:, None] / scale[None, :, group]) ** shape[None, :, group]) * ratio)
    low, high = np.quantile(alive, [0.025, 0.975], axis=1)
    return FitLine(_numbers(hours), _numbers(alive.mean(axis=1)), _numbers(low), _numbers(high))


def misfit(rows: Lifetimes, pieces: Piece, pooled: PooledFit, group: int, until: float) -> tuple[MisfitBin, ...]:
    """Failures seen and expected by hours of the clock; a failure found by a look is spread over its interval."""
    if not until > 0:
        return ()
    mine = rows.group == group
    entry, lower, upper = rows.entry[mine], rows.lower[mine], rows.upper[mine]
    ratio = np.exp(rows.covariates[mine] @ pooled.coef)
    edges = np.linspace(0.0, until, MISFIT_BINS + 1)
    finite = np.isfinite(upper)
    last = np.where(finite, (lower + np.where(finite, upper, 0.0)) / 2, lower)
    shape, scale = float(pooled.shape[group]), float(pooled.scale[group])

    def hazard(hours: Floats) -> Floats:
        return (np.clip(hours, 0.0, None) / scale) ** shape

    found = []
    whole = finite & (lower < upper)
    spell = pieces.of[mine]
    # One failure over all pieces of its interval.
    width = np.where(whole, upper - lower, 0.0)
    total = np.bincount(spell, weights=width)[spell] if len(spell) else width
    exact = finite & (lower == upper)
    for a, b in itertools.pairwise(edges.tolist()):
        expected = ratio * (hazard(np.minimum(last, b)) - hazard(np.minimum(np.maximum(entry, a), np.minimum(last, b))))
        overlap = np.clip(np.minimum(upper, b) - np.maximum(lower, a), 0.0, None)
        seen = np.where(whole, overlap / np.where(total > 0, total, 1.0), 0.0)
        seen = np.where(exact, (lower > a) & (lower <= b), seen)
        found.append(MisfitBin(round(a, 1), round(b, 1), round(float(seen.sum()), 2), round(float(expected.sum()), 2)))
    return tuple(found)


def repairs_curve(rows: ComponentRows, group: int, last: Floats) -> Curve | None:
    """Mean failures a unit by its total engine hours; ``last`` is each spell's last hour on the unit's clock."""
    mine = np.flatnonzero(rows.model == group)
    return repairs_of(rows.unit[mine], rows.at[mine], last[mine], rows.events[mine])


def repairs_of(unit: Ints, at: Floats, last: Floats, failed: NDArray[np.bool_]) -> Curve | None:
    """The same from spells: each a unit watched from ``at`` to ``last``, total hours, and whether it ended in one."""
    units = np.unique(unit)
    if len(units) > REPAIR_UNITS:
        units = units[np.linspace(0, len(units) - 1, REPAIR_UNITS).round().astype(np.int64)]
        kept = np.isin(unit, units)
        unit, at, last, failed = unit[kept], at[kept], last[kept], failed[kept]
    if not failed.any():
        return None
    code = np.searchsorted(units, unit)
    start, end = np.full(len(units), np.inf), np.zeros(len(units))
    np.minimum.at(start, code, at)
    np.maximum.at(end, code, last)
    curve = mean_cumulative_function(unit[failed], last[failed], units, start, end)
    thinned = _thin(len(curve.time))
    return Curve(
        MEAN_REPAIRS, _numbers(curve.time[thinned]), _numbers(curve.value[thinned]), _numbers(curve.low[thinned]),
        _numbers(curve.high[thinned]), tuple(int(v) for v in curve.at_risk[thinned]),
    )  # fmt: skip
