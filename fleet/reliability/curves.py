"""Survival curves that assume no shape: they are drawn under every fit, so that a bad fit can be seen."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import norm

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes


@dataclass(frozen=True)
class Curve:
    """A step curve with limits at each event time.

    Attributes
    ----------
    time : ndarray, shape (m,), engine hours
        Distinct event times.
    at_risk, events : ndarray of int, shape (m,)
    value, se, low, high : ndarray, shape (m,)
        The curve from each time on, its standard error, and pointwise limits (NaN where they are not defined).
    before : float
        Value before the first event.
    """

    time: FloatArray
    at_risk: IntArray
    events: IntArray
    value: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray
    before: float

    def at(self, hours: ArrayLike) -> FloatArray:
        """Value of the curve at ``hours`` (any shape)."""
        step = np.searchsorted(self.time, np.asarray(hours, dtype=float), side="right")
        return np.concatenate([[self.before], self.value])[step]


def kaplan_meier(
    lifetimes: Lifetimes, *, group: int = 0, level: float = 0.95, limits: str = "log-log", after: float = 0.0
) -> Curve:
    """Product-limit estimate of survival with delayed entry.

    Parameters
    ----------
    lifetimes : Lifetimes
        Exact and right-censored rows; looks belong to :func:`turnbull`.
    group : int
        Which group's rows.
    level : float
        Of the pointwise limits.
    limits : {"log-log", "log", "plain"}
        Scale on which the limits are symmetric.
    after : float, engine hours
        Condition on survival to here. With delayed entry the first risk sets can be one or two units and send the whole
        curve to zero; conditioning on a later hour avoids it.

    Returns
    -------
    Curve
        With Greenwood's standard error of the survival itself.

    Raises
    ------
    ValueError
        For a row with an event interval, or an unknown kind of limits.

    Notes
    -----
    Kaplan & Meier (1958); delayed entry as in Klein & Moeschberger (2003), section 4.6: a row is at risk at t if
    entry < t <= lower. Covariates are ignored.

    Examples
    --------
    >>> curve = kaplan_meier(Lifetimes(lower=[10, 20, 30], upper=[10, float("inf"), 30]))
    >>> curve.time.tolist(), curve.value.round(3).tolist()
    ([10.0, 30.0], [0.667, 0.0])
    """
    time, at_risk, events = _risk_table(lifetimes, group, after)
    with np.errstate(divide="ignore", invalid="ignore"):
        survival = np.cumprod(1.0 - events / at_risk)
        variance = np.cumsum(events / (at_risk * (at_risk - events).astype(float)))
        se = survival * np.sqrt(variance)
        low, high = _survival_limits(survival, variance, se, level, limits)
    return Curve(time, at_risk, events, survival, se, low, high, 1.0)


def _survival_limits(
    survival: FloatArray, variance: FloatArray, se: FloatArray, level: float, limits: str
) -> tuple[FloatArray, FloatArray]:
    z = norm.ppf(0.5 + level / 2)
    if limits == "log-log":
        spread = z * np.sqrt(variance) / np.abs(np.log(survival))
        low, high = survival ** np.exp(spread), survival ** np.exp(-spread)
    elif limits == "log":
        low, high = survival * np.exp(-z * np.sqrt(variance)), np.minimum(1.0, survival * np.exp(z * np.sqrt(variance)))
    elif limits == "plain":
        low, high = np.maximum(0.0, survival - z * se), np.minimum(1.0, survival + z * se)
    else:
        raise ValueError(f"limits must be log-log, log or plain, not {limits!r}")
    gone = survival <= 0
    return np.where(gone, np.nan, low), np.where(gone, np.nan, high)


def nelson_aalen(lifetimes: Lifetimes, *, group: int = 0, level: float = 0.95, after: float = 0.0) -> Curve:
    """Cumulative hazard as the sum of events over units at risk.

    Parameters
    ----------
    lifetimes, group, level, after
        As for :func:`kaplan_meier`.

    Returns
    -------
    Curve
        With variance sum of events / at_risk^2 (Aalen 1978) and limits symmetric on the log scale.

    Raises
    ------
    ValueError
        For a row with an event interval.

    Notes
    -----
    Ties count as d / n, not as d single events one after the other.

    Examples
    --------
    >>> nelson_aalen(Lifetimes(lower=[10, 20, 30], upper=[10, 20, float("inf")])).value.round(4).tolist()
    [0.3333, 0.8333]
    """
    time, at_risk, events = _risk_table(lifetimes, group, after)
    with np.errstate(divide="ignore", invalid="ignore"):
        total = np.cumsum(events / at_risk)
        se = np.sqrt(np.cumsum(events / at_risk.astype(float) ** 2))
        spread = norm.ppf(0.5 + level / 2) * se / total
    return Curve(time, at_risk, events, total, se, total * np.exp(-spread), total * np.exp(spread), 0.0)


def _risk_table(lifetimes: Lifetimes, group: int, after: float) -> tuple[FloatArray, IntArray, IntArray]:
    chosen = lifetimes.group == group
    looked = chosen & lifetimes.interval
    if looked.any():
        raise ValueError(f"row {int(np.argmax(looked))}: the event lies in an interval, which turnbull() is for")
    rows = lifetimes.take(chosen)
    hit = rows.exact & (rows.lower > after)
    time, events = np.unique(rows.lower[hit], return_counts=True)
    # At risk at t: entered before t and not gone before t.
    entered = np.searchsorted(np.sort(rows.entry), time, side="left")
    gone = np.searchsorted(np.sort(rows.lower), time, side="left")
    idle = (rows.lower == rows.entry) & ~rows.exact
    if idle.any():
        entered -= np.searchsorted(np.sort(rows.entry[idle]), time, side="left")
        gone -= np.searchsorted(np.sort(rows.lower[idle]), time, side="left")
    return time, (entered - gone).astype(np.int64), events.astype(np.int64)


@dataclass(frozen=True)
class MeanCumulative:
    """Mean repairs per unit by hours, from :func:`mean_cumulative_function`.

    Attributes
    ----------
    time : ndarray, shape (m,), engine hours
    at_risk, events : ndarray of int, shape (m,)
    value, se : ndarray, shape (m,)
        Mean repairs per unit by ``time`` and its robust standard error.
    low, high : ndarray, shape (m,)
        Limits symmetric on the log scale.
    """

    time: FloatArray
    at_risk: IntArray
    events: IntArray
    value: FloatArray
    se: FloatArray
    low: FloatArray
    high: FloatArray

    def at(self, hours: ArrayLike) -> FloatArray:
        """Mean repairs per unit by ``hours`` (any shape)."""
        step = np.searchsorted(self.time, np.asarray(hours, dtype=float), side="right")
        return np.concatenate([[0.0], self.value])[step]


def mean_cumulative_function(
    event_unit: ArrayLike,
    event_time: ArrayLike,
    unit: ArrayLike,
    entry: ArrayLike,
    end: ArrayLike,
    *,
    level: float = 0.95,
) -> MeanCumulative:
    """Mean number of repairs per unit by engine hours, without assuming how they come about.

    Parameters
    ----------
    event_unit, event_time : array_like, shape (e,)
        Unit and engine hours of every repair. Several repairs of a unit at one hour are several events.
    unit, entry, end : array_like, shape (u,)
        Observation windows (entry, end] in hours; a unit may have several. ``entry`` and ``end`` may be scalars.
    level : float
        Of the pointwise limits.

    Returns
    -------
    MeanCumulative

    Raises
    ------
    ValueError
        If a repair lies outside its unit's windows, or ``end`` is not after ``entry``.

    Notes
    -----
    The variance counts the covariance of a unit's own repairs (Lawless & Nadeau 1995, Technometrics 37:158-168). At one
    instant events come before censoring.

    Examples
    --------
    >>> mcf = mean_cumulative_function([1, 1, 2], [50, 80, 60], [1, 2, 3], 0, [100, 100, 70])
    >>> mcf.value.round(3).tolist()
    [0.333, 0.667, 1.167]
    """
    windows = Windows.build(event_unit, event_time, unit, entry, end)
    time, when, events = np.unique(windows.event_time, return_inverse=True, return_counts=True)
    entered = np.searchsorted(np.sort(windows.entry), time, side="left")
    gone = np.searchsorted(np.sort(windows.end), time, side="left")
    at_risk = entered - gone
    value = np.cumsum(events / at_risk)
    variance = np.zeros(time.size)
    lost = events / at_risk.astype(float) ** 2
    # Unit by unit the residual is its own repairs over the units at risk, less the mean while it is watched.
    block = max(1, int(4e6 // max(time.size, 1)))
    for first in range(0, windows.units, block):
        last = min(first + block, windows.units)
        residual = np.zeros((last - first, time.size))
        mine = (windows.event_code >= first) & (windows.event_code < last)
        np.add.at(residual, (windows.event_code[mine] - first, when[mine]), 1.0 / at_risk[when[mine]])
        for row in np.flatnonzero((windows.code >= first) & (windows.code < last)):
            watched = slice(
                np.searchsorted(time, windows.entry[row], side="right"),
                np.searchsorted(time, windows.end[row], side="right"),
            )
            residual[windows.code[row] - first, watched] -= lost[watched]
        variance += np.square(np.cumsum(residual, axis=1)).sum(axis=0)
    se = np.sqrt(variance)
    with np.errstate(divide="ignore", invalid="ignore"):
        spread = norm.ppf(0.5 + level / 2) * se / value
    low, high = value * np.exp(-spread), value * np.exp(spread)
    return MeanCumulative(time, at_risk.astype(np.int64), events.astype(np.int64), value, se, low, high)


@dataclass(frozen=True)
class Windows:
    """Checked observation windows and events of repairable units: codes 0..units-1 into ``names``."""

    names: np.ndarray
    code: IntArray
    entry: FloatArray
    end: FloatArray
    event_code: IntArray
    event_time: FloatArray
    event_row: IntArray

    @property
    def units(self) -> int:
        """Number of units."""
        return int(self.names.size)

    @classmethod
    def build(
        cls, event_unit: ArrayLike, event_time: ArrayLike, unit: ArrayLike, entry: ArrayLike, end: ArrayLike
    ) -> Windows:
        """Check and code; raises ValueError naming the first bad window or event."""
        names, code = np.unique(np.atleast_1d(np.asarray(unit)), return_inverse=True)
        start = np.broadcast_to(np.asarray(entry, dtype=float), code.shape)
        stop = np.broadcast_to(np.asarray(end, dtype=float), code.shape)
        bad = ~(stop > start) | ~(start >= 0) | ~np.isfinite(stop)
        if bad.any():
            row = int(np.argmax(bad))
            raise ValueError(f"window {row}: ({start[row]:g}, {stop[row]:g}] is no span of hours")
        event_names = np.atleast_1d(np.asarray(event_unit))
        times = np.atleast_1d(np.asarray(event_time, dtype=float))
        if event_names.shape != times.shape:
            raise ValueError("event_unit and event_time differ in length")
        if not times.size:
            event_names = event_names.astype(names.dtype)
        place = np.minimum(np.searchsorted(names, event_names), names.size - 1)
        held = _window_of(code, start, stop, place, times)
        bad = (names[place] != event_names) | (held < 0)
        if bad.any():
            one = int(np.argmax(bad))
            raise ValueError(f"event {one}: unit {event_names[one]} is not watched at {times[one]:g} h")
        return cls(names, code.astype(np.int64), start, stop, place.astype(np.int64), times, held)


def _window_of(code: IntArray, start: FloatArray, stop: FloatArray, place: IntArray, times: FloatArray) -> IntArray:
    """Row of the window holding each event, -1 where there is none."""
    found = np.full(times.size, -1, dtype=np.int64)
    order = np.lexsort((start, code))
    for one in np.unique(place):
        rows = order[np.searchsorted(code[order], one, side="left") : np.searchsorted(code[order], one, side="right")]
        mine = np.flatnonzero(place == one)
        inside = (times[mine, None] > start[rows]) & (times[mine, None] <= stop[rows])
        found[mine] = np.where(inside.any(axis=1), rows[np.argmax(inside, axis=1)], -1)
    return found
