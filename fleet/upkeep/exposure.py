"""Whose hours were whose: every unit's engine hours cut where it changed crews, and the crew of any date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import NO_DAY
from fleet.upkeep.histories import Columns, Histories, load_histories
from fleet.upkeep.refresh import SHARD, latest_usages, read_setting
from fleet.upkeep.timelines import Timelines, build_timelines
from fleet.upkeep.usage import Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_SPAN = 1 << 20


@dataclass(frozen=True)
class Batch:
    """Some units' ledger with their hours by day, up to a date."""

    h: Histories
    lines: Timelines
    usage: Usage

    def hours_on(self, unit: Ints, day: Ints) -> Floats:
        """Engine hours of units (row numbers in ``h.units``) at the end of a day."""
        return self.lines.hours_on(unit, day)


def batches(unit_ids: Sequence[int], contractor_id: int, as_of: dt.date) -> Iterator[Batch]:
    """One contractor's units in shards, so that the days of a large fleet never lie in memory all at once."""
    usages = latest_usages([contractor_id], as_of)
    for start in range(0, len(unit_ids), SHARD):
        h = load_histories(unit_ids[start : start + SHARD], as_of)
        if h.core.any():
            setting = read_setting(h, usages=usages)
            lines = build_timelines(h, setting.usages, setting.usage_of, setting.burn)
            yield Batch(h, lines, usages[contractor_id])


@dataclass(frozen=True)
class Stays:
    """Units with a crew from one day to another, both counted, with the engine hours at both ends.

    ``unit`` is a row number in ``Histories.units``, ``crew`` is ``NO_CREW`` in the yard; rows lie by unit and day.
    """

    unit: Ints
    crew: Ints
    first: Ints
    last: Ints
    entry: Floats
    end: Floats

    def holding(self, unit: Ints, day: Ints) -> Ints:
        """Row of the stay that holds each unit's day, -1 where none does."""
        if not len(self.unit):
            return np.full(len(unit), -1, dtype=np.int64)
        place = np.searchsorted(self.unit * _SPAN + self.first, unit * _SPAN + day, side="right") - 1
        found = np.maximum(place, 0)
        inside = (place >= 0) & (self.unit[found] == unit) & (day <= self.last[found])
        return np.where(inside, found, -1)


def stays_of(batch: Batch, first_day: int, last_day: int) -> Stays:
    """Stays of the batch's own units within a span of days.

    A unit's hours count as far as its entries speak: up to the week of the last one, or the last look or repair.
    """
    h, lines = batch.h, batch.lines
    until = np.full(h.n_units, -1, dtype=np.int64)
    until[lines.unit] = lines.known_until
    for table in (h.guards, h.services, h.failures):
        np.maximum.at(until, table["unit"], table["day"])
    until = np.minimum(until, h.units["retired"])
    own = h.core[h.moves["unit"]]
    unit, day, crew = (h.moves[name][own] for name in ("unit", "day", "crew"))
    # Of several moves on one day the last stands.
    stands = np.ones(len(unit), dtype=bool)
    stands[:-1] = (unit[1:] != unit[:-1]) | (day[1:] != day[:-1])
    unit, day, crew = unit[stands], day[stands], crew[stands]
    following = np.full(len(unit), NO_DAY)
    following[:-1] = np.where(unit[1:] == unit[:-1], day[1:] - 1, NO_DAY)
    first = np.maximum(day, first_day)
    last = np.minimum(np.minimum(following, until[unit]), last_day)
    kept = last >= first
    unit, crew, first, last = unit[kept], crew[kept], first[kept], last[kept]
    return Stays(unit, crew, first, last, batch.hours_on(unit, first - 1), batch.hours_on(unit, last))


def of_units(table: Columns, batch: Batch, first_day: int, last_day: int) -> Columns:
    """Rows of a table about the batch's own units within the days."""
    mask = batch.h.core[table["unit"]] & (table["day"] >= first_day) & (table["day"] <= last_day)
    return {name: values[mask] for name, values in table.items()}
