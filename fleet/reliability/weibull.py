"""Weibull hazards with covariates: one batched maximum-likelihood fit for all groups."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gamma
from scipy.stats import norm

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.likelihood import WeibullLikelihood
from fleet.reliability.newton import FLAT, Objective, Solution, WeibullPrior, maximise
from fleet.reliability.profile import coefficient_interval, profile_interval
from fleet.reliability.small_sample import ENOUGH, corrected_interval


@dataclass(frozen=True)
class WeibullFit:
    """Estimates of :func:`fit_weibull`, per group, with H(t | x) = (t / scale)^shape exp(x . coef).

    Attributes
    ----------
    shape, scale : ndarray, shape (G,)
        NaN where there is no estimate; scale in engine hours.
    coef : ndarray, shape (p,)
        Log hazard ratios, common to the groups.
    log_likelihood : ndarray, shape (G,)
        Without the prior.
    covariance : ndarray, shape (G, 2, 2)
        Of (log shape, log scale), from the observed information, the coefficients' doubt included.
    coef_covariance : ndarray, shape (p, p)
    converged : ndarray of bool, shape (G,)
    iterations : int
        Newton iterations of the batch, the start without covariates included.
    events : ndarray of int, shape (G,)
    """

    shape: FloatArray
    scale: FloatArray
    coef: FloatArray
    log_likelihood: FloatArray
    covariance: FloatArray
    coef_covariance: FloatArray
    converged: np.ndarray
    iterations: int
    events: IntArray
    objective: Objective = field(repr=False)
    solution: Solution = field(repr=False)
    shape_held: bool = False

    def _parts(self, x: ArrayLike | None, group: ArrayLike | None) -> tuple[FloatArray, FloatArray, FloatArray]:
        pick: Any = slice(None) if group is None else np.asarray(group)
        if x is None:
            tilt = np.zeros(())
        else:
            matrix = np.asarray(x, dtype=float)
            if matrix.shape[-1:] != self.coef.shape:
                raise ValueError(f"x has {matrix.shape[-1:]} covariates, the fit has {self.coef.size}")
            tilt = matrix @ self.coef
        return self.shape[pick], self.scale[pick], np.exp(tilt)

    def cumulative_hazard(
        self, hours: ArrayLike, x: ArrayLike | None = None, group: ArrayLike | None = None
    ) -> FloatArray:
        """H(hours | x). ``hours`` broadcasts against the groups (G,), or against ``group``; x has shape (..., p)."""
        shape, scale, ratio = self._parts(x, group)
        return (np.asarray(hours, dtype=float) / scale) ** shape * ratio

    def survival(self, hours: ArrayLike, x: ArrayLike | None = None, group: ArrayLike | None = None) -> FloatArray:
        """P(no event by ``hours``), broadcast as in :meth:`cumulative_hazard`."""
        return np.exp(-self.cumulative_hazard(hours, x, group))

    def hazard(self, hours: ArrayLike, x: ArrayLike | None = None, group: ArrayLike | None = None) -> FloatArray:
        """Events per hour at ``hours``, broadcast as in :meth:`cumulative_hazard`."""
        shape, scale, ratio = self._parts(x, group)
        return shape / scale * (np.asarray(hours, dtype=float) / scale) ** (shape - 1) * ratio

    def quantile(
        self, probability: ArrayLike, x: ArrayLike | None = None, group: ArrayLike | None = None
    ) -> FloatArray:
        """Hours by which the event has happened with that probability (B10 at 0.1)."""
        shape, scale, ratio = self._parts(x, group)
        return scale * (-np.log1p(-np.asarray(probability, dtype=float)) / ratio) ** (1 / shape)

    def mean_life(self, x: ArrayLike | None = None, group: ArrayLike | None = None) -> FloatArray:
        """Mean hours to the event."""
        shape, scale, ratio = self._parts(x, group)
        return scale * ratio ** (-1 / shape) * gamma(1 + 1 / shape)

    def failure_probability(
        self, age: ArrayLike, horizon: ArrayLike, x: ArrayLike | None = None, group: ArrayLike | None = None
    ) -> FloatArray:
        """P(event in (age, age + horizon] | none up to age); ``age`` and ``horizon`` in hours."""
        start = np.asarray(age, dtype=float)
        end = start + np.asarray(horizon, dtype=float)
        return -np.expm1(self.cumulative_hazard(start, x, group) - self.cumulative_hazard(end, x, group))

    def confint(self, level: float = 0.95, method: str = "auto") -> dict[str, tuple[FloatArray, FloatArray]]:
        """Limits: {"shape": (low, high), "scale": ..., "coef": ...}, arrays (G,), (G,) and (p,).

        Parameters
        ----------
        level : float
        method : {"auto", "profile", "corrected"}
            Profile likelihood; corrected for few failures (:mod:`.small_sample`); or, by default, corrected in groups
            of fewer than ten failures. The correction is for exact failures without covariates or a prior: all others
            have their profile limits.

        Returns
        -------
        dict
            NaN where there is no estimate. A limit beyond all reason (the likelihood never falls far enough) is 0 or
            inf.
        """
        limits = {"scale": self._limits(level, method, 1 - np.exp(-1.0))}
        if self.shape_held:
            limits["shape"] = (self.shape.copy(), self.shape.copy())
        else:
            limits["shape"] = self._limits(level, method, None)
        if self.coef.size:
            limits["coef"] = coefficient_interval(self.objective, self.solution, level, hold_shape=self.shape_held)
        return {name: self._blank(name, pair) for name, pair in limits.items()}

    def quantile_confint(
        self, probability: float, level: float = 0.95, method: str = "auto"
    ) -> tuple[FloatArray, FloatArray]:
        """Limits of :meth:`quantile` at covariates 0, each of shape (G,), by the methods of :meth:`confint`."""
        return self._blank("quantile", self._limits(level, method, probability))

    def _limits(self, level: float, method: str, probability: float | None) -> tuple[FloatArray, FloatArray]:
        """Limits of the shape, or of a quantile."""
        if method not in ("auto", "profile", "corrected"):
            raise ValueError("method must be auto, profile or corrected")
        likelihood = self.objective.likelihood
        few = self.converged & (likelihood.exact == self.events) & (method != "profile")
        if method == "auto":
            few &= self.events < ENOUGH
        if few.any() and not (self.shape_held or self.coef.size or self.objective.penalised):
            return corrected_interval(self.objective, self.solution, level, few, probability=probability)
        return profile_interval(
            self.objective, self.solution, level, probability=probability, hold_shape=self.shape_held
        )

    def wald_confint(self, level: float = 0.95) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Limits from the covariance on the log scale, for comparison: they cover less with few failures."""
        z = norm.ppf(0.5 + level / 2)
        spread = z * np.sqrt(np.einsum("gii->gi", self.covariance))
        pairs = {
            "shape": (self.shape * np.exp(-spread[:, 0]), self.shape * np.exp(spread[:, 0])),
            "scale": (self.scale * np.exp(-spread[:, 1]), self.scale * np.exp(spread[:, 1])),
        }
        if self.coef.size:
            wide = z * np.sqrt(np.diag(self.coef_covariance))
            pairs["coef"] = (self.coef - wide, self.coef + wide)
        return pairs

    def _blank(self, name: str, pair: tuple[FloatArray, FloatArray]) -> tuple[FloatArray, FloatArray]:
        if name == "coef":
            return pair
        low, high = (np.where(self.converged, limit, np.nan) for limit in pair)
        return low, high


