"""Learned intervals in the manual's place: tables by pair of contractor and model, task and exposure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor, FitSnapshot
from fleet.upkeep.fit_records import MANUAL, MODEL, POOLED, IntervalRecord
from fleet.upkeep.interval_settings import LEARNED_TASKS, settings_of
from fleet.upkeep.intervals import Catalog
from fleet.upkeep.records_kept import RecordKey, kept_records
from fleet.vocabulary import TASK_KEYS

# Shares of hours with the guard off that intervals are worked out for; a unit gets that of the next one up.
EXPOSURES = (0.0, 0.1, 0.25, 0.5, 1.0)
# Bases of a flag's interval by number; safety stands for holds.
BASES = (MANUAL, POOLED, MODEL)
# Tasks that every second unit of a contractor that opted in gets at half the interval: those that undo hidden wear.
STAGGERED = ("grease", "plug", "air_filter", "fuel_filter")

# Hours and basis at each of ``EXPOSURES``.
Chosen = tuple[list[float], list[int]]


@dataclass(frozen=True)
class LearnedTables:
    """Hours (NaN: the manual's stand) and basis by pair, task and place in ``EXPOSURES``; digests by pair and task."""

    hours: NDArray[np.float64]
    basis: NDArray[np.int8]
    digest: NDArray[Any]

    @classmethod
    def none(cls, pairs: int) -> LearnedTables:
        shape = (pairs, len(TASK_KEYS), len(EXPOSURES))
        return cls(np.full(shape, np.nan), np.zeros(shape, dtype=np.int8), np.full(shape[:2], "", dtype=object))


class LearnedSet:
    """The records of one learning, worked out as they are asked for; kept over the shards of a scan."""

    def __init__(self, snapshot: FitSnapshot | None) -> None:
        self.snapshot = snapshot
        self._asked: set[RecordKey] = set()
        self._rows: dict[RecordKey, Chosen | None] = {}

    def choices(self, keys: Iterable[RecordKey]) -> Mapping[RecordKey, Chosen | None]:
        """Hours and basis at each exposure by (model, task, digest); None without a failure behind the record.

        A key is missing where nothing was worked out at its figures yet.
        """
        new = set(keys) - self._asked
        for key, record in (kept_records(self.snapshot, new) if new else {}).items():
            self._rows[key] = _at_exposures(record) if record.pooled_failures else None
        self._asked |= new
        return self._rows


def _at_exposures(record: IntervalRecord) -> Chosen:
    chosen = [record.at(exposure) for exposure in EXPOSURES]
    return [c.interval_hours for c in chosen], [BASES.index(c.basis) for c in chosen]


def level_of(exposure: NDArray[np.float64]) -> NDArray[np.int64]:
    """Place in ``EXPOSURES`` of the next one up."""
    return np.searchsorted(EXPOSURES, np.minimum(exposure, 1.0) - 1e-9)


def learned_tables(
    pairs: Sequence[tuple[int, int]], catalog: Catalog, contractors: Mapping[int, Contractor], learned: LearnedSet
) -> LearnedTables:
    """The tables of these pairs of contractor and model.

    Where figures were changed since the last learning the manual stands until the next; the digest is kept, so that
    whoever reads the flag can say so.
    """
    tables = LearnedTables.none(len(pairs))
    if learned.snapshot is None:
        return tables
    settings = settings_of(pairs, catalog, contractors)
    choices = learned.choices({(model, task, s.digest) for (_contractor, model, task), s in settings.items()})
    place = {pair: number for number, pair in enumerate(pairs)}
    task_place = {task: TASK_KEYS.index(task) for task in LEARNED_TASKS}
    for (contractor, model, task), setting in settings.items():
        key = model, task, setting.digest
        found = choices.get(key)
        at = place[contractor, model], task_place[task]
        if found is not None:
            tables.hours[at], tables.basis[at] = found
        if found is not None or key not in choices:
            tables.digest[at] = setting.digest
    return tables
