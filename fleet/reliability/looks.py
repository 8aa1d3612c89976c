"""Survival from looks: the event is only known to lie between two of them."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.reliability.lifetimes import FloatArray, Lifetimes


@dataclass(frozen=True)
class TurnbullCurve:
    """Masses on intervals, from :func:`turnbull`.

    Attributes
    ----------
    left, right : ndarray, shape (m,), engine hours
        The intervals that carry mass; where within one the mass lies cannot be known. The last may end at inf.
    mass : ndarray, shape (m,)
        Adds up to 1.
    log_likelihood : float
    converged : bool
    iterations : int
    """

    left: FloatArray
    right: FloatArray
    mass: FloatArray
    log_likelihood: float
    converged: bool
    iterations: int

    @property
    def survival(self) -> FloatArray:
        """Survival just after each interval, shape (m,)."""
        return np.maximum(1.0 - np.cumsum(self.mass), 0.0)

    def limits(self, hours: ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Lowest and highest survival at ``hours`` that the masses allow (equal outside the intervals)."""
        at = np.asarray(hours, dtype=float)[..., None]
        high = 1.0 - (self.mass * (self.right <= at)).sum(axis=-1)
        low = 1.0 - (self.mass * ((self.left < at) & (at > 0))).sum(axis=-1)
        return np.maximum(np.minimum(low, high), 0.0), np.maximum(high, 0.0)


def turnbull(
    lifetimes: Lifetimes, *, group: int = 0, tolerance: float = 1e-10, max_iterations: int = 20_000
) -> TurnbullCurve:
    """Survival without a model from exact, left-, right- and interval-censored rows with delayed entry.

    Parameters
    ----------
    lifetimes : Lifetimes
        Covariates and spells are ignored; hours.
    group : int
        Which group's rows.
    tolerance : float
        On the optimality condition: no interval's derivative of the mean log-likelihood exceeds 1 by more.
    max_iterations : int

    Returns
    -------
    TurnbullCurve

    Raises
    ------
    ValueError
        If the group has no row that observes anything.

    Notes
    -----
    Self-consistency of Turnbull (1976), JRSS B 38:290-295, with the steps lengthened by extrapolation (Varadhan &
    Roland
    2008). Mass can only lie on innermost intervals: a left end followed by a right end with no other end between.

    Examples
    --------
    Cracks found at looks after 1, 2 and 3 years, 100 tubes at each of three plants:

    >>> curve = turnbull(Lifetimes(
    ...     lower=[0] * 4 + [1] * 5 + [2] * 2 + [1] * 99 + [2] * 95 + [3] * 95,
    ...     upper=[1] * 4 + [2] * 5 + [3] * 2 + [float("inf")] * 289))
    >>> (1 - curve.survival[:3]).round(4).tolist()
    [0.0133, 0.0384, 0.0582]
    """
    rows = lifetimes.take(
        (lifetimes.group == group) & ~((lifetimes.lower == lifetimes.entry) & np.isinf(lifetimes.upper))
    )
    if not rows.size:
        raise ValueError(f"group {group} has no row that observes anything")
    left, right = _innermost(rows)
    inside, known, counts = _incidence(rows, left, right)
    mass = np.full(left.size, 1.0 / left.size)
    converged, count = False, 0
    total = counts.sum()
    while count < max_iterations and not converged:
        first = _consistent(mass, inside, known, counts)
        second = _consistent(first, inside, known, counts)
        count += 2
        step, bend = first - mass, second - 2 * first + mass
        size = float(np.sqrt((bend**2).sum()))
        length = -max(1.0, float(np.sqrt((step**2).sum())) / size) if size > 1e-300 else -1.0
        jump = mass - 2 * length * step + length**2 * bend
        if (jump > 0).all() and _log_likelihood(jump, inside, known, counts) > _log_likelihood(
            second, inside, known, counts
        ):
            mass = jump / jump.sum()
        else:
            mass = second
        gradient = _gradient(mass, inside, known, counts) / total
        converged = bool(np.max(gradient) < tolerance and np.max(np.abs(gradient) * mass) < tolerance)
    value = _log_likelihood(mass, inside, known, counts)
    return TurnbullCurve(left, right, mass, value, converged, count)


def _innermost(rows: Lifetimes) -> tuple[FloatArray, FloatArray]:
    """Innermost intervals (left, right]: an exact event at t is the interval [t, t]."""
    exact = rows.exact
    # Order at equal hours: right ends (2), then exact points opening and closing (0, 1 shifted), then left ends (3).
    ends = [(hours, 3, 0) for hours in np.unique(rows.lower[~exact])]
    ends += [(hours, 2, 1) for hours in np.unique(np.concatenate([rows.upper[~exact], rows.entry[rows.entry > 0]]))]
    for hours in np.unique(rows.lower[exact]):
        ends += [(hours, 0, 0), (hours, 1, 1)]
    ends.sort()
    left, right = [], []
    for before, after in itertools.pairwise(ends):
        if before[2] == 0 and after[2] == 1:
            left.append(before[0])
            right.append(after[0])
    return np.array(left), np.array(right)


def _incidence(rows: Lifetimes, left: FloatArray, right: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Which intervals each distinct row's event, and its entry, allow; and how many rows are alike."""
    table, counts = np.unique(np.column_stack([rows.lower, rows.upper, rows.entry]), axis=0, return_counts=True)
    lower, upper, entry = table.T[:, :, None]
    point = left == right
    inside = np.where(point, (left > lower) | ((lower == upper) & (left == lower)), left >= lower) & (right <= upper)
    known = np.where(point, left > entry, left >= entry)
    return inside.astype(float), known.astype(float), counts.astype(float)


def _consistent(mass: FloatArray, inside: FloatArray, known: FloatArray, counts: FloatArray) -> FloatArray:
    seen = (counts / (inside @ mass)) @ inside * mass
    behind = known @ mass
    unseen = (counts / behind) @ (1.0 - known) * mass
    new = seen + unseen
    return new / new.sum()


def _gradient(mass: FloatArray, inside: FloatArray, known: FloatArray, counts: FloatArray) -> FloatArray:
    return (counts / (inside @ mass)) @ inside - (counts / (known @ mass)) @ known


def _log_likelihood(mass: FloatArray, inside: FloatArray, known: FloatArray, counts: FloatArray) -> float:
    return float(counts @ (np.log(inside @ mass) - np.log(known @ mass)))