def fit_weibull(
    lifetimes: Lifetimes,
    prior: WeibullPrior | None = None,
    *,
    shape: ArrayLike | None = None,
    start: WeibullFit | None = None,
) -> WeibullFit:
    """Fit shape and scale of every group, and coefficients common to all groups, by maximum likelihood.

    Parameters
    ----------
    lifetimes : Lifetimes
        n rows in G groups with p covariates; hours.
    prior : WeibullPrior, optional
        Normal priors on log shape, log scale and the coefficients: the result is then the posterior mode.
    shape : float or array_like, shape (G,), optional
        Hold the shape there and fit the scale only.
    start : WeibullFit, optional
        An earlier fit of the same groups to start from.

    Returns
    -------
    WeibullFit

    Raises
    ------
    ValueError
        If there is no event at all, or if a group has none and no prior on its scale (it then has no estimate), unless
        the shape is held and the prior gives the scale.

    Notes
    -----
    A row contributes ``-(H(lower) - H(entry))``, plus ``log h(lower)`` for an exact event or
    ``log(1 - exp(-(H(upper) - H(lower))))`` for an interval (Lawless 2003, Statistical Models and Methods for Lifetime
    Data, ch. 5; delayed entry: Klein & Moeschberger 2003, ch. 3). Where all events fall on one hour the likelihood
    has no
    maximum: ``converged`` is False and the estimates are NaN.

    Examples
    --------
    Life of 20 units, ten of them unfailed at 500 h (NIST/SEMATECH e-Handbook, section 8.4.1.3):

    >>> hours = [54, 187, 216, 240, 244, 335, 361, 373, 375, 386] + [500] * 10
    >>> fit = fit_weibull(Lifetimes(lower=hours, upper=hours[:10] + [float("inf")] * 10))
    >>> round(float(fit.shape[0]), 4), round(float(fit.scale[0]), 3)
    (1.7208, 606.528)
    >>> low, high = fit.confint(0.95)["shape"]
    >>> round(float(low[0]), 3), round(float(high[0]), 3)
    (0.906, 2.886)
    """
    likelihood = WeibullLikelihood(lifetimes)
    p = likelihood.width
    objective = Objective(likelihood, prior or FLAT)
    empty = likelihood.events == 0
    unknown = empty & (objective.scale_precision == 0)
    if shape is None:
        unknown |= empty & (objective.shape_precision == 0)
    if unknown.all():
        raise ValueError("no event in any group: there is nothing to fit without a prior")
    if unknown.any():
        raise ValueError(f"group {int(np.argmax(unknown))} has no event and no prior: it has no estimate")
    hold = shape is not None
    s, a, b = _start(objective, lifetimes, shape, start)
    iterations = 0
    if start is None and objective.penalised:
        warm = _flat_start(objective, s, a, hold)
        s, a = warm
    if start is None and p:
        first = maximise(objective, s, a, b, hold_shape=hold, free=np.zeros(p, dtype=bool), tolerance=0.1)
        s, a = np.where(first.converged, first.s, s), np.where(first.converged, first.a, a)
        iterations = first.iterations
    found = maximise(objective, s, a, b, hold_shape=hold)
    iterations += found.iterations
    return _as_fit(objective, found, iterations, hold)


