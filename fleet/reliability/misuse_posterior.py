"""Posterior of the guard's hazard ratio and the crews' levels from crew totals (for :mod:`.misuse`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, qmc

from fleet.reliability.lifetimes import FloatArray, IntArray

#: Prior of the log ratio: normal about 0, on nobody's side. With a spread of 1 a true ratio of 3 came out 8 % low and
#: was found out less often, without fewer false verdicts; see ``make study``.
RATIO_SD = 2.0
SHARE_SD = 1.5
#: Spread of the crews' levels (half-normal 0.5), integrated over these values.
CREW_SPREADS = np.array([0.05, 0.15, 0.3, 0.5, 0.8])
CREW_SPREAD_SCALE = 0.5
#: Log ratios at which the rest is integrated by Laplace's method.
LOG_RATIOS = np.linspace(-4.0, 4.0, 161)
DRAWS = 2048


@dataclass(frozen=True)
class CrewTotals:
    """All that the likelihood needs; arrays over crews, and one entry for each failure of unknown state.

    Attributes
    ----------
    expected, expected_off : ndarray, shape (C,)
        Expected failures at guard on, all hours, and the part that fell on hours with the guard off.
    expected_off_sd : ndarray, shape (C,)
        What the looks leave unsaid about it.
    share : ndarray, shape (C,)
        Mean share off.
    failures, failures_off : ndarray, shape (C,)
    unknown_crew : ndarray of int, shape (k,)
    unknown_off : ndarray, shape (k,)
        P(off) at failures whose state was not noted.
    """

    expected: FloatArray
    expected_off: FloatArray
    expected_off_sd: FloatArray
    share: FloatArray
    failures: FloatArray
    failures_off: FloatArray
    unknown_crew: IntArray
    unknown_off: FloatArray


def posterior_draws(totals: CrewTotals) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Equally likely log ratios (DRAWS,), log levels of the crews and expected failures off (DRAWS, C), always the
    same.

    The hours off are not known exactly: where they were more, the same failures mean a smaller ratio.
    """
    crews = totals.expected.size
    design = _design(totals)
    parts = []
    for spread in CREW_SPREADS:
        prior = np.concatenate([[0.01, SHARE_SD**-2], np.full(crews, spread**-2)])
        value, mean, root = _levels(totals, design, prior)
        # Half-normal density, and the width each spread stands for on its uneven grid.
        value = (
            value - 0.5 * (spread / CREW_SPREAD_SCALE) ** 2 + np.log(np.gradient(CREW_SPREADS)[spread == CREW_SPREADS])
        )
        parts.append((value, mean, root))
    weight = np.concatenate([value for value, _, _ in parts])
    mean = np.concatenate([m for _, m, _ in parts])
    root = np.concatenate([r for _, _, r in parts])
    chance = np.exp(weight - weight.max())
    edges = np.cumsum(chance / chance.sum())
    dims = min(crews, 20) + 2
    points = qmc.Sobol(dims, scramble=True, rng=np.random.default_rng(11)).random(DRAWS)
    pick = np.minimum(np.searchsorted(edges, points[:, 0]), edges.size - 1)
    z = np.zeros((DRAWS, crews))
    z[:, : dims - 2] = norm.ppf(points[:, 2:])
    if crews > dims - 2:
        z[:, dims - 2 :] = np.random.default_rng(12).normal(size=(DRAWS, crews - dims + 2))
    levels = mean[pick] + np.einsum("dij,dj->di", root[pick], z)
    step = LOG_RATIOS[1] - LOG_RATIOS[0]
    ratios = LOG_RATIOS[pick % LOG_RATIOS.size] + (points[:, 1] - 0.5) * step
    wide = np.log1p((totals.expected_off_sd / np.maximum(totals.expected_off, 1e-12)) ** 2) ** 0.5
    shift = wide * np.random.default_rng(13).normal(size=(DRAWS, crews))
    told = totals.failures_off + 1e-9
    ratios = ratios - shift @ (told / told.sum())
    return ratios, levels, totals.expected_off * np.exp(shift)


def _design(totals: CrewTotals) -> FloatArray:
    """Log level of crew c = common + share term + own, shape (C, 2 + C)."""
    crews = totals.expected.size
    middle = float(np.average(totals.share, weights=np.maximum(totals.expected, 1e-12)))
    return np.column_stack([np.ones(crews), totals.share - middle, np.eye(crews)])


def _levels(totals: CrewTotals, design: FloatArray, prior: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """For every log ratio: log evidence (R,), and mean (R, C) and root covariance (R, C, C) of the crews' log
    levels."""
    rise = np.expm1(LOG_RATIOS)
    exposure = totals.expected + rise[:, None] * totals.expected_off
    n = totals.failures
    start = np.log((n.sum() + 0.5) / exposure.sum(axis=1))
    theta = np.zeros((LOG_RATIOS.size, design.shape[1]))
    centre = np.zeros_like(theta)
    theta[:, 0] = start
    # The common level is all but free: its prior is centered where the data put it for ratio 1.
    centre[:, 0] = np.log((n.sum() + 0.5) / totals.expected.sum())
    for _ in range(60):
        eta = theta @ design.T
        mu = np.exp(np.minimum(eta, 50.0)) * exposure
        gradient = (n - mu) @ design - prior * (theta - centre)
        hessian = np.einsum("ci,rc,cj->rij", design, mu, design) + np.diag(prior)
        step = np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0]
        step *= np.minimum(1.0, 1.0 / np.maximum(np.abs(step).max(axis=1, keepdims=True), 1e-300))
        theta = theta + step
        if np.abs(step).max() < 1e-9:
            break
    eta = theta @ design.T
    mu = np.exp(eta) * exposure
    hessian = np.einsum("ci,rc,cj->rij", design, mu, design) + np.diag(prior)
    value = (n * eta - mu).sum(axis=1) + LOG_RATIOS * totals.failures_off.sum()
    value += np.log1p(rise[:, None] * totals.unknown_off[None, :]).sum(axis=1)
    value -= 0.5 * (LOG_RATIOS / RATIO_SD) ** 2 + 0.5 * (prior * (theta - centre) ** 2).sum(axis=1)
    value += 0.5 * float(np.log(prior).sum()) - 0.5 * np.linalg.slogdet(hessian)[1]
    covariance = design @ np.linalg.inv(hessian) @ design.T
    root = np.linalg.cholesky(covariance + 1e-12 * np.eye(design.shape[0]))
    return value, eta, root
