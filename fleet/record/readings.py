"""Which of a unit's hours contradict each other, and which of them to blame. Pure: no database, no files.

A unit's readings in order of date never fall and never rise by more than 24 hours a day. What is in the ledger, and the
hours it was registered with, stand; among new readings a longest run that agrees is kept and the others are blamed,
so that one typo never condemns a hundred good rows. A replaced meter starts a stretch of its own: the total from there
on rests on an estimate, so readings are compared within a meter, and total hours within a stretch.
"""

from __future__ import annotations

import datetime as dt
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

HOURS_A_DAY = 24
# Hours run are told for the days since the unit's last entry, and a log is never further behind than a week.
MOST_DAYS_TOLD = 7

METER, REPLACED, TOTAL = "meter", "replaced", "total"


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One reading of one unit. ``ref`` is whatever the caller wants back; a ``fixed`` reading is never blamed."""

    day: dt.date
    kind: str
    hours: Decimal
    fixed: bool = False
    ref: Any = None
    first: bool = False


@dataclass(frozen=True, slots=True)
class Clash:
    """A blamed reading and a neighbor it cannot stand beside; ``rise``: too fast, else backwards."""

    reading: Reading
    neighbor: Reading
    rise: bool


def agree(a: Reading, b: Reading) -> bool:
    """Whether ``b`` can follow ``a``: not backwards, and no more than 24 hours a day."""
    return a.hours <= b.hours and b.hours - a.hours <= HOURS_A_DAY * max(1, (b.day - a.day).days)


def clashes(readings: Iterable[Reading]) -> list[Clash]:
    """The blamed readings of one unit, in order of date."""
    found: list[Clash] = []
    for stretch in _stretches(readings):
        found += _clashes_in(stretch)
    return sorted(found, key=lambda clash: clash.reading.day)


def _stretches(readings: Iterable[Reading]) -> list[list[Reading]]:
    """Readings that can be compared with each other: up to the first new meter all, then each meter and the totals."""
    ordered = sorted(readings, key=lambda r: (r.day, not r.first, r.hours))
    replaced = [r for r in ordered if r.kind == REPLACED]
    if not replaced:
        return [ordered]
    meters: list[list[Reading]] = [[]]
    totals: list[list[Reading]] = [[]]
    at = 0
    for reading in ordered:
        while at < len(replaced) and replaced[at].day < reading.day:
            at = _next_meter(replaced, at, meters, totals)
        if reading.kind == REPLACED:
            continue
        if reading.kind == TOTAL and not reading.first:
            totals[-1].append(reading)
            continue
        # On the day of the exchange a reading is the old meter's unless that would make it go backwards.
        exchanged_today = at < len(replaced) and replaced[at].day == reading.day
        if exchanged_today and meters[-1] and reading.hours < meters[-1][-1].hours:
            at = _next_meter(replaced, at, meters, totals)
        meters[-1].append(reading)
    while at < len(replaced):
        at = _next_meter(replaced, at, meters, totals)
    # The first meter shows total hours.
    first = sorted(meters[0] + totals[0], key=lambda r: (r.day, not r.first, r.hours))
    return [first, *meters[1:], *totals[1:]]


def _next_meter(replaced: Sequence[Reading], at: int, meters: list[list[Reading]], totals: list[list[Reading]]) -> int:
    start = replaced[at]
    meters.append([Reading(start.day, METER, start.hours, True, start.ref, True)])
    totals.append([])
    return at + 1


def _clashes_in(ordered: list[Reading]) -> list[Clash]:
    if all(agree(a, b) for a, b in pairwise(ordered)):
        return []
    found: list[Clash] = []
    fixed = [place for place, reading in enumerate(ordered) if reading.fixed]
    ends = [-1, *fixed, len(ordered)]
    for before, after in pairwise(ends):
        low = ordered[before] if before >= 0 else None
        high = ordered[after] if after < len(ordered) else None
        possible: list[Reading] = []
        for reading in ordered[before + 1 : after]:
            if low is not None and not agree(low, reading):
                found.append(Clash(reading, low, reading.hours >= low.hours))
            elif high is not None and not agree(reading, high):
                found.append(Clash(reading, high, high.hours >= reading.hours))
            else:
                possible.append(reading)
        found += _blame(possible)
    return found


def _blame(ordered: list[Reading]) -> list[Clash]:
    """Keep a longest run that agrees; each of the others is shown against the kept neighbor that it contradicts."""
    if all(agree(a, b) for a, b in pairwise(ordered)):
        return []
    kept = _longest_run(ordered)
    found: list[Clash] = []
    for place, reading in enumerate(ordered):
        if place in kept:
            continue
        before = next((ordered[i] for i in range(place - 1, -1, -1) if i in kept), None)
        after = next((ordered[i] for i in range(place + 1, len(ordered)) if i in kept), None)
        if before is not None and not agree(before, reading):
            found.append(Clash(reading, before, reading.hours >= before.hours))
        elif after is not None and not agree(reading, after):
            found.append(Clash(reading, after, after.hours >= reading.hours))
        else:
            kept.add(place)  # agrees with both after all: two entries of one day may differ by hours
    return found


def _longest_run(ordered: list[Reading]) -> set[int]:
    """Places of a longest run in which neither the hours fall nor they rise faster than the clock.

    Both at once is dominance in (hours, clock minus hours), so the longest run is a longest non-falling subsequence of
    the second in order of the first: n log n, however wrong the file. Of several as long, the one that keeps the
    earlier readings: who comes second is the one that contradicts.
    """
    points = [(int(r.hours * 100), 100 * HOURS_A_DAY * r.day.toordinal() - int(r.hours * 100)) for r in ordered]
    # From the far end: how long a run can start at each reading.
    length = [0] * len(points)
    tails: list[int] = []
    for place in sorted(range(len(points)), key=lambda i: (points[i], i), reverse=True):
        slack = -points[place][1]
        spot = bisect_right(tails, slack)
        tails[spot : spot + 1] = [slack]
        length[place] = spot + 1
    kept: set[int] = set()
    wanted = len(tails)
    last = (min(p[0] for p in points), min(p[1] for p in points))
    for place, point in enumerate(points):
        if length[place] == wanted and point[0] >= last[0] and point[1] >= last[1]:
            kept.add(place)
            last = point
            wanted -= 1
    return kept


@dataclass(frozen=True, slots=True, eq=False)
class OwnEntry:
    """One hours entry of a unit's own, of any kind; ``run`` only where hours run were told."""

    day: dt.date
    run: Decimal | None
    fixed: bool = False
    ref: Any = None


