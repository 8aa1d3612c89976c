"""Every model's log-likelihood at any (log shape, log scale), from a table worked out once.

What costs is the sum of hours to the power of the shape over all rows: it is smooth in the log shape, so that some
fifty values and a cubic spline give it anywhere. The scale only multiplies it.
"""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.likelihood import WeibullLikelihood

#: Log shapes of the table.
NODES = 48
#: Log shapes beyond which no table reaches.
LEAST, MOST = float(np.log(0.02)), float(np.log(150.0))
#: Log hazards of the table of event intervals, and how far below and above the log of their count they reach.
LEVELS, BELOW, ABOVE = 44, 10.0, 5.0
#: From this many event intervals on a model's likelihood is so narrow that half as many reach.
MANY = 300


class ModelSurface:
    """Log-likelihoods of G models, the coefficients held.

    Parameters
    ----------
    likelihood : WeibullLikelihood
    coef : ndarray, shape (p,)
    low, high : ndarray, shape (G,)
        Log shapes the table reaches over, within 0.02 and 150 of the shape.
    """

    def __init__(self, likelihood: WeibullLikelihood, coef: FloatArray, low: FloatArray, high: FloatArray):
        low, high = np.maximum(low, LEAST), np.minimum(high, MOST)
        self.likelihood, self.low, self.high, self.step = likelihood, low, high, (high - low) / (NODES - 1)
        k = np.exp(low + self.step * np.arange(NODES)[:, None])
        flat, b = np.zeros_like(k), np.broadcast_to(coef, (NODES, coef.size))
        self.lift = likelihood.exact_x @ coef
        watched = np.maximum(likelihood.survival.totals(flat, k, b), 0.0)
        hazard = watched
        points = likelihood.event_points
        if points is not None:
            mass = np.maximum(points.totals(flat, k, b), 1e-300)
            hazard = watched + likelihood.event_runs.sums(mass)
        self.empty = ~(hazard[0] > 0)
        hazard = np.where(self.empty, 1.0, hazard)
        self.log_hazard = CubicSpline(np.arange(NODES), np.log(hazard)).c
        self.watched = CubicSpline(np.arange(NODES), watched / hazard).c
        self.events: dict[int, _Intervals] = {}
        if points is not None:
            first = np.searchsorted(likelihood.event_group, np.arange(likelihood.groups + 1))
            for g in np.flatnonzero(np.diff(first)):
                self.events[int(g)] = _Intervals(mass[:, first[g] : first[g + 1]] / hazard[:, g, None])

    def values(self, s: FloatArray, log_scale: FloatArray) -> FloatArray:
        """Log-likelihoods on the grid of s (M, G, n) and log scale (M, G, m): shape (M, G, n, m)."""
        like, k = self.likelihood, np.exp(s)
        at = np.clip((s - self.low[:, None]) / np.where(self.step > 0, self.step, 1.0)[:, None], 0, NODES - 1)
        log_hazard, watched = _spline(self.log_hazard, at), _spline(self.watched, at)
        a = k[..., None] * (like.center[:, None] - log_scale)[:, :, None, :]
        own = like.exact[:, None] * s + k * like.exact_u[:, None] + self.lift[:, None]
        level = a + log_hazard[..., None]
        value = own[..., None] + like.exact[:, None, None] * a
        value -= watched[..., None] * np.exp(np.minimum(level, 600.0))
        for g, table in self.events.items():
            value[:, g] += table.values(at[:, g], level[:, g])
        value[:, self.empty] = 0.0
        return np.asarray(value)


class _Intervals:
    """Sum over one model's event intervals of log(1 - exp(-hazard share)), ``share`` (NODES, events)."""

    def __init__(self, share: FloatArray):
        self.count = share.shape[1]
        reach = 0.5 if self.count >= MANY else 1.0
        levels = np.log(self.count) + np.linspace(-BELOW * reach, ABOVE * reach, LEVELS)
        table = np.stack([np.log(-np.expm1(-np.exp(level) * share)).sum(axis=1) for level in levels], axis=1)
        self.first, self.step = levels[0], levels[1] - levels[0]
        self.table = CubicSpline(np.arange(NODES), table)

    def values(self, at: FloatArray, level: FloatArray) -> FloatArray:
        """At positions in the table of log shapes (M, n) and log hazards (M, n, m): shape (M, n, m)."""
        rows = level.reshape(-1, level.shape[2])
        across = CubicSpline(np.arange(LEVELS), self.table(at.ravel()), axis=1).c
        off = (rows - self.first) / self.step
        found = _spline(across, np.clip(off, 0, LEVELS - 1)[None])[0]
        # Far below, every event's chance is its hazard.
        found += self.count * self.step * np.minimum(off, 0.0)
        return found.reshape(level.shape)


def _spline(coefficients: FloatArray, at: FloatArray) -> FloatArray:
    """A spline per model (4, pieces, G) at positions (M, G, n)."""
    i = np.minimum(at.astype(int), coefficients.shape[1] - 1)
    off = at - i
    g = np.arange(at.shape[1])[:, None]
    c3, c2, c1, c0 = (part[i, g] for part in coefficients)
    return np.asarray(((c3 * off + c2) * off + c1) * off + c0)