def _start(
    objective: Objective, lifetimes: Lifetimes, shape: ArrayLike | None, start: WeibullFit | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    likelihood = objective.likelihood
    if start is not None:
        good = start.converged
        s = np.where(good, np.log(np.where(good, start.shape, 1.5)), np.log(1.5))
        scale = np.where(good, np.log(np.where(good, start.scale, 1.0)), likelihood.center)
        if shape is not None:
            s = np.broadcast_to(np.log(np.asarray(shape, dtype=float)), s.shape)
        return s, np.exp(s) * (likelihood.center - scale), start.coef.copy()
    s, a = likelihood.start(1.5 if shape is None else np.asarray(shape, dtype=float))
    return s, a, np.array(objective.coef_mean, dtype=float)


def _flat_start(objective: Objective, s: FloatArray, a: FloatArray, hold: bool) -> tuple[FloatArray, FloatArray]:
    """Start for a penalised fit: the flat fit where there is one, the prior's mean where there is no event."""
    likelihood = objective.likelihood
    some = likelihood.events > 0
    prior_s = np.where(objective.shape_precision > 0, objective.prior.log_shape, s)
    if not hold:
        s = prior_s.astype(float)
    prior_a = np.exp(s) * (likelihood.center - np.where(objective.scale_precision > 0, objective.prior.log_scale, 0.0))
    shaped_s, shaped_a = likelihood.start(np.exp(s))
    weight = likelihood.events / (
        likelihood.events + np.maximum(objective.scale_precision * np.exp(-2 * shaped_s), 1e-12)
    )
    return s, np.where(
        some & (objective.scale_precision > 0),
        weight * shaped_a + (1 - weight) * prior_a,
        np.where(some, shaped_a, prior_a),
    )


def _as_fit(objective: Objective, found: Solution, iterations: int, hold: bool) -> WeibullFit:
    likelihood = objective.likelihood
    ok = found.converged
    b = np.broadcast_to(found.b, (likelihood.groups, found.b.size))
    with np.errstate(over="ignore", invalid="ignore"):
        found.value, _, found.hessian = objective.groupwise(found.s, found.a, b)
        value = found.value + objective.penalty(found.s, found.a)
    log_scale = likelihood.center - found.a * np.exp(-found.s)
    covariance, coef_covariance = _covariances(objective, found, hold)
    return WeibullFit(
        shape=np.where(ok, np.exp(found.s), np.nan),
        scale=np.where(ok, np.exp(np.where(ok, log_scale, 0.0)), np.nan),
        coef=found.b,
        log_likelihood=np.where(ok, value, np.nan),
        covariance=np.where(ok[:, None, None], covariance, np.nan),
        coef_covariance=coef_covariance,
        converged=ok,
        iterations=iterations,
        events=likelihood.events,
        objective=objective,
        solution=found,
        shape_held=hold,
    )


def _covariances(objective: Objective, found: Solution, hold: bool) -> tuple[FloatArray, FloatArray]:
    """Covariance of (log shape, log scale) per group and of the coefficients, from the joint information."""
    ok, p = found.converged, found.b.size
    groups = ok.size
    information = -found.hessian
    own = np.tile(np.eye(2), (groups, 1, 1))
    own[ok] = information[ok, :2, :2]
    cross = information[:, :2, 2:].copy()
    if hold:
        own[:, 0, :] = own[:, :, 0] = cross[:, 0, :] = 0.0
        own[:, 0, 0] = 1.0
    inverse = np.linalg.inv(own)
    if hold:
        inverse[:, 0, 0] = 0.0
    coef_covariance = np.empty((p, p))
    if p:
        spread = inverse @ cross
        schur = (information[ok, 2:, 2:] - cross[ok].transpose(0, 2, 1) @ spread[ok]).sum(axis=0)
        coef_covariance = np.linalg.pinv(schur + np.diag(objective.coef_precision), hermitian=True)
        inverse = inverse + spread @ coef_covariance @ spread.transpose(0, 2, 1)
    # Log scale is c - a / k: to (log shape, log scale) by its derivatives.
    turn = np.zeros((groups, 2, 2))
    turn[:, 0, 0] = 1.0
    turn[:, 1, 0] = found.a * np.exp(-found.s)
    turn[:, 1, 1] = -np.exp(-found.s)
    return turn @ inverse @ turn.transpose(0, 2, 1), coef_covariance
