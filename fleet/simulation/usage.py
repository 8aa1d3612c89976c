"""How long trimmers run: the season's calendar, each unit's true rate, and hours day by day."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.parameters import Parameters, Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

MONDAY, FRIDAY = 0, 4
# Days before the first opening at which the books begin: purchases and spring visits fall before the season.
LEAD_DAYS = 42


@dataclass(frozen=True)
class SeasonCalendar:
    """The days from a little before the first opening to ``today``, both included, and the seasons in them."""

    start: dt.date
    today: dt.date
    opens: tuple[int, int]
    closes: tuple[int, int]

    @classmethod
    def of(cls, parameters: Parameters) -> SeasonCalendar:
        start = parameters.first_opening() - dt.timedelta(days=LEAD_DAYS)
        return cls(start, parameters.today, parameters.season_opens, parameters.season_closes)

    @cached_property
    def days(self) -> int:
        """Number of days; day codes run from 0 to ``days - 1``."""
        return (self.today - self.start).days + 1

    def date(self, day: int) -> dt.date:
        """Date of a day code."""
        return self.start + dt.timedelta(days=int(day))

    def day(self, date: dt.date) -> int:
        """Day code of a date; may lie outside the calendar."""
        return (date - self.start).days

    @cached_property
    def weekday(self) -> Ints:
        """Monday 0 to Sunday 6, by day."""
        return (np.arange(self.days) + self.start.weekday()) % 7

    @cached_property
    def week(self) -> Ints:
        """Week code by day: weeks begin on Mondays, the first may be short."""
        return (np.arange(self.days) + self.start.weekday()) // 7

    @cached_property
    def openings(self) -> tuple[int, ...]:
        """Day code of each season's opening, first to last."""
        years = range(self.start.year, self.today.year + 1)
        codes = (self.day(dt.date(year, *self.opens)) for year in years)
        return tuple(code for code in codes if 0 <= code < self.days)

    @cached_property
    def closings(self) -> tuple[int, ...]:
        """Day code of each season's last day; the last may lie beyond ``today``."""
        return tuple(self.day(dt.date(self.date(code).year, *self.closes)) for code in self.openings)

    @cached_property
    def season(self) -> Ints:
        """Season code by day, -1 outside the seasons."""
        season = np.full(self.days, -1)
        for code, (first, last) in enumerate(zip(self.openings, self.closings, strict=True)):
            season[first : last + 1] = code
        return season

    @cached_property
    def working(self) -> Bools:
        """Whether crews work on a day: Monday to Friday in season."""
        return (self.season >= 0) & (self.weekday <= FRIDAY)

    @cached_property
    def progress(self) -> Floats:
        """How far the season has run by day, 0..1; 0 outside it."""
        progress = np.zeros(self.days)
        for first, last in zip(self.openings, self.closings, strict=True):
            within = np.arange(first, min(last + 1, self.days))
            progress[within] = (within - first) / (last - first)
        return progress


def season_profile(calendar: SeasonCalendar, usage: Usage) -> Floats:
    """Relative rate by day: the usage profile with a mean of one over a whole season, zero outside seasons."""
    at, rate = (np.array(column) for column in zip(*usage.profile, strict=True))
    mean = np.interp(np.linspace(0, 1, 201), at, rate).mean()
    return np.where(calendar.season >= 0, np.interp(calendar.progress, at, rate) / mean, 0.0)


@dataclass(frozen=True)
class TrueUsage:
    """The truth about running time before anything breaks.

    ``daily`` (days, units): hours a unit would run were it never down. ``rates`` (seasons, units): its mean hours a
    working day over a whole season with its home crew, every shock but the weekly one included.
    """

    daily: NDArray[np.float32]
    rates: Floats


def draw_usage(
    calendar: SeasonCalendar, usage: Usage, crew_of: NDArray[np.integer], home_crew: Ints, rng: np.random.Generator
) -> TrueUsage:
    """Draw true hours for every unit and day from crew, unit, season and week shocks.

    Parameters
    ----------
    crew_of : (days, units) int array, the crew that has the unit that day
    home_crew : (units,) the crew it began with
    """
    days, units = crew_of.shape
    seasons, crews = len(calendar.openings), int(crew_of.max()) + 1
    weeks = int(calendar.week[-1]) + 1

    def shock(spread: float, *shape: int) -> Floats:
        """Log shocks whose exponential has a mean of one."""
        return rng.normal(-spread * spread / 2, spread, shape)

    crew = shock(usage.crew_sd, 1, crews) + shock(usage.crew_season_sd, seasons, crews)
    unit = shock(usage.unit_sd, 1, units) + shock(usage.unit_season_sd, seasons, units)
    rates = usage.hours_per_day * np.exp(crew[:, home_crew] + unit)

    profile = season_profile(calendar, usage)
    daily = np.zeros((days, units), dtype=np.float32)
    working = np.flatnonzero(calendar.working)
    weekly = shock(usage.week_sd, weeks, units).astype(np.float32)
    # A unit's week is shared unevenly over its days; about every third day it stays on the trailer.
    share = rng.standard_gamma(2.0, (len(working), units), dtype=np.float32)
    share *= rng.random((len(working), units), dtype=np.float32) < 0.68
    share *= 1.0 / (2.0 * 0.68)
    season = calendar.season[working]
    crew_log = np.take_along_axis(crew[season], crew_of[working].astype(np.int64), axis=1)
    level = np.exp((crew_log + unit[season]).astype(np.float32) + weekly[calendar.week[working]])
    daily[working] = level * share * (usage.hours_per_day * profile[working, None]).astype(np.float32)
    np.minimum(daily, usage.most_per_day, out=daily)
    return TrueUsage(daily, rates)
