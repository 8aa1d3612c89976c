"""Models borrow strength from each other: shape and scale of each model vary about the component's mean."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import gamma
from scipy.stats import norm, qmc

from fleet.reliability.laplace import LaplacePairs, laplace_pairs
from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.likelihood import WeibullLikelihood
from fleet.reliability.model_grids import (
    Axis,
    GridPosterior,
    draw,
    grid_posterior,
    mixture_quantile,
)
from fleet.reliability.model_surface import ModelSurface

#: Prior of the mean log shape over models, and half-normal scales of the spreads of log shape and log scale.
MEAN_LOG_SHAPE, MEAN_LOG_SHAPE_SD = float(np.log(1.8)), 0.5
SHAPE_SPREAD, SCALE_SPREAD = 0.3, 0.5
#: Nearly flat: the mean log scale lies within e^5 of where the data put it.
MEAN_LOG_SCALE_SD = 5.0
COEF_SD = 1.0
#: Spreads that are integrated over, as multiples of their scales.
STEPS = np.geomspace(0.12, 2.6, 5)
#: Grid points whose weight by Laplace's method is below this share of the best are left out.
NEGLIGIBLE = 3e-5
#: Log shapes of which a table of likelihoods is made: Laplace's standard deviations either side of the mode.
TABLE = 10.0


@dataclass(frozen=True)
class PooledFit:
    """Posterior of every model from :func:`pool_models`: a mixture over pairs of spreads of grids.

    Attributes
    ----------
    shape, scale : ndarray, shape (G,)
        exp of the posterior means of the logs; scale in engine hours.
    coef : ndarray, shape (p,)
        Posterior mean log hazard ratios.
    failures : ndarray of int, shape (G,)
        Each model's own events.
    drawn : ndarray, shape (G,)
        How far the estimate rests on the other models: 0 own data alone, 1 the pooled prior alone.
    shape_spread, scale_spread : float
        Posterior mean standard deviations of log shape and log scale between models.
    log_likelihood : ndarray, shape (G,)
        At the estimates.
    converged : ndarray of bool, shape (G,)
    iterations : int
        Most Newton iterations at a grid point.
    weights : ndarray, shape (M,)
    means : ndarray, shape (M, G, 2)
    covariances : ndarray, shape (M, G, 2, 2)
    coef_means, coef_covariances : ndarray, shapes (M, p), (M, p, p)
    """

    shape: FloatArray
    scale: FloatArray
    coef: FloatArray
    failures: IntArray
    drawn: FloatArray
    shape_spread: float
    scale_spread: float
    log_likelihood: FloatArray
    converged: np.ndarray
    iterations: int
    weights: FloatArray
    means: FloatArray
    covariances: FloatArray
    coef_means: FloatArray
    coef_covariances: FloatArray
    grids: GridPosterior = field(repr=False)
    drawn_before: dict[int, tuple[FloatArray, FloatArray]] = field(default_factory=dict, repr=False, compare=False)

    def confint(self, level: float = 0.95) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Equal-tailed posterior limits {"shape": (low, high), "scale": ...[, "coef": ...]}, (G,) and (p,)."""
        tails = ((1 - level) / 2, (1 + level) / 2)
        limits = {}
        for j, name in enumerate(("shape", "scale")):
            axis, mass = self.grids.axes[j], self.grids.marginal(j)
            low, high = (mixture_quantile(self.weights, axis, mass, q) for q in tails)
            limits[name] = (np.exp(low), np.exp(high))
        if self.coef.size:
            wide = np.sqrt(np.einsum("mii->mi", self.coef_covariances))
            limits["coef"] = self._coef_limits(wide, tails)
        return limits

    def draws(self, size: int = 1024) -> tuple[FloatArray, FloatArray]:
        """Equally likely (shape, scale), each of shape (size, G): a fixed low-discrepancy set, the same every time.

        Each model's draws are right by themselves; they do not say how two models' doubts go together.
        """
        if size not in self.drawn_before:
            self.drawn_before[size] = self._drawn(size)
        return self.drawn_before[size]

    def _drawn(self, size: int) -> tuple[FloatArray, FloatArray]:
        point = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(20)).random(size)
        point = point[np.argsort(point[:, 0])]
        edges = np.cumsum(self.weights)
        part = np.minimum(np.searchsorted(edges, (np.arange(size) + 0.5) / size), self.weights.size - 1)
        logs = np.empty((size, self.shape.size, 2))
        for m in np.unique(part):
            logs[part == m] = draw(self.grids, int(m), point[part == m, 1:])
        return np.exp(logs[:, :, 0]), np.exp(logs[:, :, 1])

    def _coef_limits(self, wide: FloatArray, tails: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
        """Of the coefficients' mixture of normals, seen on a grid."""
        low, high = (self.coef_means - 8 * wide).min(axis=0), (self.coef_means + 8 * wide).max(axis=0)
        axis = Axis.between(np.broadcast_to(low, wide.shape), np.broadcast_to(high, wide.shape), 2001)
        mass = norm.pdf((axis.points - self.coef_means[..., None]) / wide[..., None])
        mass /= mass.sum(axis=2, keepdims=True)
        found = [mixture_quantile(self.weights, axis, mass, q) for q in tails]
        return found[0], found[1]

    def survival(self, hours: ArrayLike, x: ArrayLike | None = None) -> FloatArray:
        """Posterior mean survival at ``hours`` broadcast against (G,)."""
        shape, scale = self.draws()
        ratio = 1.0 if x is None else np.exp(np.asarray(x, dtype=float) @ self.coef)
        return np.exp(-((np.asarray(hours, dtype=float) / scale) ** shape) * ratio).mean(axis=0)

    def quantile(self, probability: float, x: ArrayLike | None = None) -> FloatArray:
        """Hours by which the event has happened with that probability, at the estimates (B10 at 0.1), (G,)."""
        ratio = 1.0 if x is None else np.exp(np.asarray(x, dtype=float) @ self.coef)
        return self.quantile_draws(probability, ratio)[0]

    def quantile_draws(self, probability: float, ratio: float | FloatArray = 1.0) -> tuple[FloatArray, FloatArray]:
        """Geometric posterior mean (G,) and draws (size, G) of a quantile in hours."""
        shape, scale = self.draws()
        logs = np.log(scale) + np.log(-np.log1p(-probability) / ratio) / shape
        return np.exp(logs.mean(axis=0)), np.exp(logs)

    def quantile_confint(self, probability: float, level: float = 0.95) -> tuple[FloatArray, FloatArray]:
        """Posterior limits of :meth:`quantile`, each (G,)."""
        values = self.quantile_draws(probability)[1]
        low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2], axis=0)
        return low, high

    def mean_life(self) -> FloatArray:
        """Mean hours to the event at the estimates, (G,)."""
        return self.scale * gamma(1 + 1 / self.shape)


