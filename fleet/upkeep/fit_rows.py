"""Packed samples as the input of fits: one component at a time, models coded, cut where the guard's chance changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.reliability import Lifetimes
from fleet.upkeep.sample_packs import Samples

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
_BIG = float(1 << 20)
# A change of exposure so near a spell's ends cuts nothing off.
SHORTEST = 0.015


@dataclass(frozen=True)
class Piece:
    """Pieces of spells: ``of`` is the spell's place; hours on the chosen clock; ``chance`` that the guard was off."""

    of: Ints
    entry: Floats
    lower: Floats
    upper: Floats
    chance: Floats


@dataclass(frozen=True)
class ComponentRows:
    """One component's spells on its clock (whole, for curves), their pieces, and who is who: ``model`` codes into
    ``models``."""

    models: Ints
    model: Ints
    contractor: Ints
    unit: Ints
    crew: Ints
    entry: Floats
    lower: Floats
    upper: Floats
    since: Floats
    at: Floats
    pieces: Piece

    @property
    def size(self) -> int:
        return len(self.unit)

    @property
    def events(self) -> NDArray[np.bool_]:
        return np.isfinite(self.upper)

    def whole(self) -> Lifetimes:
        """Spells without conditions, for curves."""
        return Lifetimes(
            group=self.model, entry=self.entry, lower=self.lower, upper=self.upper, unit=self.unit,
            groups=len(self.models),
        )  # fmt: skip

    def crew_share(self) -> Floats:
        """Mean chance of *guard off* over the hours of each spell's crew."""
        p = self.pieces
        crew = np.unique(self.crew, return_inverse=True)[1]
        hours = np.where(np.isfinite(p.upper), p.upper, p.lower) - p.entry
        total = np.bincount(crew[p.of], weights=hours, minlength=int(crew.max(initial=0)) + 1)
        off = np.bincount(crew[p.of], weights=hours * p.chance, minlength=len(total))
        return (off / np.where(total > 0, total, 1.0))[crew]

    def with_guard(self, *, found_only: bool = False) -> Lifetimes:
        """Pieces with two conditions: the chance that the guard was off, and its crew's mean less the fleet's.

        The second keeps what else a careless crew does, and its ground, out of the guard's ratio. With ``found_only``
        failures that showed themselves count as the end of watching: what is left came to light at looks alone.
        """
        p, share = self.pieces, self.crew_share()
        upper = np.where(p.lower == p.upper, np.inf, p.upper) if found_only else p.upper
        hours = np.where(np.isfinite(p.upper), p.upper, p.lower) - p.entry
        mean = float(np.sum(hours * share[p.of]) / max(float(hours.sum()), 1e-9)) if len(hours) else 0.0
        return Lifetimes(
            group=self.model[p.of], entry=p.entry, lower=p.lower, upper=upper, unit=self.unit[p.of], spell=p.of,
            covariates=np.column_stack([p.chance, share[p.of] - mean]), groups=len(self.models),
        )  # fmt: skip

    def mean_chance(self) -> Floats:
        """Mean chance of *guard off* over each model's hours."""
        p = self.pieces
        hours = np.where(np.isfinite(p.upper), p.upper, p.lower) - p.entry
        model = self.model[p.of]
        total = np.bincount(model, weights=hours, minlength=len(self.models))
        off = np.bincount(model, weights=hours * p.chance, minlength=len(self.models))
        return np.asarray(off / np.where(total > 0, total, 1.0), dtype=np.float64)


def component_rows(s: Samples, stream: int, models: Ints, *, task_clock: bool) -> ComponentRows:
    """A component's spells; on the task clock those whose cycle began at an unknown time are left out."""
    chosen = s["stream"] == stream
    if task_clock:
        chosen &= ~np.isnan(s["since"])
    at = np.flatnonzero(chosen)
    entry, lower, upper = s["entry"][at], s["lower"][at], s["upper"][at]
    if task_clock:
        shift = entry - s["since"][at]
        entry, lower, upper = s["since"][at], np.round(lower - shift, 2), np.round(upper - shift, 2)
    unit, total = s["unit"][at], s["at"][at]
    return ComponentRows(
        models=models,
        model=np.searchsorted(models, s["model"][at]),
        contractor=s["contractor"][at].astype(np.int64),
        unit=unit,
        crew=s["crew"][at],
        entry=entry,
        lower=lower,
        upper=upper,
        since=s["since"][at],
        at=total,
        pieces=_cut(s, unit, total, entry, lower, upper),
    )


def _cut(s: Samples, unit: Ints, at: Floats, entry: Floats, lower: Floats, upper: Floats) -> Piece:
    """Cut spells where the chance that the guard was off changes.

    A piece before the part in which the event lies is plain survival; pieces within it each hold their part.
    """
    last = np.where(np.isfinite(upper), upper, lower)
    offset = at - entry
    order = np.lexsort((s["g_start"], s["g_unit"]))
    g_unit, g_start, chance = s["g_unit"][order], s["g_start"][order], s["g_chance"][order]
    _names, code = np.unique(np.concatenate([g_unit, unit]), return_inverse=True)
    key = code[: len(g_unit)] * _BIG + g_start
    who = code[len(g_unit) :] * _BIG
    # Stretches of the unit that begin before the spell's end, from the one that holds its start.
    first = np.searchsorted(key, who + at + SHORTEST, side="right") - 1
    beyond = np.searchsorted(key, who + offset + last - SHORTEST, side="left")
    held = (first >= 0) & (beyond > first)
    if len(g_unit):
        held &= g_unit[np.clip(first, 0, len(g_unit) - 1)] == unit
    number = np.where(held, beyond - first, 1)
    of = np.repeat(np.arange(len(unit)), number)
    place = np.arange(len(of)) - np.repeat(np.cumsum(number) - number, number)
    stretch = np.clip(first[of] + place, 0, max(len(g_unit) - 1, 0))
    known = held[of]
    begins = np.where(known & (place > 0), g_start[stretch] - offset[of] if len(g_unit) else 0.0, entry[of])
    begins = np.round(begins, 2)
    final = place == number[of] - 1
    ends = np.where(final, last[of], 0.0)
    ends[:-1] = np.where(final[:-1], ends[:-1], begins[1:])
    p = np.where(known, chance[stretch], 0.0) if len(g_unit) else np.zeros(len(of))
    exact = (lower == upper)[of]
    event = np.isfinite(upper)[of]
    within = event & ~exact & (ends > lower[of])
    low = np.where(within, np.maximum(begins, np.minimum(lower[of], ends)), ends)
    high = np.where(within | (exact & final), ends, np.inf)
    use = (ends > begins) | (high < np.inf)
    return Piece(*(np.asarray(c[use]) for c in (of, begins, low, high, p)))
