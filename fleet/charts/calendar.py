"""Dates on a rail: how a day is written, and where months get a tick."""

from __future__ import annotations

from datetime import date

_MONTHS_BETWEEN_TICKS = (1, 3, 6, 12)
_MOST_TICKS = 12


def plain_date(day: date, today: date) -> str:
    """Write a day the US way, the year only where it is not this one."""
    written = f"{day:%b} {day.day}"
    return written if day.year == today.year else f"{written}, {day.year}"


def date_ticks(low: float, high: float) -> list[float]:
    """Ordinals of month, quarter, half-year or year starts between two ordinals."""
    first, last = _in_calendar(low), _in_calendar(high)
    months = (last.year - first.year) * 12 + last.month - first.month
    step = next((n for n in _MONTHS_BETWEEN_TICKS if months / n <= _MOST_TICKS), 0)
    if not step:
        return []
    starts = []
    for count in range(first.year * 12, last.year * 12 + last.month):
        year, month = divmod(count, 12)
        if month % step == 0 and year >= 1 and low <= (start := date(year, month + 1, 1).toordinal()) <= high:
            starts.append(float(start))
    return starts


def _in_calendar(ordinal: float) -> date:
    return date.fromordinal(int(min(max(ordinal, 1), date.max.toordinal())))
