"""Newton's method for every group's (log shape, a) and the common coefficients, in one batch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.likelihood import WeibullLikelihood

#: Beyond this log shape a likelihood is still climbing towards all events at one hour: there is no estimate.
RUNAWAY = 5.5
TOLERANCE = 1e-9


@dataclass(frozen=True, kw_only=True)
class WeibullPrior:
    """Independent normal priors on log shape, log scale and the coefficients.

    Each field is a scalar or has shape (G,) (coefficients: (p,)). An infinite standard deviation is no prior. Log scale
    is the log of engine hours.

    Examples
    --------
    >>> WeibullPrior(log_shape=0.6, log_shape_sd=0.3).log_scale_sd
    inf
    """

    log_shape: Any = 0.0
    log_shape_sd: Any = np.inf
    log_scale: Any = 0.0
    log_scale_sd: Any = np.inf
    coef: Any = 0.0
    coef_sd: Any = np.inf

    def precision(self, groups: int) -> tuple[FloatArray, FloatArray]:
        """Precisions of log shape and log scale, each of shape (G,)."""
        shape = np.broadcast_to(1.0 / np.square(np.asarray(self.log_shape_sd, dtype=float)), (groups,))
        scale = np.broadcast_to(1.0 / np.square(np.asarray(self.log_scale_sd, dtype=float)), (groups,))
        return shape, scale


FLAT = WeibullPrior()


@dataclass
class Objective:
    """Log-likelihood plus log prior; coefficients enter with their own prior once, not per group."""

    likelihood: WeibullLikelihood
    prior: WeibullPrior = FLAT

    def __post_init__(self) -> None:
        groups, width = self.likelihood.groups, self.likelihood.width
        self.shape_precision, self.scale_precision = self.prior.precision(groups)
        self.penalised = bool((self.shape_precision > 0).any() or (self.scale_precision > 0).any())
        self.coef_mean = np.broadcast_to(np.asarray(self.prior.coef, dtype=float), (width,))
        self.coef_precision = np.broadcast_to(1.0 / np.square(np.asarray(self.prior.coef_sd, dtype=float)), (width,))

    def penalty(self, s: FloatArray, a: FloatArray) -> FloatArray:
        """What the prior takes from each group's log-likelihood in :meth:`groupwise`, shape (G,)."""
        shape = self.shape_precision * np.where(self.shape_precision > 0, s - self.prior.log_shape, 0.0) ** 2
        return np.asarray(0.5 * (shape + self.scale_precision * self._off_scale(s, a) ** 2))

    def _off_scale(self, s: FloatArray, a: FloatArray) -> FloatArray:
        """Log scale less its prior mean, 0 without a prior."""
        off = self.likelihood.center - a * np.exp(-s) - self.prior.log_scale
        return np.where(self.scale_precision > 0, off, 0.0)

    def groupwise(self, s: FloatArray, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Penalised value, gradient and Hessian per group in (s, a, b), without the coefficients' prior."""
        value, gradient, hessian = self.likelihood.evaluate(s, a, b)
        if not self.penalised:
            return value, gradient, hessian
        off = s - self.prior.log_shape
        value = value - 0.5 * self.shape_precision * off**2
        gradient[:, 0] -= self.shape_precision * off
        hessian[:, 0, 0] -= self.shape_precision
        inverse = np.exp(-s)
        off = self._off_scale(s, a)
        pull = self.scale_precision * off
        ds, da = a * inverse, -inverse
        value -= 0.5 * pull * off
        gradient[:, 0] -= pull * ds
        gradient[:, 1] -= pull * da
        hessian[:, 0, 0] -= self.scale_precision * ds * ds - pull * a * inverse
        cross = self.scale_precision * ds * da + pull * inverse
        hessian[:, 0, 1] -= cross
        hessian[:, 1, 0] -= cross
        hessian[:, 1, 1] -= self.scale_precision * da * da
        return value, gradient, hessian


@dataclass
class Solution:
    """Where Newton stopped: parameters, derivatives there, and what happened on the way."""

    s: FloatArray
    a: FloatArray
    b: FloatArray
    value: FloatArray
    hessian: FloatArray
    converged: np.ndarray
    iterations: int


def positive_definite(negative: FloatArray) -> FloatArray:
    """Negative Hessians (G, m, m) with eigenvalues made positive, so that a Newton step always climbs."""
    m = negative.shape[-1]
    bad = negative[:, 0, 0] <= 0
    if m == 2:
        bad |= np.linalg.det(negative) <= 1e-12 * np.abs(negative[:, 0, 0] * negative[:, 1, 1])
    elif m > 2:
        try:
            np.linalg.cholesky(negative)
        except np.linalg.LinAlgError:
            bad |= np.linalg.eigvalsh(negative)[:, 0] <= 0
    if not bad.any():
        return negative
    fixed = negative.copy()
    values, vectors = np.linalg.eigh(np.nan_to_num(negative[bad]))
    floor = 1e-8 * np.maximum(np.abs(values).max(axis=1, keepdims=True), 1e-8)
    fixed[bad] = (vectors * np.maximum(np.abs(values), floor)[:, None, :]) @ vectors.transpose(0, 2, 1)
    return fixed


def maximise(
    objective: Objective,
    s: FloatArray,
    a: FloatArray,
    b: FloatArray,
    *,
    hold_shape: bool = False,
    free: np.ndarray | None = None,
    limit: int = 100,
    tolerance: float = TOLERANCE,
) -> Solution:
    """Climb to the maximum from (s, a, b).

    Parameters
    ----------
    objective : Objective
    s, a : ndarray, shape (G,)
    b : ndarray, shape (p,)
    hold_shape : bool
        Keep s as it is.
    free : ndarray of bool, shape (p,), optional
        Which coefficients move; all by default.
    limit : int
        Most iterations.
    tolerance : float
        Newton decrement below which a group is done (after one more step).
    """
    groups, p = s.size, b.size
    moving = np.ones(p, dtype=bool) if free is None else free
    alive = np.ones(groups, dtype=bool)
    done = np.zeros(groups, dtype=bool)
    old: tuple[FloatArray, ...] | None = None
    step_s: FloatArray = np.zeros(groups)
    step_a: FloatArray = np.zeros(groups)
    step_b: FloatArray = np.zeros(p)
    hessian: FloatArray = np.zeros((groups, 2 + p, 2 + p))
    value: FloatArray = np.zeros(groups)
    count = 0
    while count < limit:
        count += 1
        with np.errstate(over="ignore", invalid="ignore"):
            value, gradient, hessian = objective.groupwise(s, a, np.broadcast_to(b, (groups, p)))
        if old is not None:
            fell = _fell(value, old[3], b, old[2], objective, alive & ~done)
            if fell.any():
                step_s, step_a = np.where(fell, step_s / 2, step_s), np.where(fell, step_a / 2, step_a)
                step_b = step_b / 2
                s = np.where(fell, old[0] + step_s, s)
                a = np.where(fell, old[1] + step_a, a)
                b = old[2] + step_b
                continue
        if hold_shape:
            hessian[:, 0, :] = hessian[:, :, 0] = 0.0
            hessian[:, 0, 0], gradient[:, 0] = -1.0, 0.0
        step_s, step_a, step_b, decrement, gain = _step(objective, gradient, hessian, b, alive, moving)
        old = (s, a, b, value)
        done = ~alive | (np.maximum(decrement, 0.0) < tolerance)
        # With coefficients in common no group is done before all are.
        if p and moving.any() and (gain >= tolerance or not done.all()):
            done = ~alive
        move = ~done if not p or not moving.any() else alive
        finished = bool(done.all())
        if finished:
            move = alive
        shrink = np.minimum(1.0, 1.0 / np.maximum(np.abs(step_s), 1e-300))
        step_s, step_a = np.where(move, step_s * shrink, 0.0), np.where(move, step_a * shrink, 0.0)
        s, a, b = s + step_s, a + step_a, b + step_b
        gone = alive & (np.abs(s) > RUNAWAY) if not hold_shape else np.zeros_like(alive)
        if gone.any():
            alive &= ~gone
            s, a = np.where(gone, old[0], s), np.where(gone, old[1], a)
        if finished:
            break
    converged = alive & done
    return Solution(s, a, b, value, hessian, converged, count)


def _fell(
    value: FloatArray, before: FloatArray, b: FloatArray, old_b: FloatArray, objective: Objective, running: np.ndarray
) -> np.ndarray:
    """Groups whose step must be halved: those that fell, and with common coefficients only if the total fell too."""
    slack = 1e-10 * (1.0 + np.abs(before))
    fell = running & ~(value >= before - slack)
    if b.size and not np.isnan(value[running]).any():
        prior = -0.5 * objective.coef_precision @ ((b - objective.coef_mean) ** 2 - (old_b - objective.coef_mean) ** 2)
        if (value - before)[running].sum() + prior >= -slack.sum():
            return np.zeros_like(fell)
    return fell


def _step(
    objective: Objective,
    gradient: FloatArray,
    hessian: FloatArray,
    b: FloatArray,
    alive: np.ndarray,
    moving: np.ndarray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, float]:
    """Newton step of every group and of the coefficients (Schur complement), with each one's decrement."""
    own = positive_definite(-hessian[:, :2, :2])
    det = own[:, 0, 0] * own[:, 1, 1] - own[:, 0, 1] ** 2
    inverse = np.empty_like(own)
    inverse[:, 0, 0], inverse[:, 1, 1] = own[:, 1, 1] / det, own[:, 0, 0] / det
    inverse[:, 0, 1] = inverse[:, 1, 0] = -own[:, 0, 1] / det
    g = gradient[:, :2]
    base = np.einsum("gij,gj->gi", inverse, g)
    decrement = np.einsum("gi,gi->g", g, base)
    step_b = np.zeros(b.size)
    gain = 0.0
    if moving.any():
        cross = hessian[:, :2, 2:]
        spread = np.einsum("gij,gjp->gip", inverse, cross)
        schur = -hessian[alive, 2:, 2:].sum(axis=0) - np.einsum("gip,giq->pq", cross[alive], spread[alive])
        schur += np.diag(objective.coef_precision)
        slope = gradient[alive, 2:].sum(axis=0) + np.einsum("gip,gi->p", cross[alive], base[alive])
        slope -= objective.coef_precision * (b - objective.coef_mean)
        part = positive_definite(schur[np.ix_(moving, moving)][None])[0]
        step_b[moving] = np.linalg.lstsq(part, slope[moving], rcond=1e-14)[0]
        step_b *= min(1.0, 2.0 / max(np.abs(step_b).max(), 1e-300))
        gain = float(slope[moving] @ step_b[moving])
        base = base + spread @ step_b
    return base[:, 0], base[:, 1], step_b, decrement, gain
