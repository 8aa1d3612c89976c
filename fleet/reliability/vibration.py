"""Daily hand-arm vibration from magnitudes and trigger times."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

#: m/s^2; Directive 2002/44/EC. Guidance where it applies: local rules come first.
ACTION_VALUE = 2.5
LIMIT_VALUE = 5.0


@dataclass(frozen=True)
class DailyVibration:
    """One person's day.

    Attributes
    ----------
    a8 : float, m/s^2
        Daily exposure over a reference of 8 hours.
    points : float
        100 at the action value, 400 at the limit; not rounded.
    level : {"below_action", "action", "limit"}
        At or above which value the day is.
    hours_to_action, hours_to_limit : float
        Hours left at the day's last magnitude before each value; 0 if passed, inf at magnitude 0.
    """

    a8: float
    points: float
    level: str
    hours_to_action: float
    hours_to_limit: float


def daily_vibration(magnitude: ArrayLike, hours: ArrayLike) -> DailyVibration:
    """Daily exposure A(8) and points of one person's work with one or more machines.

    Parameters
    ----------
    magnitude : array_like, shape (m,) or scalar, m/s^2
        Frequency-weighted vibration total value of each machine.
    hours : array_like, shape (m,) or scalar
        Trigger time with each.

    Returns
    -------
    DailyVibration

    Raises
    ------
    ValueError
        For negative or missing figures, or more than 24 hours.

    Notes
    -----
    A(8) = sqrt(sum a_i^2 T_i / 8 h), points = 100 (A(8) / 2.5)^2 (ISO 5349-1:2001; Directive 2002/44/EC). Printed
    tables round; this does not. The values are guidance: the local rule and the maker's manual come first.

    Examples
    --------
    >>> day = daily_vibration([4.5, 8.0, 3.2], [2.0, 0.5, 1.25])
    >>> round(day.points, 1), round(day.a8, 3), day.level
    (170.6, 3.265, 'action')
    """
    a, t = np.broadcast_arrays(np.atleast_1d(np.asarray(magnitude, float)), np.atleast_1d(np.asarray(hours, float)))
    if not (np.isfinite(a).all() and np.isfinite(t).all()) or (a < 0).any() or (t < 0).any():
        raise ValueError("magnitudes and hours must be finite and not negative")
    if t.sum() > 24:
        raise ValueError(f"{t.sum():g} hours do not fit into a day")
    dose = float((a**2 * t).sum())
    a8 = float(np.sqrt(dose / 8))
    # One rounding error must not keep a day that is exactly at a value below it.
    level = "below_action"
    for name, value in (("action", ACTION_VALUE), ("limit", LIMIT_VALUE)):
        if a8 >= value * (1 - 1e-12):
            level = name
    last = float(a[-1]) if a.size else 0.0

    def left(value: float) -> float:
        room = max(8 * value**2 - dose, 0.0)
        return room / last**2 if last > 0 else float("inf") if room > 0 else 0.0

    return DailyVibration(a8, 100 * (a8 / ACTION_VALUE) ** 2, level, left(ACTION_VALUE), left(LIMIT_VALUE))
