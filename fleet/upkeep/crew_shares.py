"""A crew's total for a week, shared out: units' own entries come off first, the rest is shared equally."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import NO_DAY, monday
from fleet.upkeep.histories import NO_CREW, Histories

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Shares:
    """Hours that fall to a unit from its crew's total: row in ``units``, Monday of the week, hours."""

    unit: Ints
    monday: Ints
    hours: Floats


def own_week_hours(h: Histories, burn: Floats) -> tuple[Ints, Ints, Floats]:
    """Unit, Monday and hours of every unit-week that has an entry of its own.

    Hours run and fuel count in full; of a meter's difference, the share of its days that lie in the reading's week.
    """
    rows = h.hours
    unit, day = rows["unit"], rows["day"]
    logged = np.nan_to_num(rows["run"]) + np.nan_to_num(rows["litres"]) / burn[unit]
    metered = ~np.isnan(rows["meter"])
    reading = np.flatnonzero(metered)
    if len(reading):
        u, d, value = unit[reading], day[reading], rows["meter"][reading]
        first = np.ones(len(reading), dtype=bool)
        first[1:] = u[1:] != u[:-1]
        before_day = np.where(first, h.units["registered"][u], np.roll(d, 1))
        before = np.where(first, h.units["hours_at_registration"][u], np.roll(value, 1))
        gap = np.maximum(d - before_day, 1)
        in_week = np.minimum(d - monday(d) + 1, gap)
        gained = np.where(rows["replaced"][reading] == 1, 0.0, np.maximum(value - before, 0.0))
        logged[reading] = gained * in_week / gap
    week = monday(day)
    key = unit * (1 << 20) + week
    keys, inverse = np.unique(key, return_inverse=True)
    return keys >> 20, keys & ((1 << 20) - 1), np.bincount(inverse, weights=logged, minlength=len(keys)).astype(float)


def crew_shares(h: Histories, burn: Floats) -> Shares:
    """Share every crew total over the units that rode with the crew at the end of that week.

    A unit belongs to the crew it was with on the week's Sunday, or on its last day where it retired in that week.
    """
    totals = h.crew_hours
    if not len(totals["crew"]):
        empty = np.zeros(0, dtype=np.int64)
        return Shares(empty, empty, np.zeros(0))
    unit, start, crew = h.moves["unit"], h.moves["day"], h.moves["crew"]
    retired = h.units["retired"][unit]
    last = np.ones(len(unit), dtype=bool)
    last[:-1] = unit[:-1] != unit[1:]
    ends = np.where(last, NO_DAY, np.roll(start, -1) - 1)
    until = np.minimum(ends, retired)
    # Weeks (by Monday) whose reference day lies within the stay.
    low, high = start - 6, np.where(until >= retired, until, until - 6)

    span = 1 << 20
    total_key = totals["crew"] * span + totals["monday"]
    stays = crew != NO_CREW
    crew_s = crew[stays]
    left = np.searchsorted(total_key, crew_s * span + np.maximum(low[stays], 0), side="left")
    right = np.searchsorted(total_key, crew_s * span + np.minimum(high[stays], span - 1), side="right")
    count = np.maximum(right - left, 0)
    pair_unit = np.repeat(unit[stays], count)
    offset = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    pair_total = np.repeat(left, count) + offset

    own_unit, own_monday, own_hours = own_week_hours(h, burn)
    own_key = own_unit * span + own_monday
    pair_key = pair_unit * span + totals["monday"][pair_total]
    place = np.searchsorted(own_key, pair_key)
    has_own = np.zeros(len(pair_key), dtype=bool)
    inside = place < len(own_key)
    has_own[inside] = own_key[place[inside]] == pair_key[inside]
    taken = np.zeros(len(pair_key))
    taken[has_own] = own_hours[place[has_own]]

    n = len(total_key)
    members = np.maximum(np.bincount(pair_total, minlength=n), 1)
    crew_burn = np.bincount(pair_total, weights=burn[pair_unit], minlength=n) / members
    fuel = np.nan_to_num(totals["litres"]) * np.nan_to_num(totals["share"], nan=1.0)
    total = np.nan_to_num(totals["hours"]) + fuel / np.where(crew_burn > 0, crew_burn, 1.0)
    rest = np.maximum(total - np.bincount(pair_total, weights=taken, minlength=n), 0.0)
    others = np.bincount(pair_total, weights=~has_own, minlength=n)
    share = rest / np.where(others > 0, others, 1.0)
    sharing = ~has_own
    return Shares(pair_unit[sharing], totals["monday"][pair_total][sharing], share[pair_total][sharing])
