"""Limits that keep their promise with a handful of failures: the profile's signed root, corrected.

The signed root r of the likelihood ratio is replaced by r* = r + log(u / r) / r (Barndorff-Nielsen 1986, Biometrika
73:307-322), with u after Skovgaard (1996), Bernoulli 2:145-165: covariances, under the fitted model, of the score at
the estimate with the score and the likelihood ratio at the trial value. Failures are seen as a counting process over
the hours that were watched, so that these covariances are integrals of the log hazard's derivatives over the fitted
hazard, in closed form from three sums per group. For failures of one process watched from new this gives the exact
chi-square limits of the shape to the third decimal of their tail areas.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.newton import Objective, Solution
from fleet.reliability.profile import ProfileSurface, profile_limit

#: From this many failures on the plain profile is close enough, and is what other tools and printed tables give.
ENOUGH = 10


def corrected_interval(
    objective: Objective,
    solution: Solution,
    level: float,
    wanted: np.ndarray,
    *,
    probability: float | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Corrected limits of the shape, or of a quantile where ``probability`` is given, each of shape (G,).

    Parameters
    ----------
    objective : Objective
        Without a prior and without covariates.
    solution : Solution
        Its maximum.
    level : float
    wanted : ndarray of bool, shape (G,)
        Groups to correct; their events must all be exact. The others have their plain profile limits.
    probability : float, optional
    """
    z = float(norm.ppf(0.5 + level / 2))
    surface = ProfileSurface(objective, solution, probability, False)
    limits = []
    with np.errstate(all="ignore"):
        for side in (-1.0, 1.0):
            root = np.full(wanted.size, z)
            at = profile_limit(surface, solution, 0.5 * root**2, side)
            plain, last = at, np.full(wanted.size, np.inf)
            for _ in range(25):
                fresh = np.clip(z + side * _excess(surface, solution, at), 0.2 * z, 3.0 * z)
                fresh = np.where(wanted & np.isfinite(fresh) & np.isfinite(at[:, 0]), fresh, root)
                last, root = np.abs(fresh - root), fresh
                at = profile_limit(surface, solution, 0.5 * root**2, side, at)
                if last.max() < 1e-9:
                    break
            limits.append(np.exp(np.where(last < 1e-6, at[:, 0], plain[:, 0])))
    return limits[0], limits[1]


def _excess(surface: ProfileSurface, solution: Solution, at: FloatArray) -> FloatArray:
    """What r* has over r at the coordinates ``at`` (G, 2) on the ridge, shape (G,)."""
    best, top, bend = surface.best, surface.top, surface.bend
    value, _, bend_at = surface.evaluate(at)
    root = np.sign(best[:, 0] - at[:, 0]) * np.sqrt(np.maximum(2 * (top - value), 0.0))
    s_hat, a_hat = solution.s, solution.a
    s, a = surface.shape_and_rate(at)
    k_hat, k = np.exp(s_hat), np.exp(s)
    zeroth, first, second = _hazard_moments(surface.objective, s_hat, a_hat)
    # Log hazard s + a + (k - 1) u + constant, u the log hours about the group's center: its derivatives are 1 + k u
    # in s and 1 in a. Covariances of scores (row: at the estimate, column: at the trial value):
    ss, sa = zeroth + (k_hat + k) * first + k_hat * k * second, zeroth + k_hat * first
    as_, aa = zeroth + k * first, zeroth
    det = ss * aa - sa * as_
    det_hat = (zeroth + 2 * k_hat * first + k_hat**2 * second) * zeroth - sa**2
    # ... and of the score at the estimate with the log likelihood ratio.
    level, slope = s_hat - s + a_hat - a, k_hat - k
    ratio_s = level * zeroth + (level * k_hat + slope) * first + slope * k_hat * second
    ratio_a = level * zeroth + slope * first
    move_s, move_a = (aa * ratio_s - sa * ratio_a) / det, (ss * ratio_a - as_ * ratio_s) / det
    if surface.y is None:
        move, turn = move_s, np.ones_like(k)
    else:
        # From (log shape, a) to (log quantile, log shape), a = y - k (log quantile - center).
        move, turn = ((a - surface.y) * move_s - move_a) / k, k / k_hat
    u = move * np.sqrt(np.linalg.det(-bend)) / np.sqrt(-bend_at[:, 1, 1]) * det / det_hat * turn
    return np.asarray(np.log(u / root) / root, dtype=float)


def _hazard_moments(objective: Objective, s: FloatArray, a: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Integrals of 1, u and u^2 over the fitted hazard of all hours watched, each of shape (G,)."""
    k = np.exp(s)
    sums = objective.likelihood.survival.moments(a, k, np.empty((s.size, 0)))
    zeroth, first, second = sums[0], sums[1], sums[2]
    return zeroth, first - zeroth / k, second - 2 * first / k + 2 * zeroth / k**2
