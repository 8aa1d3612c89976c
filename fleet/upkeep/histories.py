"""Bulk loading: the ledger of many units as plain arrays, in a constant number of queries."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.db import connection
from numpy.typing import NDArray

from fleet.at_rest import collector_at_rest
from fleet.upkeep.days import NO_DAY, day_of
from fleet.vocabulary import (
    AS_FOUND,
    COMPONENTS,
    FAILURE_DONE,
    FOUND,
    GUARD_STATES,
    LINE_STATES,
    SAFETY_STATES,
    SEEN_BY,
    SERVICE_DONE,
    TASK_KEYS,
)

Columns = dict[str, NDArray[Any]]
NO_CREW = -1


def _codes(words: Iterable[str]) -> dict[str, int]:
    return {word: code for code, word in enumerate(("", *words))}


# Text columns become small numbers; 0 is "nothing written".
TASK_CODE = {key: code for code, key in enumerate(TASK_KEYS)}
COMPONENT_CODE = {key: code for code, key in enumerate(COMPONENTS)}
GUARD_CODE = _codes(GUARD_STATES)
LINE_CODE = _codes(LINE_STATES)
SAFETY_CODE = _codes(SAFETY_STATES)
SEEN_CODE = _codes(SEEN_BY)
AS_FOUND_CODE = _codes(AS_FOUND)
SERVICE_DONE_CODE = _codes(SERVICE_DONE)
FAILURE_DONE_CODE = _codes(FAILURE_DONE)
FOUND_CODE = _codes(FOUND)


@dataclass(frozen=True)
class Histories:
    """Columns of every kind of entry, each sorted by unit, day and entry number.

    ``units`` holds one row a unit; in the other tables ``unit`` is a row number in ``units``, days are whole numbers,
    hours float with NaN for *not given*. ``core`` marks the units asked for; the others are companions, loaded with
    hours and moves only, because a crew total is shared with them.
    """

    units: Columns
    hours: Columns
    crew_hours: Columns
    moves: Columns
    guards: Columns
    services: Columns
    failures: Columns
    core: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=bool))

    @property
    def n_units(self) -> int:
        return len(self.units["id"])

    def only(self, mask: NDArray[np.bool_]) -> Histories:
        """The histories of some of the units, numbered anew; crew totals come along whole."""
        number = np.full(self.n_units, -1, dtype=np.int64)
        number[mask] = np.arange(int(mask.sum()))

        def part(rows: Columns) -> Columns:
            kept = _keep(rows, number[rows["unit"]] >= 0)
            return {**kept, "unit": number[kept["unit"]]}

        return Histories(
            units={name: values[mask] for name, values in self.units.items()},
            hours=part(self.hours),
            crew_hours=self.crew_hours,
            moves=part(self.moves),
            guards=part(self.guards),
            services=part(self.services),
            failures=part(self.failures),
            core=self.core[mask],
        )


# table, kind, columns (name, SQL, dtype, codes)
_Column = tuple[str, str, Any, Mapping[str, int] | None]
_F, _I = np.float64, np.int64
_UNITS: tuple[_Column, ...] = (
    ("id", "id", _I, None),
    ("contractor", "contractor_id", _I, None),
    ("model", "model_id", _I, None),
    ("registered", "DAY(registered_on)", _I, None),
    ("bought", "DAY(bought_on)", _I, None),
    ("retired", "DAY(retired_on)", _I, None),
    ("hours_at_registration", "hours_at_registration", _F, None),
    ("guard", "guard_at_registration", _I, GUARD_CODE),
    ("version", "ledger_version", _I, None),
)
_KEYS: tuple[_Column, ...] = (
    ("trimmer", "trimmer_id", _I, None),
    ("day", "DAY(occurred_on)", _I, None),
    ("id", "id", _I, None),
)
_ENTRIES: dict[str, tuple[str, str, tuple[_Column, ...]]] = {
    "hours": (
        "fleet_hoursentry",
        "hours",
        (
            ("meter", "meter_hours", _F, None),
            ("run", "hours_run", _F, None),
            ("litres", "litres", _F, None),
            ("replaced", "meter_replaced", _I, None),
        ),
    ),
    "moves": ("fleet_assignment", "move", (("crew", "crew_id", _I, None),)),
    "guards": (
        "fleet_guardcheck",
        "guard",
        (
            ("guard", "guard", _I, GUARD_CODE),
            ("line", "line", _I, LINE_CODE),
            ("safety", "safety", _I, SAFETY_CODE),
            ("seen_by", "seen_by", _I, SEEN_CODE),
        ),
    ),
    "services": (
        "fleet_service",
        "service",
        (
            ("hours", "hours", _F, None),
            ("task", "task", _I, TASK_CODE),
            ("as_found", "as_found", _I, AS_FOUND_CODE),
            ("done", "done", _I, SERVICE_DONE_CODE),
            ("part_hours", "part_hours", _F, None),
            ("done_by", "done_by", _I, SEEN_CODE),
        ),
    ),
    "failures": (
        "fleet_failure",
        "failure",
        (
            ("hours", "hours", _F, None),
            ("component", "component", _I, COMPONENT_CODE),
            ("found", "found", _I, FOUND_CODE),
            ("done", "done", _I, FAILURE_DONE_CODE),
            ("part_hours", "part_hours", _F, None),
        ),
    ),
}


def _day_sql(expression: str) -> str:
    """DAY(x) as a whole number of days since 1970-01-01, in the database's own words."""
    if not expression.startswith("DAY("):
        return expression
    column = expression[4:-1]
    if connection.vendor == "sqlite":
        return f"CAST(julianday({column}) - 2440587.5 AS INTEGER)"
    return f"({column} - DATE '1970-01-01')"


