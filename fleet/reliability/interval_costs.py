"""Cost per hour of service intervals under a wear model with two clocks (for :mod:`.intervals`)."""

from __future__ import annotations

import numpy as np

from fleet.reliability.lifetimes import FloatArray, IntArray
from fleet.reliability.wear import BINS
from fleet.reliability.wear_cells import SHORTEST

#: Steps within a cycle whose hazard is followed in detail: the first ones, where age changes fast, and the last.
STEPS = 16
DETAILED = 3
#: Later cycles are taken together in at most this many runs of alike ones.
RUNS = 10
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


def interval_costs(
    draws: FloatArray, manual: float, shares: FloatArray, planned: float, failure: float, horizon: float
) -> tuple[FloatArray, FloatArray]:
    """Cost per hour and chance of a failure between services, for every draw and candidate.

    Parameters
    ----------
    draws : ndarray, shape (D, 4 + BINS)
        Level, age, since and neglect powers with clocks in units of ``manual``; then the bins' factors.
    manual : float, hours
    shares : ndarray, shape (m,)
        Candidate intervals as shares of the manual's.
    planned, failure, horizon : float

    Returns
    -------
    rates, risks : ndarray, shape (D, m)
    """
    columns = [_one_interval(draws, manual, float(share), planned, failure, horizon) for share in shares]
    return np.column_stack([rate for rate, _ in columns]), np.column_stack([risk for _, risk in columns])


def _one_interval(
    draws: FloatArray, manual: float, share: float, planned: float, failure: float, horizon: float
) -> tuple[FloatArray, FloatArray]:
    count = draws.shape[0]
    end, youngest = horizon / manual, SHORTEST / manual
    cycles = max(int(np.ceil(end / share - 1e-9)), 1)
    rest = end - (cycles - 1) * share
    edges = np.arange(STEPS + 1) / STEPS
    middle = 0.5 * (edges[1:] + edges[:-1])
    wear = manual * _wear(draws, np.concatenate([edges * share, _NODES * share, edges * rest]), youngest)
    whole, within = wear[:, STEPS : STEPS + 1], wear[:, STEPS + 1 : STEPS + 5]
    by_age, by_neglect = draws[:, 1:2], draws[:, 3:4]
    steady = not (by_age.any() or by_neglect.any())

    def slow(cycle: float | IntArray | FloatArray, since: FloatArray) -> FloatArray:
        """Factor of age and past neglect at hours since service in the given cycle."""
        age = cycle * share + since
        past = (cycle * share**3 + since**3) / 3
        neglect = np.log((3 * past + 1) / (age + 1))
        return np.exp(by_age * np.log(np.maximum(age, youngest)) + by_neglect * neglect)

    alive: FloatArray = np.ones((count, 1))
    lived: FloatArray = np.zeros((count, 1))
    services: FloatArray = np.zeros((count, 1))
    first = 0 if steady else min(DETAILED, cycles - 1)
    steps = np.diff(wear[:, : STEPS + 1], axis=1)
    for cycle in range(first):
        alive, hours = _follow(alive, steps * slow(cycle, middle * share), share)
        lived, services = lived + hours, services + alive
    if cycles - 1 > first:
        start, size = _runs(first, cycles - 1, steady)
        place = within / np.maximum(whole, 1e-300)
        # Where within a cycle its wear falls on average: there age is read.
        lean = share * (1.0 - place @ _WEIGHTS[:, None])
        each = whole if steady else whole * slow(start + (size - 1) / 2, lean)
        passed = np.cumsum(each * size, axis=1)
        at_start = alive * np.exp(-(passed - each * size))
        # A run of cycles with one hazard is a geometric series.
        series = np.where(each > 1e-9, np.expm1(-each * size) / np.minimum(np.expm1(-each), -1e-300), size)
        area = sum(w * np.exp(-each * place[:, i : i + 1]) for i, w in enumerate(_WEIGHTS))
        lived = lived + share * (at_start * series * area).sum(axis=1, keepdims=True)
        services = services + (at_start * np.exp(-each) * series).sum(axis=1, keepdims=True)
        alive = alive * np.exp(-passed[:, -1:])
    last = np.diff(wear[:, STEPS + 5 :], axis=1)
    alive, hours = _follow(alive, last if steady else last * slow(cycles - 1, middle * rest), rest)
    failed = 1.0 - alive[:, 0]
    rate = (failure * failed + planned * services[:, 0]) / ((lived + hours)[:, 0] * manual)
    return rate, failed / (1.0 + services[:, 0])


def _follow(alive: FloatArray, hazard: FloatArray, width: float) -> tuple[FloatArray, FloatArray]:
    """Survival at the end of a cycle, and hours lived in it, with the hazard constant within each step (D, steps)."""
    passed = np.cumsum(hazard, axis=1)
    before = alive * np.exp(-(passed - hazard))
    mean = np.where(hazard > 1e-6, -np.expm1(-hazard) / np.maximum(hazard, 1e-300), 1.0 - 0.5 * hazard)
    return alive * np.exp(-passed[:, -1:]), (before * mean).sum(axis=1, keepdims=True) * width / hazard.shape[1]


def _runs(first: int, last: int, steady: bool) -> tuple[IntArray, IntArray]:
    """First cycle and number of cycles of every run, each run about as much longer as its components are older."""
    if steady:
        return np.array([first]), np.array([last - first])
    parts = np.geomspace(first, last, RUNS + 1)
    cuts = np.unique(np.round(parts).astype(np.int64))
    return cuts[:-1], np.diff(cuts)


def _wear(draws: FloatArray, since: FloatArray, youngest: float) -> FloatArray:
    """Hazard summed over hours since service up to ``since`` (m,), without age and neglect: (D, m)."""
    power = np.maximum(draws[:, 2:3], -0.95) + 1.0
    factor = np.exp(draws[:, 4:])

    def mass(hours: FloatArray) -> FloatArray:
        # Clocks shorter than the youngest count as that, as in the fit.
        flat = youngest ** (power - 1) * np.minimum(hours, youngest)
        return flat + (np.maximum(hours, youngest) ** power - youngest**power) / power

    edges = mass(np.arange(BINS) / BINS)
    before = np.zeros_like(edges)
    np.cumsum(factor[:, :-1] * np.diff(edges, axis=1), axis=1, out=before[:, 1:])
    number = np.minimum((since * BINS).astype(np.int64), BINS - 1)
    return np.exp(draws[:, :1]) * (before[:, number] + factor[:, number] * (mass(since) - edges[:, number]))
