"""Models borrow strength from each other: shape and scale of each model vary about the component's mean."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import elementwise
from scipy.special import gamma, ndtr
from scipy.stats import norm, qmc

from fleet.reliability.arrowhead import ArrowheadMode, solve_arrowhead
from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.likelihood import WeibullLikelihood
from fleet.reliability.moments import propagate

#: Prior of the mean log shape over models, and half-normal scales of the spreads of log shape and log scale.
MEAN_LOG_SHAPE, MEAN_LOG_SHAPE_SD = float(np.log(1.8)), 0.5
SHAPE_SPREAD, SCALE_SPREAD = 0.3, 0.5
#: Nearly flat: the mean log scale lies within e^5 of where the data put it.
MEAN_LOG_SCALE_SD = 5.0
COEF_SD = 1.0
#: Spreads that are integrated over, as multiples of their scales.
STEPS = np.geomspace(0.12, 2.6, 5)
#: Grid points whose weight by Laplace's method is below this share of the best are left out.
NEGLIGIBLE = 1e-4


@dataclass(frozen=True)
class PooledFit:
    """Posterior of every model from :func:`pool_models`: a mixture of normals in (log shape, log scale).

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

    def confint(self, level: float = 0.95) -> dict[str, tuple[FloatArray, FloatArray]]:
        """Equal-tailed posterior limits {"shape": (low, high), "scale": ...[, "coef": ...]}, (G,) and (p,)."""
        spread = np.sqrt(np.einsum("mgii->mgi", self.covariances))
        tails = ((1 - level) / 2, (1 + level) / 2)
        limits = {}
        for j, name in enumerate(("shape", "scale")):
            low, high = (_mixture_quantile(self.weights, self.means[:, :, j], spread[:, :, j], q) for q in tails)
            limits[name] = (np.exp(low), np.exp(high))
        if self.coef.size:
            wide = np.sqrt(np.einsum("mii->mi", self.coef_covariances))
            low, high = (_mixture_quantile(self.weights, self.coef_means, wide, q) for q in tails)
            limits["coef"] = (low, high)
        return limits

    def draws(self, size: int = 1024) -> tuple[FloatArray, FloatArray]:
        """Equally likely (shape, scale), each of shape (size, G): a fixed low-discrepancy set, the same every time.

        Each model's draws are right by themselves; they do not say how two models' doubts go together.
        """
        point = qmc.Sobol(3, scramble=True, rng=np.random.default_rng(20)).random(size)
        order = np.argsort(point[:, 0])
        edges = np.cumsum(self.weights)
        part = np.minimum(np.searchsorted(edges, (np.arange(size) + 0.5) / size), self.weights.size - 1)
        z = norm.ppf(point[order, 1:])
        root = np.linalg.cholesky(self.covariances + 1e-14 * np.eye(2))
        logs = self.means[part] + np.einsum("sgij,sj->sgi", root[part], z)
        return np.exp(logs[:, :, 0]), np.exp(logs[:, :, 1])

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
    (log shape, log scale) of each model is normal about the component's mean, log shape's mean N(log 1.8, 0.5^2).
    The two
    spreads (half-normal 0.3 and 0.5) are integrated over a 5 x 5 grid with weights from the Laplace approximation to
    the
    marginal likelihood (Tierney & Kadane 1986; the idea of Rue, Martino & Chopin 2009), so that doubt about them
    reaches
    every interval. At each grid point one Newton iteration solves all models and the means. A model without exposure
    gets
    the pooled prior.

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
    found: list[tuple[float, float, ArrowheadMode]] = []
    start = None
    for shape_spread in SHAPE_SPREAD * STEPS:
        row_start = start
        for scale_spread in SCALE_SPREAD * STEPS[::-1]:
            mode = solve_arrowhead(
                likelihood,
                exposed,
                np.array([shape_spread, scale_spread]),
                np.array([MEAN_LOG_SHAPE, 0.0]),
                np.array([MEAN_LOG_SHAPE_SD**-2, 0.0]),
                COEF_SD**-2,
                row_start,
            )
            row_start = mode
            start = start or mode
            found.append((shape_spread, scale_spread, mode))
    grid = np.array([(a, b) for a, b, _ in found])
    rough = _weights(grid, [mode for _, _, mode in found])
    kept = np.flatnonzero(rough > NEGLIGIBLE * rough.max())
    modes = _refined(likelihood, exposed, grid[kept], [found[i][2] for i in kept])
    return _pooled(likelihood, _weights(grid[kept], modes), grid[kept], modes)


