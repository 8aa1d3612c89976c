"""Two groups of repairable units compared: do they have the same mean number of repairs per unit?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.stats import chi2

from fleet.reliability.lifetimes import FloatArray, IntArray


@dataclass(frozen=True)
class RepairsCompared:
    """Answer of :func:`compare_repairs`.

    Attributes
    ----------
    statistic, p_value : float
        Chi-square on one degree of freedom, and the chance of one as large or larger if both groups had the same mean.
    score, variance : float
        Weighted sum of the differences between the groups' rates (first less second), and its robust variance;
        statistic is score^2 / variance.
    units, repairs : tuple of int
        Of the first and the second group, in the strata and hours that were compared.
    until : float, engine hours
        Up to here both groups were watched in some stratum.
    strata : tuple
        Strata in which both groups were watched, as they were named.
    """

    statistic: float
    p_value: float
    score: float
    variance: float
    units: tuple[int, int]
    repairs: tuple[int, int]
    until: float
    strata: tuple[Any, ...]


def compare_repairs(
    event_unit: ArrayLike,
    event_time: ArrayLike,
    unit: ArrayLike,
    entry: ArrayLike,
    end: ArrayLike,
    group: ArrayLike,
    *,
    stratum: ArrayLike | None = None,
) -> RepairsCompared | None:
    """Test whether two groups of units have the same mean number of repairs by hours.

    Parameters
    ----------
    event_unit, event_time : array_like, shape (e,)
        Unit and engine hours of every repair.
    unit, entry, end : array_like, shape (u,)
        Observation windows (entry, end] in hours, one for each unit.
    group : array_like of bool, shape (u,)
        False: first group; True: second.
    stratum : array_like, shape (u,), optional
        Groups are compared within each stratum (a fleet with its crews and ground), and the differences added up.

    Returns
    -------
    RepairsCompared or None
        None where no repair fell at an hour at which both groups of a stratum were watched.

    Raises
    ------
    ValueError
        If a repair lies outside its unit's window, ``end`` is not after ``entry``, or a unit has two windows.

    Notes
    -----
    The pseudo-score test of Cook, Lawless and Nadeau (1996), Biometrics 52:557-571, with constant weight: of the
    statistics of Lawless and Nadeau (1995), Technometrics 37:158-168, the one that is the log-rank test where units
    fail once. The variance is robust: it takes each unit's repairs together, so that a few bad units cannot make two
    groups differ, and no process is assumed. With few units in a group its chi-square is somewhat too large.

    Examples
    --------
    Two units of each group, watched to 100 h:

    >>> found = compare_repairs([1, 1, 2, 3], [20, 40, 60, 50], [1, 2, 3, 4], 0, 100, [0, 0, 1, 1])
    >>> round(found.score, 6), round(found.statistic, 4), found.repairs
    (1.0, 4.0, (3, 1))
    """
    records = _Records.build(event_unit, event_time, unit, entry, end, group, stratum)
    shared = np.intersect1d(records.stratum[records.second], records.stratum[~records.second])
    by_stratum = {one: _within(records, np.flatnonzero(records.stratum == one)) for one in shared.tolist()}
    parts = [part for part in by_stratum.values() if part is not None]
    score, variance = sum(p.score for p in parts), sum(p.variance for p in parts)
    if not parts or variance <= 0:
        return None
    statistic = float(score**2 / variance)
    return RepairsCompared(
        statistic=statistic,
        p_value=float(chi2.sf(statistic, 1)),
        score=float(score),
        variance=float(variance),
        units=_pair([p.units for p in parts]),
        repairs=_pair([p.repairs for p in parts]),
        until=max(p.until for p in parts),
        strata=tuple(name for name, part in by_stratum.items() if part is not None),
    )


@dataclass(frozen=True)
class _Records:
    """Checked windows by unit, in the order of units, and repairs with the row of their unit in order of units."""

    start: FloatArray
    stop: FloatArray
    second: NDArray[np.bool_]
    stratum: NDArray
    who: IntArray
    when: FloatArray

    @classmethod
    def build(
        cls, event_unit: ArrayLike, event_time: ArrayLike, unit: ArrayLike, entry: ArrayLike, end: ArrayLike,
        group: ArrayLike, stratum: ArrayLike | None,
    ) -> _Records:  # fmt: skip
        names, order = np.unique(np.atleast_1d(np.asarray(unit)), return_index=True)
        shape = np.atleast_1d(np.asarray(unit)).shape
        if names.shape != shape:
            raise ValueError("a unit has more than one window")
        start = np.broadcast_to(np.asarray(entry, dtype=float), shape)[order]
        stop = np.broadcast_to(np.asarray(end, dtype=float), shape)[order]
        bad = ~(stop > start) | ~(start >= 0) | ~np.isfinite(stop)
        if bad.any():
            row = int(np.argmax(bad))
            raise ValueError(f"unit {names[row]}: ({start[row]:g}, {stop[row]:g}] is no span of hours")
        whose, when = np.atleast_1d(np.asarray(event_unit)), np.atleast_1d(np.asarray(event_time, dtype=float))
        place = np.minimum(np.searchsorted(names, whose), names.size - 1)
        bad = (names[place] != whose) | ~((when > start[place]) & (when <= stop[place]))
        if bad.any():
            one = int(np.argmax(bad))
            raise ValueError(f"event {one}: unit {whose[one]} is not watched at {when[one]:g} h")
        strata = np.zeros(shape) if stratum is None else np.asarray(stratum)
        by_unit = np.argsort(place, kind="stable")
        return cls(start, stop, np.asarray(group, dtype=bool)[order], strata[order], place[by_unit], when[by_unit])


@dataclass(frozen=True)
class _Part:
    """One stratum's share of the test."""

    score: float
    variance: float
    units: tuple[int, int]
    repairs: tuple[int, int]
    until: float


