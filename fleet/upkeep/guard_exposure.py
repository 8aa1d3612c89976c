"""How probably each unit's guard was off, hour by hour: what the looks say under its crew's habit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.reliability.guard_chain import GuardLooks, smoothed_off
from fleet.reliability.guard_grid import crew_habits
from fleet.upkeep.histories import GUARD_CODE, NO_CREW, SEEN_CODE, Histories
from fleet.upkeep.timelines import Timelines

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A crew of which nothing is known: the prior's means.
PRIOR_HABIT = (0.255, 0.025)
# Longest stretch over which one figure stands for the chance, hours; chances closer than a step are one stretch.
LONGEST, STEP = 30.0, 0.1
# A unit's own exposure is its mean over so many last hours.
RECENT = 100.0
_SPAN = 1 << 20
_OFF = np.zeros(len(GUARD_CODE))
_OFF[[GUARD_CODE["off"], GUARD_CODE["damaged"], GUARD_CODE["refitted"]]] = 1.0
_OFF[GUARD_CODE[""]] = np.nan
_LEFT = np.where(np.arange(len(GUARD_CODE)) == GUARD_CODE["refitted"], 0.0, _OFF)


@dataclass(frozen=True)
class Exposure:
    """Stretches of hours with a steady chance of *guard off*, sorted by row and hour; rows as in ``Timelines``.

    ``recent`` is each row's mean over its last hours.
    """

    row: Ints
    start: Floats
    end: Floats
    chance: Floats
    recent: Floats


def crew_on(h: Histories, unit: Ints, day: Ints) -> Ints:
    """The crew each unit rode with on a day; ``NO_CREW`` for none."""
    moves = h.moves
    place = np.searchsorted(moves["unit"] * _SPAN + moves["day"], unit * _SPAN + day, side="right") - 1
    crew = np.full(len(unit), NO_CREW, dtype=np.int64)
    if len(moves["unit"]):
        there = (place >= 0) & (moves["unit"][np.maximum(place, 0)] == unit)
        crew[there] = moves["crew"][place[there]]
    return crew


def crews_of(h: Histories) -> dict[int, set[int]]:
    """Crews that each contractor's units rode with."""
    owner = h.units["contractor"][h.moves["unit"]]
    found: dict[int, set[int]] = {}
    for contractor, crew in np.unique(np.stack([owner, h.moves["crew"]], axis=1), axis=0).tolist():
        if crew != NO_CREW:
            found.setdefault(contractor, set()).add(crew)
    return found


def guard_looks(h: Histories, lines: Timelines) -> tuple[GuardLooks, Ints]:
    """Looks at the guards of the core units, crews coded, and the crews by code.

    ``unit`` is the row in ``lines``. What a unit came with is a state left, not found. A shop visit without a look at
    the guard leaves nothing known.
    """
    core = lines.unit
    seen = (h.guards["guard"] != 0) & (lines.row_of[h.guards["unit"]] >= 0)
    unit, day, state = h.guards["unit"][seen], h.guards["day"][seen], h.guards["guard"][seen]
    shop = h.services["done_by"] == SEEN_CODE["shop"]
    visits = np.unique(h.services["unit"][shop] * _SPAN + h.services["day"][shop])
    mended = np.unique(h.failures["unit"] * _SPAN + h.failures["day"])
    visits = np.union1d(visits, mended)
    visited, on = visits >> 20, visits & (_SPAN - 1)
    start = h.units["hours_at_registration"][core]
    hours = np.concatenate([start, lines.hours_on(visited, on), lines.hours_on(unit, day)])
    units = np.concatenate([core, visited, unit])
    crew = crew_on(h, units, np.concatenate([h.units["registered"][core], on, day]))
    names, code = np.unique(np.concatenate([crew, lines.crew]), return_inverse=True)
    # A look later than any entry of hours is at the last hours known.
    known = np.maximum(lines.hours, start)
    hours = np.clip(hours, h.units["hours_at_registration"][units], known[lines.row_of[units]])
    unknown = np.full(len(visits), np.nan)
    looks = GuardLooks.build(
        lines.row_of[units],
        code[: len(crew)],
        hours,
        np.concatenate([np.full(len(core), np.nan), unknown, _OFF[state]]),
        np.concatenate([_LEFT[h.units["guard"][core]], unknown, _LEFT[state]]),
    )
    return looks, names


