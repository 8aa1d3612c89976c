"""Wear with two clocks, with normal priors.

log hazard = c + alpha log age + delta log since + x . coef + step of hours since service (+ psi neglect).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array, hstack

from fleet.reliability.lifetimes import FloatArray, IntArray
from fleet.reliability.newton import positive_definite
from fleet.reliability.wear_cells import Cells

#: Normal priors (mean, sd). Most tasks that are worth doing undo wear: hours since service carry most of it.
AGE_PRIOR = (0.1, 0.35)
SINCE_PRIOR = (1.2, 0.9)
NEGLECT_PRIOR = (0.3, 0.5)
COEF_SD = 1.0
CREW_SD = 0.35
MODEL_LEVEL_SD = 0.5
MODEL_SINCE_SD = 0.25
#: Steps of hours since service, in eighths of the manual's interval and one beyond it, and how far they may stray from
#: the power of hours since service.
BINS = 8
BIN_SD = 0.1


@dataclass(frozen=True)
class Layout:
    """Where each parameter stands in the vector: level, age, since, coefficients, crews, models, [neglect]."""

    width: int
    crews: int
    models: int
    neglect: bool

    @property
    def size(self) -> int:
        """Number of parameters."""
        models = 2 * self.models if self.models > 1 else 0
        return 3 + self.width + (self.crews if self.crews > 1 else 0) + models + BINS + 1 + int(self.neglect)

    def design(self, cells: Cells, reference: FloatArray) -> csr_array:
        """Design matrix (c, P), about ten entries a row; clocks in the model's reference hours."""
        scale = np.log(reference[cells.group])
        since = np.log(cells.since) - scale
        ones = np.ones_like(since)
        parts = [csr_array(np.column_stack([ones, np.log(cells.age) - scale, since, cells.covariates]))]
        if self.crews > 1:
            parts.append(_indicators(cells.crew, self.crews, ones))
        if self.models > 1:
            parts += [_indicators(cells.group, self.models, values) for values in (ones, since)]
        number = np.minimum((cells.since / reference[cells.group] * BINS).astype(np.int64), BINS)
        parts.append(_indicators(number, BINS + 1, ones))
        if self.neglect:
            parts.append(csr_array(cells.neglect[:, None]))
        return csr_array(hstack(parts, format="csr"))

    def prior(self, level: float) -> tuple[FloatArray, FloatArray]:
        """Means and standard deviations."""
        mean = [level, AGE_PRIOR[0], SINCE_PRIOR[0], *[0.0] * self.width]
        sd = [3.0, AGE_PRIOR[1], SINCE_PRIOR[1], *[COEF_SD] * self.width]
        if self.crews > 1:
            mean += [0.0] * self.crews
            sd += [CREW_SD] * self.crews
        if self.models > 1:
            mean += [0.0] * (2 * self.models)
            sd += [MODEL_LEVEL_SD] * self.models + [MODEL_SINCE_SD] * self.models
        mean += [0.0] * (BINS + 1)
        sd += [BIN_SD] * (BINS + 1)
        if self.neglect:
            mean.append(NEGLECT_PRIOR[0])
            sd.append(NEGLECT_PRIOR[1])
        return np.array(mean), np.array(sd)

    def reading(self, group: int, x: FloatArray, crews: FloatArray) -> FloatArray:
        """Matrix (4 + BINS, P) reading (level at x, age, since and neglect powers, bins' log factors) of one model.

        The level is that of its crews by their share of the hours, ``crews`` (C,).
        """
        matrix = np.zeros((4 + BINS, self.size))
        matrix[0, 0] = matrix[1, 1] = matrix[2, 2] = 1.0
        matrix[0, 3 : 3 + self.width] = x
        at = 3 + self.width
        if self.crews > 1:
            matrix[0, at : at + self.crews] = crews
            at += self.crews
        if self.models > 1:
            matrix[0, at + group] = 1.0
            matrix[2, at + self.models + group] = 1.0
            at += 2 * self.models
        matrix[4 + np.arange(BINS), at + np.arange(BINS)] = 1.0
        if self.neglect:
            matrix[3, -1] = 1.0
        return matrix


@dataclass(frozen=True)
class WearFit:
    """Normal approximation to the posterior of the parameters, and the cells' expected events."""

    layout: Layout
    mean: FloatArray
    covariance: FloatArray
    evidence: float
    expected: FloatArray
    shares: FloatArray
    converged: bool