def _ids(ids: Iterable[int]) -> str:
    """Row numbers for an IN list; whole numbers only, so nothing in them can be SQL."""
    return ",".join(str(int(i)) for i in ids) or "NULL"


def _column(values: Sequence[Any], dtype: Any, codes: Mapping[str, int] | None, missing: int) -> NDArray[Any]:
    if codes is not None:
        return np.fromiter(map(codes.__getitem__, values), dtype=np.int16, count=len(values))
    if dtype is _F:
        return np.array(values, dtype=float)  # None becomes NaN
    if dtype is object:
        return np.array(values, dtype=object)
    try:
        return np.array(values, dtype=np.int64)
    except TypeError:
        return np.array([missing if v is None else int(v) for v in values], dtype=np.int64)


def _read(table: str, columns: tuple[_Column, ...], where: str, order: str, missing: int) -> Columns:
    names = ", ".join(_day_sql(sql) for _name, sql, _dtype, _code in columns)
    with collector_at_rest(), connection.cursor() as cursor:
        # Table, columns and row numbers are ours; nothing a person typed is in this text.
        cursor.execute(f"SELECT {names} FROM {table} WHERE {where} ORDER BY {order}")  # noqa: S608
        rows = cursor.fetchall()
        by_column = list(zip(*rows, strict=True)) if rows else [()] * len(columns)
        return {
            name: _column(values, dtype, codes, missing)
            for (name, _sql, dtype, codes), values in zip(columns, by_column, strict=True)
        }


def _keep(rows: Columns, mask: NDArray[np.bool_]) -> Columns:
    return rows if mask.all() else {name: values[mask] for name, values in rows.items()}


def _withdrawn(unit_filter: str) -> dict[str, NDArray[np.int64]]:
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT kind, entry_id FROM fleet_withdrawal WHERE contractor_id IN ({unit_filter})")  # noqa: S608
        rows = cursor.fetchall()
    found: dict[str, list[int]] = {}
    for kind, entry_id in rows:
        found.setdefault(kind, []).append(entry_id)
    return {kind: np.array(ids, dtype=np.int64) for kind, ids in found.items()}


