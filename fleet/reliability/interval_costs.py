"""Cost per hour of service intervals under a wear model with two clocks (for :mod:`.intervals`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.reliability.lifetimes import FloatArray, IntArray
from fleet.reliability.wear import BINS
from fleet.reliability.wear_cells import SHORTEST

#: Steps within a cycle whose hazard is followed in detail: the first ones, where age changes fast, and the last.
STEPS = 8
DETAILED = 3
#: Later cycles are taken together in at most this many runs of alike ones.
RUNS = 8
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(4)
_NODES, _WEIGHTS = (_NODES + 1) / 2, _WEIGHTS / 2


@dataclass(frozen=True)
class IntervalLives:
    """What a life under each interval comes to, before anyone's prices; arrays over draws and candidates (D, m).

    Attributes
    ----------
    failed : ndarray
        Probability of a failure before the horizon; it ends the count.
    services : ndarray
        Expected number of services before it.
    hours : ndarray
        Expected engine hours lived.
    """

    failed: FloatArray
    services: FloatArray
    hours: FloatArray

    def rates(self, planned: float, failure: float) -> FloatArray:
        """Cost per hour (D, m) at what a service and a failure cost."""
        return np.asarray((failure * self.failed + planned * self.services) / self.hours)

    def risks(self) -> FloatArray:
        """Chance of a failure between services (D, m)."""
        return np.asarray(self.failed / (1.0 + self.services))


def interval_costs(
    draws: FloatArray, manual: float, shares: FloatArray, planned: float, failure: float, horizon: float
) -> tuple[FloatArray, FloatArray]:
    """Cost per hour and chance of a failure between services, for every draw and candidate.

    Parameters
    ----------
    draws, manual, shares, horizon
        As for :func:`interval_lives`.
    planned, failure : float
        Of one service and of one failure.

    Returns
    -------
    rates, risks : ndarray, shape (D, m)
    """
    lives = interval_lives(draws, manual, shares, horizon)
    return lives.rates(planned, failure), lives.risks()


def interval_lives(draws: FloatArray, manual: float, shares: FloatArray, horizon: float) -> IntervalLives:
    """Live through every candidate interval up to the horizon, all draws and candidates at once.

    Parameters
    ----------
    draws : ndarray, shape (D, 4 + BINS)
        Level, age, since and neglect powers with clocks in units of ``manual``; then the bins' factors.
    manual, horizon : float, hours
    shares : ndarray, shape (m,)
        Candidate intervals as shares of the manual's.

    Returns
    -------
    IntervalLives
    """
    end, youngest = horizon / manual, SHORTEST / manual
    cycles = np.maximum(np.ceil(end / shares - 1e-9).astype(np.int64), 1)
    rest = end - (cycles - 1) * shares
    edges = np.arange(STEPS + 1) / STEPS
    middle = 0.5 * (edges[1:] + edges[:-1])
    wear = manual * _wear(
        draws, np.concatenate([np.outer(shares, edges), np.outer(shares, _NODES), np.outer(rest, edges)], axis=1),
        youngest,
    )  # fmt: skip
    whole, within = wear[:, :, STEPS : STEPS + 1], wear[:, :, STEPS + 1 : STEPS + 5]
    by_age, by_neglect = draws[:, 1, None, None], draws[:, 3, None, None]
    width = shares[:, None]

    def slow(cycle: IntArray | FloatArray, since: FloatArray) -> FloatArray:
        """Factor of age and past neglect at hours since service in the given cycle."""
        age = cycle * width + since
        past = (cycle * width**3 + since**3) / 3
        neglect = np.log((3 * past + 1) / (age + 1))
        return np.exp(by_age * np.log(np.maximum(age, youngest)) + by_neglect * neglect)

    alive: FloatArray = np.ones(wear.shape[:2])
    hours: FloatArray = np.zeros(wear.shape[:2])
    services: FloatArray = np.zeros(wear.shape[:2])
    steps = np.diff(wear[:, :, : STEPS + 1], axis=2)
    for cycle in range(DETAILED):
        on = cycles - 1 > cycle
        if not on.any():
            break
        after, lived = _follow(alive, steps * slow(np.array(cycle), middle * width), shares)
        alive = np.where(on, after, alive)
        hours += np.where(on, lived, 0.0)
        services += np.where(on, after, 0.0)
    if (cycles - 1 > DETAILED).any():
        start, size = _runs(cycles)
        place = within / np.maximum(whole, 1e-300)
        # Where within a cycle its wear falls on average: there age is read.
        lean = width * (1.0 - place @ _WEIGHTS[:, None])
        each = whole * slow(start + (size - 1) / 2, lean)
        passed = np.cumsum(each * size, axis=2)
        at_start = alive[:, :, None] * np.exp(each * size - passed)
        # A run of cycles with one hazard is a geometric series.
        through = np.exp(-each)
        series = np.where(each > 1e-9, np.expm1(-each * size) / np.minimum(np.expm1(-each), -1e-300), size)
        area = sum(w * np.exp(-each * place[:, :, i : i + 1]) for i, w in enumerate(_WEIGHTS))
        hours += shares * (at_start * series * area).sum(axis=2)
        services += (at_start * through * series).sum(axis=2)
        alive = alive * np.exp(-passed[:, :, -1])
    last = np.diff(wear[:, :, STEPS + 5 :], axis=2)
    alive, lived = _follow(alive, last * slow(cycles[:, None] - 1, middle * rest[:, None]), rest)
    return IntervalLives(1.0 - alive, services, (hours + lived) * manual)


def _follow(alive: FloatArray, hazard: FloatArray, width: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Survival at the end of a cycle, and hours lived in it, the hazard (D, m, steps) constant in each step."""
    after = np.exp(-np.cumsum(hazard, axis=2))
    before = np.concatenate([np.ones_like(after[:, :, :1]), after[:, :, :-1]], axis=2)
    # Within a step survival falls off exponentially: its mean is the fall over the hazard.
    mean = np.where(hazard > 1e-6, (before - after) / np.maximum(hazard, 1e-300), before)
    return alive * after[:, :, -1], alive * mean.sum(axis=2) * width / hazard.shape[2]


