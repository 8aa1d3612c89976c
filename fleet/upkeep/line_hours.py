"""Hours that each crew ran with the line long: the same chain between two looks as for guards, without an estimate."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fleet.reliability.guard_chain import GuardLooks, fit_chains, smoothed_off
from fleet.upkeep.histories import Columns

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A stay is looked at in so many places, evenly spread over its hours.
PLACES = 24


def hours_long(stays: Columns, crew: Ints, looks: Columns, crews: int) -> Floats | None:
    """Hours of each of the crews (numbered 0.. in ``crew``) with the line long; None where nobody looked.

    ``stays`` lie by unit and hour, all of them with a crew.
    """
    units, code = np.unique(stays["unit"], return_inverse=True)
    place = np.minimum(np.searchsorted(units, looks["unit"]), max(len(units) - 1, 0))
    seen = units[place] == looks["unit"] if len(units) else np.zeros(len(looks["unit"]), dtype=bool)
    if np.isnan(looks["found"][seen]).all():
        return None
    unit, hour = place[seen], looks["hour"][seen]
    row = _stay_at(code, stays["entry"], unit, hour)
    found = GuardLooks.build(unit, crew[row], hour, looks["found"][seen], looks["left"][seen])
    share, pace = fit_chains(found, crews)
    width = (stays["end"] - stays["entry"]) / PLACES
    long = np.zeros(len(code))
    for step in range(PLACES):
        at = stays["entry"] + (step + 0.5) * width
        long += smoothed_off(found, share, pace, code, crew, at) * width
    return np.bincount(crew, weights=long, minlength=crews).astype(float)


def _stay_at(code: Ints, entry: Floats, unit: Ints, hour: Floats) -> Ints:
    """Row of the stay that an hour of a unit falls into; its first one for an hour before it."""
    wide = 1.0 + max(float(entry.max(initial=0.0)), float(hour.max(initial=0.0)))
    row = np.searchsorted(code * wide + entry, unit * wide + hour, side="left") - 1
    return np.maximum(row, np.searchsorted(code, unit))
