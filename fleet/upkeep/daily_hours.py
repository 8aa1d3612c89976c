"""Hours of each day before any reading has its say: entries, shares of crew totals, and the usual week elsewhere."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.crew_shares import Shares, crew_shares
from fleet.upkeep.days import monday
from fleet.upkeep.histories import NO_CREW, Histories
from fleet.upkeep.usage import Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# What a day, or a unit's latest hours, rest on.
BASES = ("none", "meter", "run", "fuel", "crew", "service")
NONE, METER, RUN, FUEL, CREW, SERVICE = range(len(BASES))
GUESS = NONE


class DailyHours:
    """The working arrays of one batch of units: a row for each core unit, a column for each day."""

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
        return self.row_of[unit], day, hours, np.where(np.isnan(run), FUEL, RUN).astype(np.int8)

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
                SERVICE,
            ),
            (
                self.row_of[self.h.failures["unit"]],
                self.h.failures["day"],
                ~np.isnan(self.h.failures["hours"]),
                SERVICE,
            ),
            (self.shares[0], self.shares[1] + 6, np.ones(len(self.shares[0]), dtype=bool), CREW),
        ]
        for code in (FUEL, RUN):
            of_kind = self.own[3] == code
            sources.append((self.own[0], monday(self.own[1]) + 6, of_kind, code))
        sources.append((self.row_of[self.h.hours["unit"]], self.h.hours["day"], meter, METER))
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

    def _unit_factor(self, base: Floats) -> tuple[Floats, Floats]:
        """How much more than its crew's usual week the unit runs, shrunk to 1; and the weeks that rests on.

        Earlier seasons count a third: people and sites change over the winter.
        """
        cumulated = np.concatenate([np.zeros((self.n, 1)), base.cumsum(axis=1)], axis=1)
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
        kind = np.full(base.shape, GUESS, dtype=np.int8)
        share_row, share_week, share_hours = self.shares
        own_row, own_day, own_hours, own_kind = self.own
        for row, week, code in ((share_row, share_week, CREW), (own_row, monday(own_day), RUN)):
            self._clear_weeks(amount, kind, row, week, code)
        # A share covers the days of its week that the unit was there; an entry covers the days since the one before.
        self._spread(amount, share_row, share_week, np.minimum(share_week + 6, self.retired[share_row]), share_hours)
        covered_from = monday(own_day)
        if len(own_row) > 1:
            again = (own_row[1:] == own_row[:-1]) & (monday(own_day)[1:] == monday(own_day)[:-1])
            covered_from[1:] = np.where(again, np.minimum(own_day[:-1] + 1, own_day[1:]), covered_from[1:])
        self._spread(amount, own_row, covered_from, own_day, own_hours)
        column = np.clip(own_day - self.first_day, 0, self.days - 1)
        fuel = own_kind == FUEL
        for back in range(7):
            kind[own_row[fuel], np.maximum(column[fuel] - back, 0)] = FUEL
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