def _runs(cycles: IntArray) -> tuple[IntArray, IntArray]:
    """First cycle and number of cycles of every run (m, RUNS), each about as much longer as its components are older.

    They begin after the cycles followed in detail and end before the last; a candidate with fewer has empty runs.
    """
    last = np.maximum(cycles - 1, DETAILED).astype(float)
    parts = DETAILED * (last[:, None] / DETAILED) ** (np.arange(RUNS + 1) / RUNS)
    cuts = np.round(parts).astype(np.int64)
    return cuts[:, :-1], np.diff(cuts, axis=1)


def _wear(draws: FloatArray, since: FloatArray, youngest: float) -> FloatArray:
    """Hazard summed over hours since service up to ``since`` (m, k), without age and neglect: (D, m, k)."""
    power = np.maximum(draws[:, 2, None, None], -0.95) + 1.0
    factor = np.exp(draws[:, 4:])
    floor = np.exp(power * np.log(youngest))

    def mass(hours: FloatArray) -> FloatArray:
        # Clocks shorter than the youngest count as that, as in the fit.
        grown = (np.exp(power * np.log(np.maximum(hours, youngest))) - floor) / power
        return grown + floor / youngest * np.minimum(hours, youngest)

    edges = mass(np.arange(BINS)[None, :] / BINS)[:, 0]
    before = np.zeros_like(edges)
    np.cumsum(factor[:, :-1] * np.diff(edges, axis=1), axis=1, out=before[:, 1:])
    number = np.minimum((since * BINS).astype(np.int64), BINS - 1)
    offset = before - factor * edges
    return np.exp(draws[:, 0, None, None]) * (offset[:, number] + factor[:, number] * mass(since))
