"""Repairs per unit of whole models: every failure of any component by the unit's engine hours, and models compared."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.reliability import compare_repairs
from fleet.upkeep.curves_kept import repairs_of
from fleet.upkeep.fit_records import Curve
from fleet.upkeep.sample_packs import Samples, models_in
from fleet.upkeep.samples import PORT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# With fewer of either model in shared fleets the test's chi-square is too far off.
LEAST_UNITS, LEAST_REPAIRS = 8, 5
# Pairs are compared among the models with most units, and on so many units of each at most.
MOST_MODELS, MOST_UNITS = 12, 600


@dataclass(frozen=True)
class ModelPair:
    """Two models compared within the fleets that have both; ``units`` and ``repairs`` of the first and the second.

    ``fleets``: contractors whose units were compared. Show it only as ``fleet.upkeep.who_sees`` allows.
    """

    first: int
    second: int
    statistic: float
    p_value: float
    units: tuple[int, int]
    repairs: tuple[int, int]
    until: float
    fleets: tuple[int, ...]

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> ModelPair:
        """From JSON."""
        return cls(**{**data, **{name: tuple(data[name]) for name in ("units", "repairs", "fleets")}})


@dataclass(frozen=True)
class _Watched:
    """Spells of components: each a unit watched between total hours, and whether it ended in a failure."""

    unit: Ints
    model: Ints
    fleet: Ints
    start: Floats
    last: Floats
    failed: NDArray[np.bool_]

    def of(self, model: int) -> _Watched:
        rows = np.flatnonzero(self.model == model)
        return _Watched(
            self.unit[rows], self.model[rows], self.fleet[rows], self.start[rows], self.last[rows], self.failed[rows]
        )


def _watched(samples: Samples) -> _Watched:
    s = samples
    mine = s["stream"] != PORT
    lower, upper = s["lower"][mine], s["upper"][mine]
    failed = np.isfinite(upper)
    last = s["at"][mine] + np.where(failed, upper, lower) - s["entry"][mine]
    return _Watched(s["unit"][mine], s["model"][mine], s["contractor"][mine], s["at"][mine], last, failed)


def model_repairs(samples: Samples) -> dict[int, Curve]:
    """Mean failures a unit by its total hours, by model; models without a failure are left out."""
    everything = _watched(samples)
    found = {}
    for number in models_in(samples):
        own = everything.of(number)
        curve = repairs_of(own.unit, own.start, own.last, own.failed)
        if curve is not None:
            found[int(number)] = curve
    return found


@dataclass(frozen=True)
class _Units:
    """Units of one model with their windows and repairs."""

    unit: Ints
    fleet: Ints
    start: Floats
    end: Floats
    who: Ints
    when: Floats


def models_compared(samples: Samples) -> list[ModelPair]:
    """Every pair of the models with most units that shared fleets have enough of, each within its fleets."""
    everything = _watched(samples)
    models, counts = np.unique(samples["u_model"], return_counts=True)
    chosen = np.sort(models[np.argsort(-counts, kind="stable")[:MOST_MODELS]])
    units = {int(model): _units(everything.of(int(model))) for model in chosen}
    pairs = (_pair(a, units[a], b, units[b]) for a, b in itertools.combinations(units, 2))
    return [pair for pair in pairs if pair is not None]


def _units(own: _Watched) -> _Units:
    names, place = np.unique(own.unit, return_inverse=True)
    start, end = np.full(len(names), np.inf), np.zeros(len(names))
    fleet = np.zeros(len(names), dtype=np.int64)
    np.minimum.at(start, place, own.start)
    np.maximum.at(end, place, own.last)
    fleet[place] = own.fleet
    # Whoever has run for a while; a unit without an hour on record is watched for nothing.
    used = np.flatnonzero(end > start)
    if len(used) > MOST_UNITS:
        used = used[np.linspace(0, len(used) - 1, MOST_UNITS).round().astype(np.int64)]
    seen = own.failed & np.isin(own.unit, names[used]) & (own.last > start[place])
    return _Units(names[used], fleet[used], start[used], end[used], own.unit[seen], own.last[seen])


def _pair(first: int, a: _Units, second: int, b: _Units) -> ModelPair | None:
    found = compare_repairs(
        np.concatenate([a.who, b.who]),
        np.concatenate([a.when, b.when]),
        np.concatenate([a.unit, b.unit]),
        np.concatenate([a.start, b.start]),
        np.concatenate([a.end, b.end]),
        np.repeat([False, True], [len(a.unit), len(b.unit)]),
        stratum=np.concatenate([a.fleet, b.fleet]),
    )
    if found is None or min(found.units) < LEAST_UNITS or min(found.repairs) < LEAST_REPAIRS:
        return None
    return ModelPair(
        first, second, found.statistic, found.p_value, found.units, found.repairs, found.until, found.strata
    )