def pool_models(lifetimes: Lifetimes) -> PooledFit:
    """Estimate each model's shape and scale, leaning on the component's other models where its own data are few.

    Parameters
    ----------
    lifetimes : Lifetimes
        One component; ``group`` is the model. n rows, G models (``groups`` may count models without any row), p
        covariates common to the models; hours.

    Returns
    -------
    PooledFit

    Raises
    ------
    ValueError
        If no model has an event: then there is nothing to pool.

    Notes
    -----
    (log shape, log scale) of each model is normal about the component's mean, log shape's mean N(log 1.8, 0.5^2). The
    two spreads (half-normal 0.3 and 0.5) are integrated over a 5 x 5 grid, so that doubt about them reaches every
    interval (the idea of Rue, Martino & Chopin 2009). Laplace's method (Tierney & Kadane 1986) leaves out pairs of
    spreads that count for nothing; at the others every model and the common mean have grids of their own, without a
    likelihood being taken for normal (:mod:`.model_grids`): with few failures its upper tail is far longer. The
    coefficients are held at their mode there, and have Laplace's limits. A model without exposure gets the pooled
    prior.

    Examples
    --------
    >>> rows = Lifetimes(lower=[90, 120, 150, 60, 80, 100], upper=[90, 120, float("inf"), 60, 80, float("inf")],
    ...                  group=[0, 0, 0, 1, 1, 1], groups=3)
    >>> pooled = pool_models(rows)
    >>> pooled.failures.tolist(), bool(pooled.scale[1] < pooled.scale[2] < pooled.scale[0])
    ([2, 2, 0], True)
    >>> round(float(pooled.drawn[2]), 6)
    1.0
    """
    likelihood = WeibullLikelihood(lifetimes)
    if not likelihood.events.any():
        raise ValueError("no event in any group: there is nothing to pool")
    exposed = np.bincount(lifetimes.group, weights=_watched(lifetimes), minlength=likelihood.groups) > 0
    pairs = laplace_pairs(
        likelihood,
        exposed,
        (SHAPE_SPREAD * STEPS, SCALE_SPREAD * STEPS),
        np.array([MEAN_LOG_SHAPE, 0.0]),
        np.array([MEAN_LOG_SHAPE_SD**-2, 0.0]),
        COEF_SD**-2,
    )
    rough = _weights(pairs.spreads, pairs.evidence)
    kept = np.flatnonzero(rough > NEGLIGIBLE * rough.max())
    pairs = pairs.take(kept)
    grids = _grids(likelihood, rough[kept] / rough[kept].sum(), pairs)
    return _pooled(likelihood, _weights(pairs.spreads, grids.evidence), pairs, grids)


