"""The season calendar of a contractor: which days are worked, how much of a usual day each is worth."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import date_of, day_of, month_day_in

Floats = NDArray[np.float64]
FLAT_PROFILE = (1.0,) * 12


@dataclass(frozen=True)
class Season:
    """When work is done: MM-DD limits (both days worked), seven 0/1 digits Monday first, weight of each month."""

    opens: str
    closes: str
    working_days: str
    profile: tuple[float, ...] = FLAT_PROFILE

    @property
    def days_per_week(self) -> int:
        return self.working_days.count("1")

    def worth(self, first_day: int, days: int) -> Floats:
        """Working days' worth of each of ``days`` days from ``first_day``: 0 off season and on days off."""
        return _worth(self, first_day, days)

    def next_opening(self, after: dt.date) -> dt.date:
        """First season opening later than this date."""
        this_year = month_day_in(after.year, self.opens)
        return this_year if this_year > after else month_day_in(after.year + 1, self.opens)

    def is_open(self, date: dt.date) -> bool:
        """Whether the date lies in season; a season may run over New Year."""
        opens, closes = month_day_in(date.year, self.opens), month_day_in(date.year, self.closes)
        if opens <= closes:
            return opens <= date <= closes
        return date >= opens or date <= closes

    def close_of_cycle(self, date: dt.date) -> dt.date:
        """The season close that matters on a date: this season's while open, the last one's while shut."""
        closes = [month_day_in(date.year + k, self.closes) for k in (-1, 0, 1)]
        if self.is_open(date):
            return min(c for c in closes if c >= date)
        return max(c for c in closes if c < date)

    def next_close(self, date: dt.date) -> dt.date:
        """First season close on or after the date."""
        this_year = month_day_in(date.year, self.closes)
        return this_year if this_year >= date else month_day_in(date.year + 1, self.closes)

    def stretches(self, first: dt.date, last: dt.date) -> list[tuple[dt.date, dt.date]]:
        """The seasons that touch a span of dates, clipped to it."""
        found = []
        for year in range(first.year - 1, last.year + 1):
            opens, closes = month_day_in(year, self.opens), month_day_in(year, self.closes)
            if closes < opens:
                closes = month_day_in(year + 1, self.closes)
            if opens <= last and closes >= first:
                found.append((max(opens, first), min(closes, last)))
        return found


@lru_cache(maxsize=4096)
def _worth(season: Season, first_day: int, days: int) -> Floats:
    numbers = np.arange(first_day, first_day + days, dtype=np.int64)
    dates = numbers.astype("datetime64[D]")
    months = dates.astype("datetime64[M]").astype(np.int64) % 12
    worked = np.array([c == "1" for c in season.working_days])[(numbers + 3) % 7]
    open_day = np.zeros(days, dtype=bool)
    if days:
        for start, end in season.stretches(date_of(first_day), date_of(first_day + days - 1)):
            open_day[day_of(start) - first_day : day_of(end) - first_day + 1] = True
    worth = np.where(worked & open_day, np.array(season.profile)[months], 0.0)
    worth.setflags(write=False)
    return worth
