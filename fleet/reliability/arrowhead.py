"""Mode, covariance and evidence of all models and their common mean at given spreads, by one Newton iteration.

The Hessian is an arrowhead: a 2x2 block per model, and a border of the means and common coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.likelihood import WeibullLikelihood
from fleet.reliability.newton import positive_definite


@dataclass(frozen=True)
class ArrowheadMode:
    """What :func:`solve_arrowhead` found.

    Attributes
    ----------
    theta : ndarray, shape (G, 2)
        (log shape, log scale) of each model.
    border : ndarray, shape (2 + p,)
        Mean log shape, mean log scale, coefficients.
    covariance : ndarray, shape (G, 2, 2)
        Doubt about the border included.
    border_covariance : ndarray, shape (2 + p, 2 + p)
    evidence : float
        Log marginal likelihood by Laplace's method.
    drawn : ndarray, shape (G,)
    converged : bool
    iterations : int
    """

    theta: FloatArray
    border: FloatArray
    covariance: FloatArray
    border_covariance: FloatArray
    evidence: float
    drawn: FloatArray
    converged: bool
    iterations: int


def solve_arrowhead(
    likelihood: WeibullLikelihood,
    exposed: np.ndarray,
    spread: FloatArray,
    mean: FloatArray,
    precision: FloatArray,
    coef_precision: float,
    start: ArrowheadMode | None,
) -> ArrowheadMode:
    """Solve for all exposed models and the border.

    Parameters
    ----------
    likelihood : WeibullLikelihood
    exposed : ndarray of bool, shape (G,)
        The others have the prior.
    spread : ndarray, shape (2,)
        Standard deviations of log shape and log scale between models.
    mean, precision : ndarray, shape (2,)
        Normal prior of the border's means.
    coef_precision : float
        Of each coefficient about 0.
    start : ArrowheadMode, optional
    """
    groups, p = likelihood.groups, likelihood.width
    own = 1.0 / spread**2
    theta, border = _begin(likelihood, mean) if start is None else (start.theta.copy(), start.border.copy())
    prior_precision = np.concatenate([precision, np.full(p, coef_precision)])
    prior_mean = np.concatenate([mean, np.zeros(p)])
    on = exposed.astype(float)

    def objective(
        theta: FloatArray, border: FloatArray
    ) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray]:
        with np.errstate(over="ignore", invalid="ignore"):
            value, gradient, hessian = likelihood.evaluate_scale(
                theta[:, 0], theta[:, 1], np.broadcast_to(border[2:], (groups, p))
            )
        off = theta - border[:2]
        total = float(value[exposed].sum()) - 0.5 * float((on[:, None] * off**2 * own).sum())
        total -= 0.5 * float((prior_precision * (border - prior_mean) ** 2).sum())
        block_gradient = gradient[:, :2] * on[:, None] - off * own
        border_gradient = np.concatenate([(on[:, None] * off * own).sum(axis=0), gradient[exposed, 2:].sum(axis=0)])
        border_gradient -= prior_precision * (border - prior_mean)
        return total, block_gradient, border_gradient, hessian, off

    value, block, rim, hessian, _ = objective(theta, border)
    converged, count = False, 0
    while count < 60 and not converged:
        count += 1
        step, rim_step, gain = _newton(block, rim, hessian, own, on, prior_precision)
        size = float(np.max(np.abs(step), initial=0.0))
        factor = min(1.0, 1.5 / max(size, 1e-300))
        for _ in range(30):
            trial, rim_trial = theta + factor * step, border + factor * rim_step
            new = objective(trial, rim_trial)
            if new[0] >= value - 1e-9 * (1 + abs(value)):
                break
            factor /= 2
        theta, border = trial, rim_trial
        value, block, rim, hessian, _ = new
        # What is left after a step is of the order of its gain squared.
        converged = gain < 1e-5
    theta[~exposed] = border[:2]
    return _finish(value, theta, border, hessian, own, on, prior_precision, converged, count)


def _begin(likelihood: WeibullLikelihood, mean: FloatArray) -> tuple[FloatArray, FloatArray]:
    s, a = likelihood.start(float(np.exp(mean[0])))
    level = np.where(likelihood.events > 0, likelihood.center - a * np.exp(-s), np.nan)
    middle = float(np.nanmean(level))
    theta = np.column_stack([s, np.where(np.isnan(level), middle, level)])
    return theta, np.concatenate([[mean[0], middle], np.zeros(likelihood.width)])


def _blocks(
    hessian: FloatArray, own: FloatArray, on: FloatArray, prior_precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Negative Hessian: model blocks (G, 2, 2), crossings (G, 2, 2 + p), border (2 + p, 2 + p)."""
    groups, width = hessian.shape[0], hessian.shape[1]
    block = -hessian[:, :2, :2] * on[:, None, None] + np.diag(own)
    cross = np.zeros((groups, 2, width))
    cross[:, :, :2] = -np.diag(own) * on[:, None, None]
    cross[:, :, 2:] = -hessian[:, :2, 2:] * on[:, None, None]
    rim = np.diag(prior_precision).astype(float)
    rim[:2, :2] += np.diag(own) * on.sum()
    rim[2:, 2:] -= (hessian[:, 2:, 2:] * on[:, None, None]).sum(axis=0)
    return block, cross, rim


def _newton(
    gradient: FloatArray,
    rim_gradient: FloatArray,
    hessian: FloatArray,
    own: FloatArray,
    on: FloatArray,
    prior_precision: FloatArray,
) -> tuple[FloatArray, FloatArray, float]:
    block, cross, rim = _blocks(hessian, own, on, prior_precision)
    block = positive_definite(block)
    gradient = gradient * on[:, None]
    right = np.concatenate([gradient[:, :, None], cross], axis=2)
    solved = np.linalg.solve(block, right)
    schur = rim - np.einsum("gip,giq->pq", cross, solved[:, :, 1:])
    slope = rim_gradient - np.einsum("gip,gi->p", cross, solved[:, :, 0])
    schur = positive_definite(0.5 * (schur + schur.T)[None])[0]
    rim_step = np.linalg.solve(schur, slope)
    step = solved[:, :, 0] - solved[:, :, 1:] @ rim_step
    gain = float((gradient * step).sum() + rim_gradient @ rim_step)
    return step * on[:, None], rim_step, gain


def _finish(
    value: float,
    theta: FloatArray,
    border: FloatArray,
    hessian: FloatArray,
    own: FloatArray,
    on: FloatArray,
    prior_precision: FloatArray,
    converged: bool,
    count: int,
) -> ArrowheadMode:
    block, cross, rim = _blocks(hessian, own, on, prior_precision)
    block = positive_definite(block)
    inverse = np.linalg.inv(block)
    spread = inverse @ cross
    schur = rim - np.einsum("gip,giq->pq", cross, spread)
    schur = positive_definite(0.5 * (schur + schur.T)[None])[0]
    border_covariance = np.linalg.inv(schur)
    # A model without exposure follows the border, with the spread on top.
    follow = np.where(on[:, None, None] > 0, spread, -np.eye(2, cross.shape[2])[None])
    covariance = inverse + follow @ border_covariance @ follow.transpose(0, 2, 1)
    known = on > 0
    evidence = value + 0.5 * float(np.log(own).sum() * on.sum())
    evidence -= 0.5 * float(np.linalg.slogdet(block[known])[1].sum() + np.linalg.slogdet(schur)[1])
    drawn = np.sqrt(np.prod(own) / np.linalg.det(block))
    return ArrowheadMode(
        theta, border, covariance, border_covariance, evidence, np.minimum(drawn, 1.0), converged, count
    )