def _weights(grid: FloatArray, evidence: FloatArray) -> FloatArray:
    """Posterior weights of the spreads: evidence times half-normal density, on a grid even in the logs."""
    log = evidence + (np.log(grid) - 0.5 * (grid / [SHAPE_SPREAD, SCALE_SPREAD]) ** 2).sum(axis=1)
    weights = np.exp(log - log.max())
    return np.asarray(weights / weights.sum())


def _grids(likelihood: WeibullLikelihood, rough: FloatArray, pairs: LaplacePairs) -> GridPosterior:
    """Every model's posterior at each pair of spreads, the coefficients held at their mean over the pairs."""
    center, reach = pairs.center[..., 0], TABLE * pairs.sd[..., 0]
    surface = ModelSurface(likelihood, rough @ pairs.coef, (center - reach).min(axis=0), (center + reach).max(axis=0))
    middle = np.array([MEAN_LOG_SHAPE, rough @ pairs.mean[:, 1]])
    return grid_posterior(
        surface,
        pairs.spreads,
        middle,
        np.array([MEAN_LOG_SHAPE_SD, MEAN_LOG_SCALE_SD]),
        (pairs.center, pairs.sd),
        (pairs.mean, pairs.mean_sd),
    )


def _watched(rows: Lifetimes) -> FloatArray:
    """What a row observes: hours, or an event."""
    return np.where(rows.exact | rows.interval, 1.0, rows.lower - rows.entry)


def _pooled(likelihood: WeibullLikelihood, weights: FloatArray, pairs: LaplacePairs, grids: GridPosterior) -> PooledFit:
    means, covariances = grids.moments()
    logs = np.einsum("m,mgi->gi", weights, means)
    coef = weights @ pairs.coef
    value = likelihood.evaluate_scale(logs[:, 0], logs[:, 1], np.broadcast_to(coef, (likelihood.groups, coef.size)))[0]
    spreads = weights @ pairs.spreads
    return PooledFit(
        shape=np.exp(logs[:, 0]),
        scale=np.exp(logs[:, 1]),
        coef=coef,
        failures=likelihood.events,
        drawn=weights @ pairs.drawn,
        shape_spread=float(spreads[0]),
        scale_spread=float(spreads[1]),
        log_likelihood=value,
        converged=np.full(likelihood.groups, pairs.converged),
        iterations=pairs.iterations,
        weights=weights,
        means=means,
        covariances=covariances,
        coef_means=pairs.coef,
        coef_covariances=pairs.coef_covariance,
        grids=grids,
    )