def _weights(grid: FloatArray, modes: list[ArrowheadMode]) -> FloatArray:
    """Posterior weights of the spreads: evidence times half-normal density, on a grid even in the logs."""
    evidence = np.array([mode.evidence for mode in modes])
    evidence += (np.log(grid) - 0.5 * (grid / [SHAPE_SPREAD, SCALE_SPREAD]) ** 2).sum(axis=1)
    weights = np.exp(evidence - evidence.max())
    return weights / weights.sum()


def _refined(
    likelihood: WeibullLikelihood, exposed: np.ndarray, spreads: FloatArray, modes: list[ArrowheadMode]
) -> list[ArrowheadMode]:
    """Laplace's answers with the moments and the evidence improved by expectation propagation.

    Where a model's own likelihood is so narrow that no node but one counts, there is nothing to improve.
    """
    border = np.stack([mode.border for mode in modes])
    try:
        with np.errstate(divide="ignore", invalid="ignore"):
            moments = propagate(
                likelihood,
                exposed,
                spreads,
                np.column_stack([np.full(len(modes), MEAN_LOG_SHAPE), border[:, 1]]),
                np.array([MEAN_LOG_SHAPE_SD**-2, MEAN_LOG_SCALE_SD**-2]),
                border[:, 2:],
                np.stack([mode.theta for mode in modes]),
                np.stack([mode.covariance for mode in modes]),
            )
    except np.linalg.LinAlgError:
        if len(modes) == 1:
            return modes
        one_by_one = (_refined(likelihood, exposed, spreads[i : i + 1], modes[i : i + 1]) for i in range(len(modes)))
        return [mode for found in one_by_one for mode in found]
    return [
        replace(mode, theta=mean, covariance=covariance, evidence=float(evidence))
        for mode, mean, covariance, evidence in zip(
            modes, moments.mean, moments.covariance, moments.evidence, strict=True
        )
    ]


def _watched(rows: Lifetimes) -> FloatArray:
    """What a row observes: hours, or an event."""
    return np.where(rows.exact | rows.interval, 1.0, rows.lower - rows.entry)


def _pooled(
    likelihood: WeibullLikelihood, weights: FloatArray, grid: FloatArray, modes: list[ArrowheadMode]
) -> PooledFit:
    means = np.stack([mode.theta for mode in modes])
    logs = np.einsum("m,mgi->gi", weights, means)
    coefs = np.stack([mode.border[2:] for mode in modes])
    coef = weights @ coefs
    drawn = np.einsum("m,mg->g", weights, np.stack([mode.drawn for mode in modes]))
    value = likelihood.evaluate_scale(logs[:, 0], logs[:, 1], np.broadcast_to(coef, (likelihood.groups, coef.size)))[0]
    fine = all(mode.converged for mode, weight in zip(modes, weights, strict=True) if weight > 1e-6)
    spreads = weights @ grid
    return PooledFit(
        shape=np.exp(logs[:, 0]),
        scale=np.exp(logs[:, 1]),
        coef=coef,
        failures=likelihood.events,
        drawn=drawn,
        shape_spread=float(spreads[0]),
        scale_spread=float(spreads[1]),
        log_likelihood=value,
        converged=np.full(likelihood.groups, fine),
        iterations=max(mode.iterations for mode in modes),
        weights=weights,
        means=means,
        covariances=np.stack([mode.covariance for mode in modes]),
        coef_means=coefs,
        coef_covariances=np.stack([mode.border_covariance[2:, 2:] for mode in modes]),
    )


def _mixture_quantile(weights: FloatArray, mean: FloatArray, spread: FloatArray, probability: float) -> FloatArray:
    """Quantile of a mixture of normals, component arrays (M, G) -> (G,)."""
    wide = np.maximum(spread, 1e-12)
    z = norm.ppf(probability)
    ends = mean + z * wide
    low, high = ends.min(axis=0) - 1e-9, ends.max(axis=0) + 1e-9

    def short(x: FloatArray, index: FloatArray) -> FloatArray:
        g = index.astype(int)
        return (weights[:, None] * ndtr((x[None, :] - mean[:, g]) / wide[:, g])).sum(axis=0) - probability

    found = elementwise.find_root(short, (low, high), args=(np.arange(mean.shape[1], dtype=float),))
    return np.asarray(found.x)