def _within(records: _Records, mine: IntArray) -> _Part | None:
    """The share of these units, all of one stratum."""
    start, stop, second = records.start, records.stop, records.second
    here = np.isin(records.who, mine)
    times, who = records.when[here], records.who[here]
    sides = [mine[~second[mine]], mine[second[mine]]]
    hours = np.unique(times)
    at_risk = [_at_risk(hours, start[side], stop[side]) for side in sides]
    both = (at_risk[0] > 0) & (at_risk[1] > 0)
    if not both.any():
        return None
    hours, at_risk = hours[both], [n[both] for n in at_risk]
    weight = at_risk[0] * at_risk[1] / (at_risk[0] + at_risk[1])
    counted = np.isin(times, hours)
    step = np.searchsorted(hours, times[counted])
    who = who[counted]
    score, variance, repairs = 0.0, 0.0, []
    for sign, side, n in zip((1.0, -1.0), sides, at_risk, strict=True):
        own = np.isin(who, side)
        rate = np.bincount(step[own], minlength=len(hours)) / n
        score += sign * float((weight * rate).sum())
        # A unit's own repairs less those its group's rate lets expect while it is watched, each by its weight.
        share = weight / n
        seen = np.zeros(len(side))
        np.add.at(seen, np.searchsorted(side, who[own]), share[step[own]])
        expected = np.concatenate([[0.0], np.cumsum(share * rate)])
        first = np.searchsorted(hours, start[side], side="right")
        last = np.searchsorted(hours, stop[side], side="right")
        variance += float(((seen - (expected[last] - expected[first])) ** 2).sum())
        repairs.append(int(own.sum()))
    units = (len(sides[0]), len(sides[1]))
    return _Part(score, variance, units, (repairs[0], repairs[1]), float(hours[-1]))


def _at_risk(hours: FloatArray, start: FloatArray, stop: FloatArray) -> FloatArray:
    """Units watched at each hour: entered before it, and not gone before it."""
    entered = np.searchsorted(np.sort(start), hours, side="left")
    gone = np.searchsorted(np.sort(stop), hours, side="left")
    return np.asarray(entered - gone, dtype=float)


def _pair(pairs: list[tuple[int, int]]) -> tuple[int, int]:
    return sum(a for a, _b in pairs), sum(b for _a, b in pairs)
