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

from fleet.upkeep.crew_shares import Shares, crew_shares
from fleet.upkeep.days import NO_DAY, monday
from fleet.upkeep.histories import NO_CREW, Histories
from fleet.upkeep.usage import BIAS_CV, LOGGED_CV, READING_SD, Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

BASES = ("none", "meter", "run", "fuel", "crew", "service")
_NONE, _METER, _RUN, _FUEL, _CREW, _SERVICE = range(len(BASES))
_GUESS = 0


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


class _Builder:
    """The working arrays of one batch, filled step by step."""

    def __init__(self, h: Histories, usages: Sequence[Usage], usage_of: Ints, burn: Floats) -> None:
        self.h, self.usages, self.burn = h, usages, burn
        self.core = np.flatnonzero(h.core)
        self.n = len(self.core)
        self.row_of = np.full(h.n_units, -1, dtype=np.int64)
        self.row_of[self.core] = np.arange(self.n)
        self.usage_of = usage_of[self.core]
        self.registered = h.units["registered"][self.core]
        self.retired = h.units["retired"][self.core]
        self.start_hours = h.units["hours_at_registration"][self.core]
        self.shares = self._core_rows(crew_shares(h, burn))
        self.own = self._own_entries()
        self.known_until, self.basis = self._known_until()
        # The day before registration holds the hours at registration.
        self.first_day = int(self.registered.min()) - 1 if self.n else 0
        self.days = self._last_day() - self.first_day + 1

    def build(self) -> Timelines:
        self.base = self._base()
        factor, weeks_logged = self._unit_factor()
        self.base *= factor[:, None]
        amount, kind = self._fill(self.base)
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

    # -- what entries say ------------------------------------------------------------------------------------------

    def _core_rows(self, shares: Shares) -> tuple[Ints, Ints, Floats]:
        row = self.row_of[shares.unit]
        mine = row >= 0
        return row[mine], shares.monday[mine], shares.hours[mine]

    def _own_entries(self) -> tuple[Ints, Ints, Floats, NDArray[np.int8]]:
        """Row, day, hours and kind of the core units' hours-run and fuel entries."""
        rows = self.h.hours
        logged = ~(np.isnan(rows["run"]) & np.isnan(rows["litres"])) & (self.row_of[rows["unit"]] >= 0)
        unit, day = rows["unit"][logged], rows["day"][logged]
        run, litres = rows["run"][logged], rows["litres"][logged]
        hours = np.where(np.isnan(run), litres / self.burn[unit], run)
        return self.row_of[unit], day, hours, np.where(np.isnan(run), _FUEL, _RUN).astype(np.int8)

    def _known_until(self) -> tuple[Ints, NDArray[np.int8]]:
        """Until when entries speak, and the kind of the latest: a week's total speaks for the whole week."""
        known = self.registered - 1
        basis = np.zeros(self.n, dtype=np.int8)
        meter = ~np.isnan(self.h.hours["meter"])
        sources = [
            (
                self.row_of[self.h.services["unit"]],
                self.h.services["day"],
                ~np.isnan(self.h.services["hours"]),
                _SERVICE,
            ),
            (
                self.row_of[self.h.failures["unit"]],
                self.h.failures["day"],
                ~np.isnan(self.h.failures["hours"]),
                _SERVICE,
            ),
            (self.shares[0], self.shares[1] + 6, np.ones(len(self.shares[0]), dtype=bool), _CREW),
        ]
        for code in (_FUEL, _RUN):
            of_kind = self.own[3] == code
            sources.append((self.own[0], monday(self.own[1]) + 6, of_kind, code))
        sources.append((self.row_of[self.h.hours["unit"]], self.h.hours["day"], meter, _METER))
        for row, day, mask, code in sources:
            mask = mask & (row >= 0)
            latest = np.full(self.n, -1, dtype=np.int64)
            np.maximum.at(latest, row[mask], day[mask])
            newer = latest >= known
            basis[newer] = code
            known = np.maximum(known, latest)
        return np.minimum(known, np.maximum(self.retired, self.registered - 1)), basis

    def _last_day(self) -> int:
        """Last day the grid must hold: entries, and events whose hours are to be filled in."""
        days = [self.known_until, self.own[1], self.shares[1] + 6]
        days += [t["day"] for t in (self.h.services, self.h.failures, self.h.hours)]
        return max((int(d.max()) for d in days if len(d)), default=self.first_day)

    # -- the usual day ---------------------------------------------------------------------------------------------

    def _base(self) -> Floats:
        """Hours of each day at the usual rate of the crew the unit rode with."""
        worth = np.stack([u.season.worth(self.first_day, self.days) for u in self.usages])
        moves = self.h.moves
        mine = self.row_of[moves["unit"]] >= 0
        row, day, crew = self.row_of[moves["unit"][mine]], moves["day"][mine], moves["crew"][mine]
        usage = self.usage_of[row]
        rate = np.array([self.usages[k].rate_of(int(c)) for k, c in zip(usage, crew, strict=True)], dtype=float)
        plain = np.array([u.day_rate for u in self.usages])[self.usage_of]
        self.crew_now = np.full(self.n, NO_CREW, dtype=np.int64)
        self.crew_now[row] = crew  # rows are sorted by day: the last one stands
        rates = np.repeat(plain[:, None], self.days, axis=1) if len(row) == 0 else None
        if rates is None:
            stay = np.zeros((self.n, self.days), dtype=np.int32)
            column = np.maximum(day - self.first_day, 0)
            here = column < self.days  # later moves do not touch these days
            np.add.at(stay, (row[here], column[here]), 1)
            np.cumsum(stay, axis=1, out=stay)
            before = np.searchsorted(row, np.arange(self.n))  # moves of earlier rows
            which = stay + before[:, None] - 1
            rates = np.where(stay > 0, rate[np.clip(which, 0, len(rate) - 1)], plain[:, None])
        base = rates * worth[self.usage_of]
        day_numbers = np.arange(self.first_day, self.first_day + self.days)
        base[day_numbers[None, :] < self.registered[:, None]] = 0.0
        base[day_numbers[None, :] > self.retired[:, None]] = 0.0
        return base

    def _rate_now(self) -> Floats:
        return np.array(
            [self.usages[k].rate_of(int(c)) for k, c in zip(self.usage_of, self.crew_now, strict=True)], dtype=float
        )

    def _unit_factor(self) -> tuple[Floats, Floats]:
        """How much more than its crew's usual week the unit runs, shrunk to 1; and the weeks that rests on.

        Earlier seasons count a third: people and sites change over the winter.
        """
        cumulated = np.concatenate([np.zeros((self.n, 1)), self.base.cumsum(axis=1)], axis=1)
        logged, expected = np.zeros(self.n), np.zeros(self.n)
        row, day, hours, _kind = self.own
        if len(row):
            key, inverse = np.unique(row * (1 << 20) + monday(day), return_inverse=True)
            total = np.bincount(inverse, weights=hours).astype(float)
            row, week = key >> 20, key & ((1 << 20) - 1)
            start, end = (np.clip(week + k - self.first_day, 0, self.days) for k in (0, 7))
            usual = cumulated[row, end] - cumulated[row, start]
            self._count(logged, expected, row, week, total, usual)
        meter = ~np.isnan(self.h.hours["meter"])
        unit, day = self.h.hours["unit"][meter], self.h.hours["day"][meter]
        value, replaced = self.h.hours["meter"][meter], self.h.hours["replaced"][meter]
        row = self.row_of[unit]
        follows = np.zeros(len(row), dtype=bool)
        follows[1:] = (row[1:] == row[:-1]) & (replaced[1:] == 0)
        follows &= row >= 0
        if follows.any():
            at = np.flatnonzero(follows)
            i, j = day[at - 1] - self.first_day + 1, day[at] - self.first_day + 1
            usual = cumulated[row[at], j] - cumulated[row[at], i]
            self._count(logged, expected, row[at], day[at], np.maximum(value[at] - value[at - 1], 0.0), usual)
        week_cv = np.array([u.week_cv for u in self.usages])[self.usage_of]
        unit_cv = np.array([u.unit_cv for u in self.usages])[self.usage_of]
        days = np.array([max(u.season.days_per_week, 1) for u in self.usages])[self.usage_of]
        usual_week = np.maximum(self._rate_now() * days, 1e-6)
        pseudo = (week_cv / np.maximum(unit_cv, 0.05)) ** 2
        weeks = expected / usual_week
        return (logged / usual_week + pseudo) / (weeks + pseudo), weeks

    def _count(self, logged: Floats, expected: Floats, row: Ints, day: Ints, hours: Floats, usual: Floats) -> None:
        """Add entries to the unit's sums, later ones in full; where no work was expected nothing can be compared."""
        weight = np.where(self.known_until[row] - day < 250, 1.0, 0.35) * (usual > 0)
        np.add.at(logged, row, hours * weight)
        np.add.at(expected, row, usual * weight)

    # -- days of entries -------------------------------------------------------------------------------------------

    def _fill(self, base: Floats) -> tuple[Floats, NDArray[np.int8]]:
        """Hours of each day before readings have their say, and the kind of entry each day rests on."""
        amount = base.copy()
        kind = np.full(base.shape, _GUESS, dtype=np.int8)
        share_row, share_week, share_hours = self.shares
        own_row, own_day, own_hours, own_kind = self.own
        for row, week, code in ((share_row, share_week, _CREW), (own_row, monday(own_day), _RUN)):
            self._clear_weeks(amount, kind, row, week, code)
        # A share covers the days of its week that the unit was there; an entry covers the days since the one before.
        self._spread(amount, share_row, share_week, np.minimum(share_week + 6, self.retired[share_row]), share_hours)
        covered_from = monday(own_day)
        if len(own_row) > 1:
            again = (own_row[1:] == own_row[:-1]) & (monday(own_day)[1:] == monday(own_day)[:-1])
            covered_from[1:] = np.where(again, np.minimum(own_day[:-1] + 1, own_day[1:]), covered_from[1:])
        self._spread(amount, own_row, covered_from, own_day, own_hours)
        column = np.clip(own_day - self.first_day, 0, self.days - 1)
        fuel = own_kind == _FUEL
        for back in range(7):
            kind[own_row[fuel], np.maximum(column[fuel] - back, 0)] = _FUEL
        return amount, kind

    def _clear_weeks(self, amount: Floats, kind: NDArray[np.int8], row: Ints, week: Ints, code: int) -> None:
        for offset in range(7):
            column = week + offset - self.first_day
            inside = (column >= 0) & (column < self.days)
            amount[row[inside], column[inside]] = 0.0
            kind[row[inside], column[inside]] = code

    def _spread(self, amount: Floats, row: Ints, first: Ints, last: Ints, hours: Floats) -> None:
        """Add hours evenly over the working days from first to last (at most a week); with none, on the last day."""
        if not len(row):
            return
        first = np.maximum(np.maximum(first, self.registered[row]), last - 6)
        works = np.array([[c == "1" for c in u.season.working_days] for u in self.usages])[self.usage_of]
        day = last[:, None] - np.arange(7)[None, :]
        on = (day >= first[:, None]) & works[row[:, None], (day + 3) % 7]
        on[:, 0] |= ~on.any(axis=1)
        part = np.where(on, (hours / on.sum(axis=1))[:, None], 0.0)
        column = np.clip(day - self.first_day, 0, self.days - 1)
        np.add.at(amount, (np.repeat(row, 7), column.ravel()), part.ravel())

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
            (np.arange(self.n), self.registered - 1, self.start_hours, np.full(self.n, _NONE), np.full(self.n, -1)),
            (row, day, hours["meter"][meter], np.full(len(row), _METER), swaps - before),
        ]
        for table in (self.h.services, self.h.failures):
            given = ~np.isnan(table["hours"]) & (self.row_of[table["unit"]] >= 0)
            count = int(given.sum())
            parts.append(
                (
                    self.row_of[table["unit"][given]],
                    table["day"][given],
                    table["hours"][given],
                    np.full(count, _SERVICE),
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
        nobody = np.where(kind == _GUESS, amount, 0.0).cumsum(axis=1)
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
        return self.start_hours[:, None] + adjusted.cumsum(axis=1)

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
        c[:, _GUESS] = week_cv**2 * week
        for code in (_RUN, _FUEL, _CREW):
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
