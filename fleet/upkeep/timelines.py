"""Engine hours of units day by day: what was logged, what a crew's total leaves, what the usual week fills in.

A unit's line starts at its hours at registration. Each day gets the hours of its week's own entry; else a share of its
crew's total; else the crew's usual week (scaled to the unit, as far as its own entries tell). Between two readings
the days are then adjusted so that the line passes through both, guesses giving way before entries. After the last
entry the usual rate runs on; that part is projected when read, so stored results do not age.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.daily_hours import BASES, CREW, FUEL, GUESS, METER, NONE, RUN, SERVICE, DailyHours
from fleet.upkeep.days import NO_DAY
from fleet.upkeep.histories import Histories
from fleet.upkeep.usage import BIAS_CV, LOGGED_CV, READING_SD, Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Timelines:
    """Hours of n units; ``line[i, d]`` is unit i's total at the end of day ``first_day + d``.

    Rows follow ``unit`` (row numbers in ``Histories.units``). The scalars are what ``UnitState`` stores.
    """

    unit: Ints
    row_of: Ints
    first_day: int
    line: Floats
    known_until: Ints
    hours: Floats
    variance: Floats
    since_reading: Floats
    day_rate: Floats
    bias_cv: Floats
    rate_cv: Floats
    week_cv: Floats
    basis: NDArray[np.int8]
    guessed_share: Floats
    crew: Ints

    def hours_on(self, unit: Ints, day: Ints) -> Floats:
        """Total at the end of a day, for row numbers in ``Histories.units``; at registration before it."""
        column = np.clip(day - self.first_day, 0, self.line.shape[1] - 1)
        return self.line[self.row_of[unit], column]

    def passed_on(self, row: Ints, target: Floats) -> Ints:
        """First day up to ``known_until`` on which the line of ``row`` exceeds the target; ``NO_DAY`` if none."""
        passed = np.full(len(row), NO_DAY)
        over = np.flatnonzero(self.hours[row] > target + 1e-9)
        if len(over):
            first = np.argmax(self.line[row[over]] > target[over, None] + 1e-9, axis=1)
            passed[over] = self.first_day + first
        return passed


def build_timelines(h: Histories, usages: Sequence[Usage], usage_of: Ints, burn: Floats) -> Timelines:
    """Hours of the core units of ``h``.

    ``usage_of`` gives each unit's place in ``usages``, ``burn`` its liters an hour (both over all of ``h.units``).
    """
    return _Builder(h, usages, usage_of, burn).build()


class _Builder(DailyHours):
    """Pulls the days of a batch through its readings, and says how sure the result is."""

    def build(self) -> Timelines:
        base = self._base()
        factor, weeks_logged = self._unit_factor(base)
        amount, kind = self._fill(base * factor[:, None])
        readings = self._readings()
        c = self._class_variance(factor)
        line, variance, since, guessed = self._through_readings(amount, kind, readings, c)
        known = self.known_until - self.first_day
        rows = np.arange(self.n)
        total = np.maximum(line[rows, known] - self.start_hours, 1e-9)
        week_cv = np.array([u.week_cv for u in self.usages])[self.usage_of]
        return Timelines(
            unit=self.core,
            row_of=self.row_of,
            first_day=self.first_day,
            line=line,
            known_until=self.known_until,
            hours=line[rows, known],
            variance=variance,
            since_reading=since,
            day_rate=self._rate_now() * factor,
            bias_cv=self._bias_cv(),
            rate_cv=self._rate_cv(weeks_logged),
            week_cv=week_cv * self._scale(),
            basis=self.basis,
            guessed_share=np.minimum(guessed / total, 1.0),
            crew=self.crew_now,
        )

    # -- readings --------------------------------------------------------------------------------------------------

    def _readings(self) -> tuple[Ints, Ints, Floats, NDArray[np.int8], Ints]:
        """Row, day, value, kind and meter number of every reading, registration first, sorted by row and day.

        The meter number counts exchanges; a total (services, failures, registration) has number -1.
        """
        hours = self.h.hours
        meter = ~np.isnan(hours["meter"]) & (self.row_of[hours["unit"]] >= 0)
        row, day = self.row_of[hours["unit"][meter]], hours["day"][meter]
        swaps = np.cumsum(hours["replaced"][meter])
        start = np.searchsorted(row, np.arange(self.n))
        before = np.concatenate([[0], swaps])[start][row] if len(row) else swaps
        parts = [
            (np.arange(self.n), self.registered - 1, self.start_hours, np.full(self.n, NONE), np.full(self.n, -1)),
            (row, day, hours["meter"][meter], np.full(len(row), METER), swaps - before),
        ]
        for table in (self.h.services, self.h.failures):
            given = ~np.isnan(table["hours"]) & (self.row_of[table["unit"]] >= 0)
            count = int(given.sum())
            parts.append(
                (
                    self.row_of[table["unit"][given]],
                    table["day"][given],
                    table["hours"][given],
                    np.full(count, SERVICE),
                    np.full(count, -1),
                )
            )
        columns = [np.concatenate(c) for c in zip(*parts, strict=True)]
        order = np.lexsort((columns[2], columns[1], columns[0]))
        row, day, value, kind, number = (c[order] for c in columns)
        return row, day, value.astype(float), kind.astype(np.int8), number.astype(np.int64)

    def _through_readings(
        self, amount: Floats, kind: NDArray[np.int8], readings: Sequence[Any], c: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """The line through all readings; at ``known_until``, its variance, the hours since the last reading, and how
        many of these nobody logged.

        Each exchange of a meter needs the line up to it first: the total goes on from that day's estimate.
        """
        row, day, value, source, number = readings
        offset = np.zeros(len(row))
        usable = number <= 0
        swaps = int(number.max(initial=0))
        line = self._pass(amount, kind, c, row[usable], day[usable], value[usable])
        for swap in range(1, swaps + 1):
            first = np.zeros(self.n, dtype=np.int64)
            of_swap = np.flatnonzero(number == swap)
            # The first reading of each new meter: the row marked as replaced.
            rows, at = np.unique(row[of_swap], return_index=True)
            start = of_swap[at]
            first[rows] = start
            estimate = line[rows, np.clip(day[start] - self.first_day, 0, self.days - 1)]
            offset[of_swap] = (
                np.repeat(0.0, len(of_swap)) + (estimate - value[start])[np.searchsorted(rows, row[of_swap])]
            )
            usable |= number == swap
            line = self._pass(amount, kind, c, row[usable], day[usable], (value + offset)[usable])
        last_day = np.zeros(self.n, dtype=np.int64)
        np.maximum.at(last_day, row, day)
        last_source = np.zeros(self.n, dtype=np.int8)
        last_source[row] = source
        rows = np.arange(self.n)
        known = self.known_until - self.first_day
        at_reading = line[rows, np.clip(last_day - self.first_day, 0, self.days - 1)]
        since = np.maximum(line[rows, known] - at_reading, 0.0)
        spread = (amount * c[rows[:, None], kind]).cumsum(axis=1)
        noise = spread[rows, known] - spread[rows, np.minimum(last_day - self.first_day, known)]
        sd = np.array([READING_SD["registration"], READING_SD["meter"], 0, 0, 0, READING_SD["service"]])
        nobody = np.where(kind == GUESS, amount, 0.0).cumsum(axis=1)
        guessed = nobody[rows, known] - nobody[rows, np.minimum(last_day - self.first_day, known)]
        variance = sd[last_source] ** 2 + np.maximum(noise, 0.0) * self._scale() ** 2
        return line, variance, since, np.maximum(guessed, 0.0)

    def _pass(self, amount: Floats, kind: NDArray[np.int8], c: Floats, row: Ints, day: Ints, value: Floats) -> Floats:
        """Adjust the days between readings so that the line passes through them."""
        column = np.clip(day - self.first_day, 0, self.days - 1)
        last_of_day = np.ones(len(row), dtype=bool)
        last_of_day[:-1] = (row[:-1] != row[1:]) | (column[:-1] != column[1:])
        row, column, value = row[last_of_day], column[last_of_day], value[last_of_day]
        # A trace of hours on every day, so that a gain between readings always has days to fall on.
        traced = amount + 1e-9
        weight = traced * c[np.arange(self.n)[:, None], kind]
        total, weighted = traced.cumsum(axis=1), weight.cumsum(axis=1)
        follows = np.zeros(len(row), dtype=bool)
        follows[1:] = row[1:] == row[:-1]
        at = np.flatnonzero(follows)
        r, i, j = row[at], column[at - 1], column[at]
        gain = np.maximum(value[at] - value[at - 1], 0.0)
        said, give = total[r, j] - total[r, i], weighted[r, j] - weighted[r, i]
        tilt = (gain - said) / give
        # Where guesses cannot give way that much, everything is scaled alike.
        most = c[r].max(axis=1)
        alike = tilt * most < -1.0
        scale = np.where(alike, gain / said, 1.0)
        tilt = np.where(alike, 0.0, tilt)
        # Segment number of each day: 0 before the second reading, and so on; the last one is open.
        segment = np.zeros((self.n, self.days + 1), dtype=np.int32)
        np.add.at(segment, (row, column + 1), 1)
        segment = np.cumsum(segment[:, : self.days], axis=1)
        first_reading = np.searchsorted(row, np.arange(self.n))
        n_readings = np.bincount(row, minlength=self.n)
        of_reading_scale, of_reading_tilt = np.ones(len(row) + 1), np.zeros(len(row) + 1)
        of_reading_scale[at - 1], of_reading_tilt[at - 1] = scale, tilt
        closed = (segment >= 1) & (segment < n_readings[:, None])
        which = np.where(closed, first_reading[:, None] + segment - 1, len(row))
        daily = np.where(closed, traced, amount)
        adjusted = daily * of_reading_scale[which] + weight * of_reading_tilt[which] * closed
        # Rounding must not let an engine run backwards: hours below zero, be it by a trace, are no hours.
        return self.start_hours[:, None] + np.maximum(adjusted, 0.0).cumsum(axis=1)

    # -- doubt -----------------------------------------------------------------------------------------------------

    def _scale(self) -> Floats:
        table = np.array([[u.scale.get(b, 1.0) for b in BASES] for u in self.usages])
        return table[self.usage_of, self.basis]

    def _class_variance(self, factor: Floats) -> Floats:
        """Variance for each hour of a day, by the kind of entry the day rests on: (n, kinds)."""
        days = np.array([max(u.season.days_per_week, 1) for u in self.usages])[self.usage_of]
        week = np.maximum(self._rate_now() * factor * days, 0.1)
        week_cv = np.array([u.week_cv for u in self.usages])[self.usage_of]
        c = np.ones((self.n, len(BASES)))
        c[:, GUESS] = week_cv**2 * week
        for code in (RUN, FUEL, CREW):
            c[:, code] = LOGGED_CV[BASES[code]] ** 2 * week
        return c

    def _bias_cv(self) -> Floats:
        return np.array([BIAS_CV[b] for b in BASES])[self.basis]

    def _rate_cv(self, weeks_logged: Floats) -> Floats:
        """Doubt about the usual rate: what the unit's own weeks leave open, and seasons that differ."""
        week_cv = np.array([u.week_cv for u in self.usages])[self.usage_of]
        unit_cv = np.array([u.unit_cv for u in self.usages])[self.usage_of]
        season_cv = np.array([u.season_cv for u in self.usages])[self.usage_of]
        pseudo = (week_cv / np.maximum(unit_cv, 0.05)) ** 2
        own = unit_cv**2 * pseudo / (pseudo + weeks_logged)
        return np.sqrt(own + season_cv**2) * self._scale()
