"""Repairs per unit of a whole model: every failure of any component by the unit's engine hours."""

from __future__ import annotations

import numpy as np

from fleet.upkeep.curves_kept import repairs_of
from fleet.upkeep.fit_records import Curve
from fleet.upkeep.sample_packs import Samples, models_in
from fleet.upkeep.samples import PORT


def model_repairs(samples: Samples) -> dict[int, Curve]:
    """Mean failures a unit by its total hours, by model; models without a failure are left out."""
    s = samples
    mine = s["stream"] != PORT
    unit, model, at = s["unit"][mine], s["model"][mine], s["at"][mine]
    lower, upper, entry = s["lower"][mine], s["upper"][mine], s["entry"][mine]
    failed = np.isfinite(upper)
    last = at + np.where(failed, upper, lower) - entry
    found = {}
    for number in models_in(samples):
        rows = np.flatnonzero(model == number)
        curve = repairs_of(unit[rows], at[rows], last[rows], failed[rows])
        if curve is not None:
            found[int(number)] = curve
    return found
