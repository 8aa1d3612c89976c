"""What walks and benches saw of guards and lines, as looks along each unit's hours."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.exposure import Batch, Floats, Ints, of_units
from fleet.upkeep.histories import GUARD_CODE, LINE_CODE, SEEN_CODE, Columns
from fleet.upkeep.spending import was_mended

NAN = float("nan")

# As found, as left: 1 off, 0 on. Damaged counts as off; a guard without its cutter is on.
_FOUND = {"on": 0.0, "no_cutter": 0.0, "off": 1.0, "damaged": 1.0, "refitted": 1.0, "": NAN}
_LEFT = {**_FOUND, "refitted": 0.0}
_LONG = {"ok": 0.0, "uneven": 0.0, "too_thick": 0.0, "long": 1.0, "": NAN}


def _table(words: dict[str, float], codes: dict[str, int]) -> Floats:
    return np.array([words[word] for word, _code in sorted(codes.items(), key=lambda pair: pair[1])])


FOUND_OFF, LEFT_OFF = _table(_FOUND, GUARD_CODE), _table(_LEFT, GUARD_CODE)
LINE_LONG = _table(_LONG, LINE_CODE)


def found_off(guard: Ints) -> Floats:
    """1 off, 0 on, NaN not said, for codes of guard states."""
    return FOUND_OFF[guard]


def line_long(guards: Columns) -> Floats:
    """1 long, 0 not, NaN not looked at: a guard without its cutter does not trim the line, so it counts as long."""
    long = LINE_LONG[guards["line"]]
    return np.where(guards["guard"] == GUARD_CODE["no_cutter"], 1.0, long)


@dataclass(frozen=True)
class Looks:
    """One row a unit and day, by unit and day: what a crew found, and what was left behind (NaN: not known)."""

    unit: Ints
    day: Ints
    found: Floats
    left: Floats


def looks_of(batch: Batch, first_day: int, last_day: int, line: bool = False) -> Looks:
    """Looks at guards (or at line) of the batch's own units within the days, registration among them.

    A shop's look says how the unit left, never how a crew runs it: units come to the bench because something broke.
    What was known ends there, unless a look says how it left.
    """
    h = batch.h
    guards = of_units(h.guards, batch, first_day, last_day)
    services = of_units(h.services, batch, first_day, last_day)
    failures = of_units(h.failures, batch, first_day, last_day)
    by_shop = guards["seen_by"] == SEEN_CODE["shop"]
    found = line_long(guards) if line else FOUND_OFF[guards["guard"]]
    left = found if line else LEFT_OFF[guards["guard"]]
    visit = services["done_by"] == SEEN_CODE["shop"]
    mended = was_mended(failures)
    parts = [
        # order within a day: the crew's look, the visit, the look on leaving
        _part(guards, ~by_shop & ~np.isnan(found), found, left, 0),
        _part(services, visit, None, None, 1),
        _part(failures, mended, None, None, 1),
        _part(guards, by_shop & ~np.isnan(left), None, left, 2),
    ]
    if not line:
        parts.append(_registrations(batch, first_day, last_day))
    unit, day, turn, seen, after = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    order = np.lexsort((turn, day, unit))
    unit, day, seen, after = unit[order], day[order], seen[order], after[order]
    if not len(unit):
        return Looks(unit, day, seen, after)
    starts = np.concatenate([[True], (unit[1:] != unit[:-1]) | (day[1:] != day[:-1])])
    ends = np.concatenate([starts[1:], [True]])
    # The first that says how a crew had it, the last that says how it was left.
    group = np.cumsum(starts) - 1
    said = ~np.isnan(seen)
    first_seen = np.full(group[-1] + 1, NAN)
    first_seen[group[said][::-1]] = seen[said][::-1]
    return Looks(unit[starts], day[starts], first_seen, after[ends])


def _part(
    table: Columns, mask: NDArray[np.bool_], found: Floats | None, left: Floats | None, turn: int
) -> tuple[Ints, Ints, Ints, Floats, Floats]:
    n = int(mask.sum())
    nothing = np.full(n, NAN)
    return (
        table["unit"][mask],
        table["day"][mask],
        np.full(n, turn),
        nothing if found is None else found[mask],
        nothing if left is None else left[mask],
    )


def _registrations(batch: Batch, first_day: int, last_day: int) -> tuple[Ints, Ints, Ints, Floats, Floats]:
    unit = batch.lines.unit
    day = batch.h.units["registered"][unit]
    mask = (day >= first_day) & (day <= last_day)
    state = LEFT_OFF[batch.h.units["guard"][unit]]
    n = int(mask.sum())
    # The eve, for hours are those at the end of a day.
    return unit[mask], day[mask] - 1, np.full(n, -1), np.full(n, NAN), state[mask]
