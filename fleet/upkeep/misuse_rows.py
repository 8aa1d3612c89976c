"""The ledger of a contractor's period as rows for the cost of misuse: stays, looks, services, failures, checks."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor
from fleet.upkeep.crew_looks import looks_of
from fleet.upkeep.days import day_of
from fleet.upkeep.exposure import Batch, Stays, batches, of_units, stays_of
from fleet.upkeep.histories import NO_CREW, Columns
from fleet.upkeep.refresh import unit_ids_of
from fleet.upkeep.spending import Rates, with_money

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# A stay without an hour of use still has its place before the next one.
TRACE = 1e-5


@dataclass(frozen=True)
class Period:
    """Columns over all units of one contractor; ``unit`` is a unit's id, ``crew`` a crew's id or ``NO_CREW``.

    ``stays`` has unit, crew, first, last, entry, end; ``guard`` and ``line`` have unit, hour, found, left. Services,
    failures and checks have the crew of their date, the unit's hours then, its model and when it was bought;
    ``failures`` also the row of the stay that holds them (-1: none).
    """

    stays: Columns
    guard: Columns
    line: Columns
    services: Columns
    failures: Columns
    checks: Columns


def period_of(contractor: Contractor, *, first: dt.date, last: dt.date, as_of: dt.date) -> Period:
    """Read a contractor's period from the ledger, as it stood on a day."""
    low, high = day_of(first), min(day_of(last), day_of(as_of))
    rates = Rates.of(contractor)
    parts: list[dict[str, Columns]] = []
    offset = 0
    for batch in batches(unit_ids_of([contractor.pk]), contractor.pk, as_of):
        part = _read(batch, low, high, rates)
        failures = part["failures"]
        failures["stay"] = np.where(failures["stay"] >= 0, failures["stay"] + offset, -1)
        offset += len(part["stays"]["unit"])
        parts.append(part)
    return Period(**{name: _joined([part[name] for part in parts], name) for name in _COLUMNS})


def _read(batch: Batch, low: int, high: int, rates: Rates) -> dict[str, Columns]:
    h = batch.h
    ids = h.units["id"]
    stays = stays_of(batch, low, high)
    tables = {"checks": of_units(h.guards, batch, low, high)}
    tables["services"], tables["failures"] = with_money(
        of_units(h.services, batch, low, high), of_units(h.failures, batch, low, high), ids[h.core], rates
    )
    for table in tables.values():
        table["stay"] = stays.holding(table["unit"], table["day"])
        table["crew"] = _crew_of(stays, table["stay"])
        table["hour"] = batch.hours_on(table["unit"], table["day"])
        table["model"], table["bought"] = h.units["model"][table["unit"]], h.units["bought"][table["unit"]]
        table["unit"] = ids[table["unit"]]
    for name in ("guard", "line"):
        looks = looks_of(batch, low, high, line=name == "line")
        hour = batch.hours_on(looks.unit, looks.day)
        tables[name] = {"unit": ids[looks.unit], "hour": hour, "found": looks.found, "left": looks.left}
    # Stays of a unit follow each other by a trace, so that one without use still comes before the next.
    turn = np.arange(len(stays.unit)) - np.searchsorted(stays.unit, stays.unit)
    tables["stays"] = {
        "unit": ids[stays.unit],
        "crew": stays.crew,
        "first": stays.first,
        "last": stays.last,
        "entry": stays.entry + TRACE * turn,
        "end": stays.end + TRACE * (turn + 1),
    }
    return tables


def _crew_of(stays: Stays, row: Ints) -> Ints:
    if not len(stays.unit):
        return np.full(len(row), NO_CREW, dtype=np.int64)
    return np.where(row >= 0, stays.crew[np.maximum(row, 0)], NO_CREW)


_COLUMNS: dict[str, tuple[str, ...]] = {
    "stays": ("unit", "crew", "first", "last", "entry", "end"),
    "guard": ("unit", "hour", "found", "left"),
    "line": ("unit", "hour", "found", "left"),
    "services": ("unit", "crew", "day", "task", "as_found", "bill"),
    "failures": (
        "unit", "crew", "day", "hour", "stay", "component", "cause", "done", "guard", "warranty", "would", "bill",
        "down", "days_down", "model", "bought",
    ),
    "checks": ("unit", "crew", "day", "guard", "line", "seen_by"),
}  # fmt: skip


def _joined(parts: Sequence[Columns], name: str) -> Columns:
    if not parts:
        return {column: np.zeros(0, dtype=np.int64) for column in _COLUMNS[name]}
    return {column: np.concatenate([part[column] for part in parts]) for column in _COLUMNS[name]}
