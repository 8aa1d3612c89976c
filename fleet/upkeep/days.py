"""Days as whole numbers (1970-01-01 is 0), so that dates can stand in arrays."""

from __future__ import annotations

import calendar as month_lengths
import datetime as dt

import numpy as np
from numpy.typing import NDArray

EPOCH = dt.date(1970, 1, 1).toordinal()
# Standing for "no date" in arrays of days.
NO_DAY = np.int64(2**40)


def day_of(date: dt.date) -> int:
    """Day number of a date."""
    return date.toordinal() - EPOCH


def date_of(day: int) -> dt.date:
    """Date of a day number."""
    return dt.date.fromordinal(int(day) + EPOCH)


def weekday(day: NDArray[np.int64]) -> NDArray[np.int64]:
    """0 for Monday to 6 for Sunday; 1970-01-01 was a Thursday."""
    return (day + 3) % 7


def monday(day: NDArray[np.int64]) -> NDArray[np.int64]:
    """The Monday of the week that holds the day."""
    return day - weekday(day)


def add_months(date: dt.date, months: int) -> dt.date:
    """The same day of the month so many months on; the month's last day where it is shorter."""
    index = date.year * 12 + date.month - 1 + months
    year, month = divmod(index, 12)
    return dt.date(year, month + 1, min(date.day, month_lengths.monthrange(year, month + 1)[1]))


def month_day_in(year: int, month_day: str) -> dt.date:
    """The MM-DD of a year; 02-29 is the 28th where there is none."""
    month, day = int(month_day[:2]), int(month_day[3:])
    return dt.date(year, month, min(day, month_lengths.monthrange(year, month)[1]))
