"""The season calendar, one day at a time."""

from __future__ import annotations

import calendar
import datetime as dt
from dataclasses import dataclass

from tests.recomputed.reading import Party


def in_year(year: int, month_day: str) -> dt.date:
    month, number = (int(part) for part in month_day.split("-"))
    return dt.date(year, month, min(number, calendar.monthrange(year, month)[1]))


def months_on(date: dt.date, months: int) -> dt.date:
    year, month = divmod(date.year * 12 + date.month - 1 + months, 12)
    return dt.date(year, month + 1, min(date.day, calendar.monthrange(year, month + 1)[1]))


@dataclass(frozen=True)
class Calendar:
    """Which days are worked, and how much of a usual day each is worth by its month."""

    party: Party
    profile: tuple[float, ...] = (1.0,) * 12

    def is_open(self, date: dt.date) -> bool:
        opens, closes = in_year(date.year, self.party.opens), in_year(date.year, self.party.closes)
        return opens <= date <= closes if opens <= closes else date >= opens or date <= closes

    def worth(self, date: dt.date) -> float:
        worked = date.weekday() in self.party.working_days and self.is_open(date)
        return self.profile[date.month - 1] if worked else 0.0

    def next_opening(self, after: dt.date) -> dt.date:
        return min(o for y in (0, 1) if (o := in_year(after.year + y, self.party.opens)) > after)

    def next_close(self, date: dt.date) -> dt.date:
        return min(c for y in (0, 1) if (c := in_year(date.year + y, self.party.closes)) >= date)

    def close_of_cycle(self, date: dt.date) -> dt.date:
        """This season's close while it is open, the last one's while it is shut."""
        if self.is_open(date):
            return self.next_close(date)
        return max(c for y in (-1, 0, 1) if (c := in_year(date.year + y, self.party.closes)) < date)

    @property
    def week(self) -> int:
        return max(len(self.party.working_days), 1)
