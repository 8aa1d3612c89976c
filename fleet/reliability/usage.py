"""Hours ahead: when a unit will have run so many hours, through its season calendar, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A median further off than the calendar reaches.
NEVER = -1


@dataclass(frozen=True)
class HoursAhead:
    """Projection of n rows. Day indices count along the calendar; ``NEVER`` (-1) is beyond its end.

    Attributes
    ----------
    hours, hours_low, hours_high : ndarray of float, shape (n,)
        Hours on the start day with their central band.
    day, day_early, day_late : ndarray of int, shape (n,)
        First day on which the target is passed: median and central band.
    probability : ndarray of float, shape (n,)
        Probability that the target is passed by ``by_day`` (by the start day where none was asked).
    """

    hours: Floats
    hours_low: Floats
    hours_high: Floats
    day: Ints
    day_early: Ints
    day_late: Ints
    probability: Floats


def project_hours(
    *,
    hours: ArrayLike,
    target: ArrayLike,
    day_rate: ArrayLike,
    calendar: ArrayLike,
    known_day: ArrayLike,
    start_day: ArrayLike,
    by_day: ArrayLike | None = None,
    calendar_of: ArrayLike | None = None,
    variance: ArrayLike = 0.0,
    biased_hours: ArrayLike = 0.0,
    bias_cv: ArrayLike = 0.0,
    week_cv: ArrayLike = 0.0,
    rate_cv: ArrayLike = 0.0,
    days_per_week: ArrayLike = 5.0,
    level: float = 0.8,
) -> HoursAhead:
    """Project engine hours from the last known day along a season calendar.

    Expected hours run at ``day_rate`` for each working day's worth the calendar has passed since ``known_day``.
    With x hours expected since then, the variance is

        variance + week_cv^2 * week * x + (rate_cv * x)^2 + (bias_cv * (biased_hours + x))^2

    where week = ``day_rate * days_per_week``: noise from week to week adds up like a random walk, doubt about the
    rate and a reporter's persistent bias grow in step with the hours. Quantiles of the passing day invert the same
    normal law (hours never run backwards, so "passed by day t" and "hours at t at least the target" are one event).

    Parameters
    ----------
    hours, target : array_like of float, shape (n,)
        Engine hours on ``known_day`` and the hours asked for; target NaN: no such limit (never, probability 0).
    day_rate : array_like of float, shape (n,)
        Engine hours on a usual working day; not negative.
    calendar : array_like of float, shape (days,) or (c, days)
        Cumulated working days' worth at the end of each day, not decreasing; one row for each calendar.
    known_day, start_day, by_day : array_like of int, shape (n,)
        Day indices: entries speak until ``known_day``; the projection starts on ``start_day`` (today).
    calendar_of : array_like of int, shape (n,), optional
        Row of ``calendar`` for each row; 0 by default.
    variance : array_like of float, shape (n,)
        Independent variance of ``hours``, in hours squared.
    biased_hours : array_like of float, shape (n,)
        Hours, up to ``known_day``, that carry the reporter's persistent bias.
    bias_cv, week_cv, rate_cv : array_like of float, shape (n,)
        Relative standard deviations of the bias, of one week's hours, and of the usual rate.
    days_per_week : array_like of float
        Working days in a week.
    level : float
        Content of the central bands, 0.8 by default.

    Returns
    -------
    HoursAhead

    Raises
    ------
    ValueError
        If a day index lies outside the calendar, a rate or variance is negative, or ``level`` is not in (0, 1).

    Notes
    -----
    Method: own; the variance split is that of a random walk with random drift. Checked by simulation with known
    truth (``tests/fleet/upkeep/test_coverage.py``).

    Examples
    --------
    Four hours each working day, no noise: 40 hours take ten working days.

    >>> import numpy as np
    >>> calendar = np.arange(1.0, 31.0)
    >>> ahead = project_hours(hours=[100.0], target=[140.0], day_rate=[4.0], calendar=calendar, known_day=[0],
    ...                       start_day=[0], by_day=[12])
    >>> int(ahead.day[0]), float(ahead.probability[0])
    (10, 1.0)
    """
    if not 0.0 < level < 1.0:
        raise ValueError("level must lie between 0 and 1")
    table = np.atleast_2d(np.asarray(calendar, dtype=float))
    n_days = table.shape[1]
    h, goal = np.asarray(hours, dtype=float), np.asarray(target, dtype=float)
    n = h.shape[0]

    def column(values: ArrayLike) -> Floats:
        return np.broadcast_to(np.asarray(values, dtype=float), (n,))

    def index(values: ArrayLike) -> Ints:
        days = np.broadcast_to(np.asarray(values, dtype=np.int64), (n,))
        if n and (days.min() < 0 or days.max() >= n_days):
            raise ValueError("a day lies outside the calendar")
        return days

    rate, var0 = column(day_rate), column(variance)
    if n and (rate.min() < 0 or var0.min() < 0):
        raise ValueError("day_rate and variance must not be negative")
    bias, biased = column(bias_cv), column(biased_hours)
    which = np.broadcast_to(np.asarray(0 if calendar_of is None else calendar_of, dtype=np.int64), (n,))
    known, start = index(known_day), index(start_day)
    by = start if by_day is None else index(by_day)
    base = table[which, known]

    # variance(x) = a + b x + c x^2 with x the expected hours since the known day
    a = var0 + (bias * biased) ** 2
    b = column(week_cv) ** 2 * rate * column(days_per_week) + 2.0 * bias**2 * biased
    c = column(rate_cv) ** 2 + bias**2

    def expected(day: Ints) -> Floats:
        return rate * np.maximum(table[which, day] - base, 0.0)

    def spread(x: Floats) -> Floats:
        return np.sqrt(a + b * x + c * x * x)

    z = float(ndtri(0.5 + level / 2.0))
    x_now = expected(start)
    now, sd_now = h + x_now, spread(x_now)

    x_by = expected(by)
    sd_by = spread(x_by)
    gap = h + x_by - goal
    certain = np.where(gap >= 0.0, 1.0, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        probability = np.where(sd_by > 0.0, ndtr(gap / np.where(sd_by > 0.0, sd_by, 1.0)), certain)
    probability = np.where(np.isnan(goal), 0.0, probability)

    def passing_day(sign: float) -> Ints:
        """First day when hours + sign * z * spread reaches the goal; sign +1 early, 0 median, -1 late."""
        need = np.nan_to_num(goal - h, nan=np.inf)
        x = need.copy()
        if sign:
            # (need - x)^2 = z^2 (a + b x + c x^2), the root on the side asked for
            with np.errstate(invalid="ignore", over="ignore"):
                q = 1.0 - z * z * c
                half = need + 0.5 * z * z * b
                disc = np.sqrt(np.maximum(half * half - q * (need * need - z * z * a), 0.0))
                early = np.where(np.abs(q) > 1e-12, (half - disc) / np.where(np.abs(q) > 1e-12, q, 1.0), need)
                late = np.where(q > 1e-12, (half + disc) / np.where(q > 1e-12, q, 1.0), np.inf)
            x = early if sign > 0 else late
            x = np.where(np.isfinite(need), x, np.inf)
        days = np.full(n, NEVER, dtype=np.int64)
        with np.errstate(divide="ignore", invalid="ignore"):
            worth = base + np.where(rate > 0, x / np.where(rate > 0, rate, 1.0), np.where(x > 0, np.inf, 0.0))
        for row in np.unique(which):
            mask = which == row
            found = np.searchsorted(table[row], worth[mask] - 1e-9, side="left")
            days[mask] = np.where(found < n_days, found, NEVER)
        return np.where(days == NEVER, NEVER, np.maximum(days, known))

    return HoursAhead(
        hours=now,
        hours_low=np.maximum(now - z * sd_now, 0.0),
        hours_high=now + z * sd_now,
        day=passing_day(0.0),
        day_early=passing_day(1.0),
        day_late=passing_day(-1.0),
        probability=probability,
    )
