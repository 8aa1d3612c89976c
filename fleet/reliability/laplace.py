"""Rough answers at every pair of spreads between models: some solved by Newton's method, the others in between."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fleet.reliability.arrowhead import ArrowheadMode, solve_arrowhead
from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.likelihood import WeibullLikelihood

#: Five points even in the logs from every other one: by a quadratic through three, and by straight lines.
QUADRATIC = np.array([[1, 0, 0], [0.375, 0.75, -0.125], [0, 1, 0], [-0.125, 0.75, 0.375], [0, 0, 1]])
STRAIGHT = np.array([[1, 0, 0], [0.5, 0.5, 0], [0, 1, 0], [0, 0.5, 0.5], [0, 0, 1]])

PER_PAIR = ("spreads", "center", "sd", "mean", "mean_sd", "coef", "coef_covariance", "drawn", "evidence")


@dataclass(frozen=True)
class LaplacePairs:
    """Laplace's method at M pairs of spreads, for G models and p coefficients.

    Attributes
    ----------
    spreads : ndarray, shape (M, 2)
    center, sd : ndarray, shape (M, G, 2)
        Modes of (log shape, log scale) and their standard deviations.
    mean, mean_sd : ndarray, shape (M, 2)
        Of the common mean.
    coef, coef_covariance : ndarray, shapes (M, p), (M, p, p)
    drawn : ndarray, shape (M, G)
    evidence : ndarray, shape (M,)
    converged : bool
    iterations : int
        Most at any pair.
    """

    spreads: FloatArray
    center: FloatArray
    sd: FloatArray
    mean: FloatArray
    mean_sd: FloatArray
    coef: FloatArray
    coef_covariance: FloatArray
    drawn: FloatArray
    evidence: FloatArray
    converged: bool
    iterations: int

    def take(self, pairs: np.ndarray) -> LaplacePairs:
        """Some of the pairs."""
        parts = {name: getattr(self, name)[pairs] for name in PER_PAIR}
        return replace(self, **parts)


def laplace_pairs(
    likelihood: WeibullLikelihood,
    exposed: np.ndarray,
    spreads: tuple[FloatArray, FloatArray],
    mean: FloatArray,
    precision: FloatArray,
    coef_precision: float,
) -> LaplacePairs:
    """Laplace's method at all pairs of five spreads of log shape and five of log scale, even in their logs.

    Nine pairs are solved (:func:`.arrowhead.solve_arrowhead`); modes and evidence of the other sixteen lie on
    quadratics through them.
    """
    modes: list[ArrowheadMode] = []
    start = None
    for shape_spread in spreads[0][::2]:
        row_start = start
        for scale_spread in spreads[1][::2]:
            spread = np.array([shape_spread, scale_spread])
            mode = solve_arrowhead(likelihood, exposed, spread, mean, precision, coef_precision, row_start)
            row_start = mode
            start = start or mode
            modes.append(mode)

    def between(values: list[FloatArray], table: FloatArray = QUADRATIC) -> FloatArray:
        square = np.array(values).reshape(3, 3, *np.shape(values[0]))
        return np.asarray(np.einsum("ia,jb,ab...->ij...", table, table, square)).reshape(25, *square.shape[2:])

    sd = [np.sqrt(np.einsum("gii->gi", mode.covariance)) for mode in modes]
    border = between([mode.border for mode in modes])
    border_sd = [np.sqrt(np.diag(mode.border_covariance)) for mode in modes]
    return LaplacePairs(
        spreads=np.array([(a, b) for a in spreads[0] for b in spreads[1]]),
        center=between([mode.theta for mode in modes]),
        sd=between(sd, STRAIGHT),
        mean=border[:, :2],
        mean_sd=between(border_sd, STRAIGHT)[:, :2],
        coef=border[:, 2:],
        coef_covariance=between([mode.border_covariance[2:, 2:] for mode in modes], STRAIGHT),
        drawn=between([mode.drawn for mode in modes], STRAIGHT),
        evidence=between([np.array(mode.evidence) for mode in modes]),
        converged=all(mode.converged for mode in modes),
        iterations=max(mode.iterations for mode in modes),
    )