def told_too_many(entries: Iterable[OwnEntry], registered_on: dt.date) -> list[tuple[OwnEntry, int]]:
    """Entries that tell more hours run than the days since the unit's previous own entry can hold, with those days.

    Hours of one day add up. A new entry put in front of one that stands must leave it its days as well.
    """
    by_day: dict[dt.date, list[OwnEntry]] = {}
    for entry in entries:
        by_day.setdefault(entry.day, []).append(entry)
    blamed: list[tuple[OwnEntry, int]] = []
    previous: dt.date | None = None
    previous_new: list[OwnEntry] = []
    for day in sorted(by_day):
        since = registered_on if previous is None else previous
        days = min(max(1, (day - since).days), MOST_DAYS_TOLD)
        total = Decimal(0)
        kept_new: list[OwnEntry] = []
        stands = False
        for entry in sorted(by_day[day], key=lambda e: not e.fixed):
            if entry.run is not None and total + entry.run > HOURS_A_DAY * days:
                if not entry.fixed:
                    blamed.append((entry, days))
                    continue
                if total == 0 and previous_new and previous is not None:
                    blamed += [(earlier, days) for earlier in previous_new]
                    previous_new = []
            total += entry.run or 0
            stands = True
            if not entry.fixed:
                kept_new.append(entry)
        if stands:
            previous = day
            previous_new = kept_new if len(kept_new) == len(by_day[day]) else []
    return blamed