def load_histories(unit_ids: Sequence[int], as_of: dt.date | None = None, crews: bool = True) -> Histories:
    """Read the units' ledger up to a date (all of it without one), less what was withdrawn.

    With ``crews``, totals of the crews these units rode with come too, and the companions who share them. The number
    of queries does not depend on the number of units.
    """
    core_ids = sorted(int(i) for i in unit_ids)
    until = "" if as_of is None else f" AND occurred_on <= '{as_of.isoformat()}'"
    core_in = _ids(core_ids)
    contractors = f"SELECT contractor_id FROM fleet_trimmer WHERE id IN ({core_in})"  # noqa: S608
    withdrawn = _withdrawn(contractors)

    def entries(name: str, ids_in: str) -> Columns:
        table, kind, columns = _ENTRIES[name]
        missing = NO_CREW if name == "moves" else 0
        rows = _read(
            table, (*_KEYS, *columns), f"trimmer_id IN ({ids_in}){until}", "trimmer_id, occurred_on, id", missing
        )
        gone = withdrawn.get(kind)
        return rows if gone is None else _keep(rows, ~np.isin(rows["id"], gone))

    moves = entries("moves", core_in)
    crew_hours = _crew_totals(moves, until, withdrawn) if crews else _no_crew_totals()
    all_ids, all_in = core_ids, core_in
    if len(crew_hours["crew"]):
        with connection.cursor() as cursor:
            crews_in = _ids(np.unique(crew_hours["crew"]))
            cursor.execute(f"SELECT DISTINCT trimmer_id FROM fleet_assignment WHERE crew_id IN ({crews_in})")  # noqa: S608
            all_ids = sorted({*core_ids, *(row[0] for row in cursor.fetchall())})
        all_in = _ids(all_ids)
        if len(all_ids) > len(core_ids):
            moves = entries("moves", all_in)
    units = _read("fleet_trimmer", _UNITS, f"id IN ({all_in})", "id", int(NO_DAY))
    units["guard"] = units["guard"].astype(np.int16)
    if as_of is not None:
        # Registered later: not there yet. Retired later: still in use.
        there = units["registered"] <= day_of(as_of)
        units = _keep(units, there)
        units["retired"] = np.where(units["retired"] <= day_of(as_of), units["retired"], NO_DAY)
    found = np.asarray(units["id"])

    def numbered(rows: Columns) -> Columns:
        """Replace unit ids by row numbers; entries of units that are not there go."""
        place = np.searchsorted(found, rows["trimmer"])
        there = place < len(found)
        there[there] = found[place[there]] == rows["trimmer"][there]
        kept = _keep(rows, there)
        kept = {name: values for name, values in kept.items() if name != "trimmer"}
        kept["unit"] = place[there].astype(np.int64)
        return kept

    return Histories(
        units=units,
        hours=numbered(entries("hours", all_in)),
        crew_hours=crew_hours,
        moves=numbered(moves),
        guards=numbered(entries("guards", core_in)),
        services=numbered(entries("services", core_in)),
        failures=numbered(entries("failures", core_in)),
        core=np.isin(found, np.array(core_ids, dtype=np.int64)),
    )


_CREW_COLUMNS: tuple[_Column, ...] = (
    ("crew", "crew_id", _I, None),
    ("monday", "DAY(week_of)", _I, None),
    ("id", "id", _I, None),
    ("hours", "crew_hours", _F, None),
    ("litres", "crew_litres", _F, None),
    ("share", "trimmer_share", _F, None),
)


def _no_crew_totals() -> Columns:
    return {name: np.zeros(0, dtype=dtype) for name, _sql, dtype, _codes in _CREW_COLUMNS}


def _crew_totals(moves: Columns, until: str, withdrawn: Mapping[str, NDArray[np.int64]]) -> Columns:
    crews = np.unique(moves["crew"][moves["crew"] != NO_CREW])
    if not len(crews):
        return _no_crew_totals()
    where = f"crew_id IN ({_ids(crews)}){until}"
    rows = _read("fleet_crewhours", _CREW_COLUMNS, where, "crew_id, week_of, id", 0)
    gone = withdrawn.get("crew_hours")
    return rows if gone is None else _keep(rows, ~np.isin(rows["id"], gone))
