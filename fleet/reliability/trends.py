"""Tests for a trend in repeated repairs: do they come ever faster?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import chi2, norm

from fleet.reliability.curves import Windows


@dataclass(frozen=True)
class Trend:
    """Outcome of :func:`trend_test`.

    Attributes
    ----------
    laplace, laplace_p : float
        Standard normal under no trend (above 0: repairs come ever faster), and its two-sided p-value.
    chi_square, degrees : float
        MIL-HDBK-189 statistic and its degrees of freedom (small: ever faster).
    p_lower, p_upper, p_two_sided : float
        Of the chi-square statistic.
    events : int
        Events used.
    """

    laplace: float
    laplace_p: float
    chi_square: float
    degrees: int
    p_lower: float
    p_upper: float
    p_two_sided: float
    events: int


def trend_test(
    event_unit: ArrayLike,
    event_time: ArrayLike,
    unit: ArrayLike,
    entry: ArrayLike = 0.0,
    end: ArrayLike | None = None,
    *,
    truncation: str = "time",
) -> Trend:
    """Test whether repairs come faster or slower with hours: Laplace and chi-square, pooled over units.

    Parameters
    ----------
    event_unit, event_time : array_like, shape (e,)
    unit, entry, end : array_like, shape (u,)
        One or more windows (entry, end] per unit, in hours. ``end`` may be left out with failure truncation.
    truncation : {"time", "failure"}
        "failure": each unit was watched until its last event, which is then dropped from the test.

    Returns
    -------
    Trend

    Raises
    ------
    ValueError
        Without an event to test.

    Notes
    -----
    Under no trend events fall uniformly in their window (Cox & Lewis 1966; MIL-HDBK-189). The two-sided p-value of the
    chi-square test is twice the smaller tail.

    Examples
    --------
    >>> hours = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    >>> test = trend_test([1] * 10, hours, [1], 0, [1500])
    >>> round(test.laplace, 4), round(test.chi_square, 4)
    (-1.3269, 37.2281)
    """
    if truncation not in ("time", "failure"):
        raise ValueError(f"truncation must be time or failure, not {truncation!r}")
    names, times = np.atleast_1d(np.asarray(event_unit)), np.atleast_1d(np.asarray(event_time, dtype=float))
    units = np.atleast_1d(np.asarray(unit))
    start = np.broadcast_to(np.asarray(entry, dtype=float), units.shape)
    if truncation == "failure":
        last = np.array([times[names == one].max(initial=-np.inf) for one in units])
        watched = np.isfinite(last)
        windows = Windows.build(names, times, units[watched], start[watched], last[watched])
        order = np.lexsort((windows.event_time, windows.event_code))
        final = np.append(windows.event_code[order][1:] != windows.event_code[order][:-1], True)
        use = order[~final]
    else:
        if end is None:
            raise ValueError("end is needed unless the units were watched to their last event")
        windows = Windows.build(names, times, units, start, end)
        use = np.arange(windows.event_time.size)
    if not use.size:
        raise ValueError("no event to test for a trend")
    low, high = windows.entry[windows.event_row[use]], windows.end[windows.event_row[use]]
    t = windows.event_time[use]
    laplace = float((t - (low + high) / 2).sum() / np.sqrt(((high - low) ** 2).sum() / 12))
    statistic = float(2 * np.log((high - low) / (t - low)).sum())
    below, above = float(chi2.cdf(statistic, 2 * use.size)), float(chi2.sf(statistic, 2 * use.size))
    return Trend(
        laplace,
        float(2 * norm.sf(abs(laplace))),
        statistic,
        2 * use.size,
        below,
        above,
        2 * min(below, above),
        use.size,
    )