def learn_habits(looks: GuardLooks, names: Ints) -> dict[int, tuple[float, float]]:
    """Each crew's share of hours off and changes an hour; crews nobody looked at are left out."""
    looked = np.bincount(looks.crew[~np.isnan(looks.found)], minlength=len(names)) > 0
    share, pace = crew_habits(looks, len(names))
    return {
        int(names[c]): (round(float(share[c]), 4), round(float(pace[c]), 5))
        for c in np.flatnonzero(looked)
        if names[c] != NO_CREW
    }


def guard_exposure(
    h: Histories, lines: Timelines, looks: GuardLooks, names: Ints, habits: Sequence[Mapping[int, tuple[float, float]]]
) -> Exposure:
    """Stretches of exposure from the looks and the crews' habits (crews are nobody's but one contractor's)."""
    merged: dict[int, tuple[float, float]] = {}
    for mapping in habits:
        merged.update(mapping)
    table = np.array([merged.get(int(c), PRIOR_HABIT) for c in names]).reshape(-1, 2)
    n = len(lines.unit)
    now = np.searchsorted(names, lines.crew)
    end = np.maximum(lines.hours, h.units["hours_at_registration"][lines.unit])
    # Knots: every look, and where the unit stands now.
    row = np.concatenate([looks.unit, np.arange(n)])
    hour = np.concatenate([looks.hour, end])
    crew = np.concatenate([looks.crew, now])
    order = np.lexsort((np.repeat([0, 1], [len(looks.unit), n]), hour, row))
    row, hour, crew = row[order], hour[order], crew[order]
    first = np.flatnonzero((row[1:] == row[:-1]) & (hour[1:] - hour[:-1] > 1e-6))
    width = hour[first + 1] - hour[first]
    number = np.maximum(1, np.ceil(width / LONGEST)).astype(np.int64)
    of = np.repeat(first, number)
    step = np.repeat(width / number, number)
    place = np.arange(len(of)) - np.repeat(np.cumsum(number) - number, number)
    start = hour[of] + place * step
    chance = smoothed_off(looks, table[:, 0], table[:, 1], row[of], crew[of + 1], start + step / 2)
    return _steady(row[of], start, start + step, np.asarray(chance, dtype=np.float64), end, looks, n)


def _steady(row: Ints, start: Floats, end: Floats, chance: Floats, now: Floats, looks: GuardLooks, n: int) -> Exposure:
    """Put neighboring stretches of about the same chance together."""
    level = np.rint(chance / STEP)
    new = np.ones(len(row), dtype=bool)
    new[1:] = (row[1:] != row[:-1]) | (level[1:] != level[:-1])
    head = np.flatnonzero(new)
    hours = end - start
    recent = np.clip(end - np.maximum(start, now[row] - RECENT), 0.0, None)
    weight = np.bincount(row, weights=recent, minlength=n)
    mean = np.bincount(row, weights=recent * chance, minlength=n) / np.where(weight > 0, weight, 1.0)
    # Without hours yet: as the unit came.
    came = np.zeros(n)
    came[looks.unit[::-1]] = np.nan_to_num(looks.left[::-1])
    if not len(row):
        return Exposure(row, start, end, chance, np.round(came, 4))
    total = np.add.reduceat(hours, head)
    return Exposure(
        row=row[head],
        start=start[head],
        end=np.concatenate([end[head[1:] - 1], end[-1:]]),
        chance=np.round(np.add.reduceat(hours * chance, head) / total, 2),
        recent=np.asarray(np.round(np.where(weight > 0, mean, came), 4), dtype=np.float64),
    )
