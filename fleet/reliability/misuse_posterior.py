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

    Given the common level and the share's term the crews are independent, so that every Hessian is a diagonal with a
    border of two: all sums are linear in the number of crews.
    """
    crews = totals.expected.size
    design = _design(totals)
    modes = [_levels(totals, design, spread) for spread in CREW_SPREADS]
    # Half-normal density, and the width each spread stands for on its uneven grid.
    prior = np.log(np.gradient(CREW_SPREADS)) - 0.5 * (CREW_SPREADS / CREW_SPREAD_SCALE) ** 2
    weight = np.concatenate([mode.value + log for mode, log in zip(modes, prior, strict=True)])
    chance = np.exp(weight - weight.max())
    edges = np.cumsum(chance / chance.sum())
    dims = min(crews, 20) + 2
    points = qmc.Sobol(dims, scramble=True, rng=np.random.default_rng(11)).random(DRAWS)
    pick = np.minimum(np.searchsorted(edges, points[:, 0]), edges.size - 1)
    z = np.zeros((DRAWS, crews))
    z[:, : dims - 2] = norm.ppf(points[:, 2:])
    if crews > dims - 2:
        z[:, dims - 2 :] = np.random.default_rng(12).normal(size=(DRAWS, crews - dims + 2))
    levels = np.empty((DRAWS, crews))
    for m, mode in enumerate(modes):
        mine = np.flatnonzero(pick // LOG_RATIOS.size == m)
        at = pick[mine] % LOG_RATIOS.size
        levels[mine] = mode.eta[at] + _correlated(mode.own[at], mode.follow[at], mode.common[at], z[mine])
    step = LOG_RATIOS[1] - LOG_RATIOS[0]
    ratios = LOG_RATIOS[pick % LOG_RATIOS.size] + (points[:, 1] - 0.5) * step
    wide = np.log1p((totals.expected_off_sd / np.maximum(totals.expected_off, 1e-12)) ** 2) ** 0.5
    shift = wide * np.random.default_rng(13).normal(size=(DRAWS, crews))
    told = totals.failures_off + 1e-9
    ratios = ratios - shift @ (told / told.sum())
    return ratios, levels, totals.expected_off * np.exp(shift)


@dataclass(frozen=True)
class _Mode:
    """At one spread of the crews, for each of R log ratios.

    Attributes
    ----------
    value : ndarray, shape (R,)
        Log evidence.
    eta, own : ndarray, shape (R, C)
        Crews' log levels, and their variances given the common terms.
    follow : ndarray, shape (R, C, 2)
        How each level moves with the common terms.
    common : ndarray, shape (R, 2, 2)
        Covariance of the common terms.
    """

    value: FloatArray
    eta: FloatArray
    own: FloatArray
    follow: FloatArray
    common: FloatArray


def _design(totals: CrewTotals) -> FloatArray:
    """Common terms of each crew's log level, a constant and its share off about the mean, shape (C, 2)."""
    middle = float(np.average(totals.share, weights=np.maximum(totals.expected, 1e-12)))
    return np.column_stack([np.ones(totals.share.size), totals.share - middle])


def _levels(totals: CrewTotals, design: FloatArray, spread: float) -> _Mode:
    """Mode and Laplace evidence of the common terms and of every crew's own, at each log ratio."""
    rise = np.expm1(LOG_RATIOS)
    exposure = totals.expected + rise[:, None] * totals.expected_off
    n = totals.failures
    prior, own_prior = np.array([0.01, SHARE_SD**-2]), spread**-2
    common, own = np.zeros((LOG_RATIOS.size, 2)), np.zeros_like(exposure)
    centre = np.zeros_like(common)
    common[:, 0] = np.log((n.sum() + 0.5) / exposure.sum(axis=1))
    # The common level is all but free: its prior is centered where the data put it for ratio 1.
    centre[:, 0] = np.log((n.sum() + 0.5) / totals.expected.sum())
    for _ in range(60):
        mu = np.exp(np.minimum(common @ design.T + own, 50.0)) * exposure
        gradient = (n - mu) @ design - prior * (common - centre)
        own_gradient = n - mu - own_prior * own
        # What the crews' own terms leave of the common terms' information: the Schur complement.
        left = own_gradient / (mu + own_prior)
        schur = _schur(design, mu, prior, own_prior)
        step = np.linalg.solve(schur, (gradient - (mu * left) @ design)[:, :, None])[:, :, 0]
        own_step = left - mu / (mu + own_prior) * (step @ design.T)
        size = np.maximum(np.abs(step).max(axis=1), np.abs(own_step).max(axis=1))[:, None]
        shrink = np.minimum(1.0, 1.0 / np.maximum(size, 1e-300))
        common, own = common + step * shrink, own + own_step * shrink
        if (size * shrink).max() < 1e-9:
            break
    eta = common @ design.T + own
    mu = np.exp(eta) * exposure
    schur = _schur(design, mu, prior, own_prior)
    value = (n * eta - mu).sum(axis=1) + LOG_RATIOS * totals.failures_off.sum()
    value += np.log1p(rise[:, None] * totals.unknown_off[None, :]).sum(axis=1)
    value -= 0.5 * (LOG_RATIOS / RATIO_SD) ** 2
    value -= 0.5 * (prior * (common - centre) ** 2).sum(axis=1) + 0.5 * own_prior * (own**2).sum(axis=1)
    value += 0.5 * float(np.log(prior).sum() + n.size * np.log(own_prior))
    value -= 0.5 * (np.log(mu + own_prior).sum(axis=1) + np.linalg.slogdet(schur)[1])
    rest = own_prior / (mu + own_prior)
    return _Mode(value, eta, 1.0 / (mu + own_prior), rest[:, :, None] * design, np.linalg.inv(schur))


def _schur(design: FloatArray, mu: FloatArray, prior: FloatArray, own_prior: float) -> FloatArray:
    """Information about the common terms with the crews' own integrated out, (R, 2, 2)."""
    seen = mu * own_prior / (mu + own_prior)
    products = (design[:, :, None] * design[:, None, :]).reshape(-1, 4)
    return (seen @ products).reshape(-1, 2, 2) + np.diag(prior)


def _correlated(own: FloatArray, follow: FloatArray, common: FloatArray, z: FloatArray) -> FloatArray:
    """L z (D, C) of standard normal z (D, C), L the lower Cholesky factor of diag(own) + follow common follow'.

    Crew by crew: what is left of the common terms' covariance after the crews before gives the next row of L.
    """
    out = np.empty_like(z)
    left, carried = common.copy(), np.zeros(follow.shape[::2])
    for c in range(z.shape[1]):
        row = follow[:, c]
        lean = np.einsum("dij,dj->di", left, row)
        root = np.sqrt(own[:, c] + (row * lean).sum(axis=1))
        column = lean / root[:, None]
        out[:, c] = root * z[:, c] + (row * carried).sum(axis=1)
        carried += column * z[:, c, None]
        left -= column[:, :, None] * column[:, None, :]
    return out