def fit_wear(
    cells: Cells, reference: FloatArray, crews: int, *, neglect: bool, start: FloatArray | None = None
) -> WearFit:
    """Posterior mode by Newton's method and its evidence by Laplace's.

    Parameters
    ----------
    cells : Cells
    reference : ndarray, shape (G,)
        Hours in which each model's clocks are measured (the manual's interval).
    crews : int
    neglect : bool
        With the term for past neglect.
    start : ndarray, optional
        Where to begin: the parameters found without that term, or the prior's means.

    Returns
    -------
    WearFit
        ``shares`` (c,): the part of an observed event that falls into each cell (events found by looking are spread
        over their interval as the fit expects).
    """
    layout = Layout(cells.covariates.shape[1], crews, reference.size, neglect)
    x = layout.design(cells, reference)
    plain = cells.looked < 0
    count = cells.events.sum() + np.unique(cells.looked[~plain]).size
    mean, sd = layout.prior(float(np.log(max(count, 0.5) / cells.hours.sum())))
    precision = 1.0 / sd**2
    gather = _gather(cells.looked)
    square = _Squares(x)
    beta = mean.copy()
    if start is not None:
        beta[: start.size] = start

    def evaluate(beta: FloatArray) -> tuple[float, FloatArray, FloatArray, FloatArray, FloatArray]:
        mu = cells.hours * np.exp(np.minimum(x @ beta, 50.0))
        exposed = np.where(plain, mu, 0.0)
        value = float(cells.events @ (x @ beta) - exposed.sum() - 0.5 * precision @ (beta - mean) ** 2)
        gradient = x.T @ (cells.events - exposed) - precision * (beta - mean)
        weight = exposed
        share = cells.events
        if gather is not None:
            mass = np.maximum(gather @ mu, 1e-300)
            ratio = 1.0 / np.expm1(np.minimum(mass, 500.0))
            value += float(np.log(-np.expm1(-mass)).sum())
            slope = (gather @ x.multiply(mu[:, None]).tocsr()).toarray()
            gradient = gradient + slope.T @ ratio
            inside = np.where(plain, 0.0, mu * ratio[np.maximum(cells.looked, 0)])
            weight = exposed - inside
            share = share + np.where(plain, 0.0, mu / mass[np.maximum(cells.looked, 0)])
            hessian = square.weighted(weight) + slope.T @ ((ratio * (1 + ratio))[:, None] * slope)
        else:
            hessian = square.weighted(weight)
        return value, gradient, hessian + np.diag(precision), mu, share

    value, gradient, hessian, mu, share = evaluate(beta)
    converged = False
    for _ in range(60):
        step = np.linalg.solve(_definite(hessian), gradient)
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        gain = float(gradient @ step)
        for _half in range(25):
            new = evaluate(beta + step)
            if new[0] >= value - 1e-10 * (1 + abs(value)):
                break
            step /= 2
        beta = beta + step
        value, gradient, hessian, mu, share = new
        if gain < 1e-9:
            converged = True
            break
    safe = _definite(hessian)
    evidence = value + 0.5 * float(np.log(precision).sum()) - 0.5 * float(np.linalg.slogdet(safe)[1])
    return WearFit(layout, beta, np.linalg.inv(safe), evidence, mu, share, converged)


def _indicators(code: IntArray, count: int, values: FloatArray) -> csr_array:
    """Matrix (c, count) with each row's value in the column of its code."""
    return csr_array((values, code, np.arange(code.size + 1)), shape=(code.size, count))


class _Squares:
    """x' diag(weight) x for many weights. Columns filled throughout are multiplied as they are; of the rest, where a
    row has an entry or two a block, the products of each row's entries are worked out once."""

    def __init__(self, x: csr_array):
        rows, self.size = x.shape
        filled = 2 * np.bincount(x.indices, minlength=self.size) > rows
        self.full, self.rest = np.flatnonzero(filled), np.flatnonzero(~filled)
        self.columns, self.sparse = x[:, self.full].toarray(), csr_array(x[:, self.rest])
        entries = np.diff(self.sparse.indptr)
        width = int(entries.max(initial=0))
        place = np.arange(self.sparse.indices.size) - np.repeat(self.sparse.indptr[:-1], entries)
        row = np.repeat(np.arange(rows), entries)
        column, value = np.zeros((rows, width), dtype=np.int32), np.zeros((rows, width))
        column[row, place], value[row, place] = self.sparse.indices, self.sparse.data
        i, j = np.triu_indices(width)
        cell = np.minimum(column[:, i], column[:, j]) * self.rest.size + np.maximum(column[:, i], column[:, j])
        pairs = csr_array(
            ((value[:, i] * value[:, j]).ravel(), cell.ravel(), np.arange(rows + 1) * i.size),
            shape=(rows, self.rest.size**2),
        )
        self.pairs = pairs.T

    def weighted(self, weight: FloatArray) -> FloatArray:
        """The product, shape (P, P)."""
        product = np.empty((self.size, self.size))
        weighted = weight[:, None] * self.columns
        product[np.ix_(self.full, self.full)] = self.columns.T @ weighted
        across = self.sparse.T @ weighted
        product[np.ix_(self.rest, self.full)] = across
        product[np.ix_(self.full, self.rest)] = across.T
        upper = np.asarray(self.pairs @ weight).reshape(self.rest.size, self.rest.size)
        product[np.ix_(self.rest, self.rest)] = upper + upper.T - np.diag(np.diag(upper))
        return product


def _definite(hessian: FloatArray) -> FloatArray:
    """The matrix itself where it is positive definite, else with its eigenvalues made so."""
    try:
        np.linalg.cholesky(hessian)
    except np.linalg.LinAlgError:
        return positive_definite(hessian[None])[0]
    return hessian


def _gather(looked: IntArray) -> csr_array | None:
    inside = np.flatnonzero(looked >= 0)
    if not inside.size:
        return None
    shape = (int(looked.max()) + 1, looked.size)
    return csr_array((np.ones(inside.size), (looked[inside], inside)), shape=shape)
