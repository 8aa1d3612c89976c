"""Histories from rows as the import files hold them: the simulator's way into the same arrays, without a database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from fleet.upkeep.companions import monday_of
from fleet.upkeep.days import NO_DAY, day_of
from fleet.upkeep.histories import (
    AS_FOUND_CODE,
    COMPONENT_CODE,
    FAILURE_DONE_CODE,
    FOUND_CODE,
    GUARD_CODE,
    LINE_CODE,
    NO_CREW,
    SAFETY_CODE,
    SEEN_CODE,
    SERVICE_DONE_CODE,
    TASK_CODE,
    Columns,
    Histories,
)

Rows = Sequence[Mapping[str, Any]]


def histories_from_rows(
    files: Mapping[str, Rows], crews: Mapping[tuple[str, str], int], models: Mapping[tuple[str, str], int],
    contractors: Mapping[str, int], as_of: dt.date,
) -> tuple[Histories, list[tuple[str, str]]]:  # fmt: skip
    """Arrays of the entries dated by ``as_of``, and (contractor, tag) of each unit row.

    ``crews`` is keyed by (contractor, crew), ``models`` by (maker, model). A tag means the unit that wore it that day.
    """
    units = [u for u in files["units"] if u["registered_on"] <= as_of]
    owner: dict[tuple[str, str], list[int]] = {}
    for row, unit in enumerate(units):
        owner.setdefault((unit["contractor"], unit["unit"]), []).append(row)

    def unit_row(row: Mapping[str, Any]) -> int | None:
        """Row number of the unit that wore the tag on the row's date."""
        fitting = [
            i
            for i in owner.get((row["contractor"], row["unit"]), ())
            if units[i]["registered_on"] <= row["date"] and not _gone_before(units[i], row["date"])
        ]
        return fitting[-1] if fitting else None

    def entries(name: str) -> list[tuple[int, int, int, Mapping[str, Any]]]:
        found = []
        for number, row in enumerate(files[name]):
            if row.get("date") is not None and row["date"] <= as_of and row.get("unit"):
                at = unit_row(row)
                if at is not None:
                    found.append((at, day_of(row["date"]), number, row))
        return sorted(found, key=lambda e: e[:3])

    hours, moves, guards = entries("hours"), entries("moves"), entries("guard")
    services, failures = entries("services"), entries("failures")
    first_crews = [
        (i, day_of(u["registered_on"]), -1, {"crew": u["crew"], "contractor": u["contractor"]})
        for i, u in enumerate(units)
    ]
    moves = sorted([*first_crews, *moves], key=lambda e: e[:3])
    totals = sorted(
        (
            (crews[row["contractor"], row["crew"]], day_of(monday_of(row["week_of"])), number, row)
            for number, row in enumerate(files["hours"])
            if row.get("crew") and row.get("week_of") is not None and monday_of(row["week_of"]) <= as_of
        ),
        key=lambda e: e[:3],
    )
    h = Histories(
        units={
            "id": np.arange(len(units), dtype=np.int64),
            "contractor": _ints(contractors[u["contractor"]] for u in units),
            "model": _ints(models[u["maker"], u["model"]] for u in units),
            "registered": _ints(day_of(u["registered_on"]) for u in units),
            "bought": _ints(NO_DAY if u["bought_on"] is None else day_of(u["bought_on"]) for u in units),
            "retired": _ints(
                day_of(u["retired_on"]) if u["retired_on"] is not None and u["retired_on"] <= as_of else NO_DAY
                for u in units
            ),
            "hours_at_registration": _floats(u["hours_at_registration"] or 0 for u in units),
            "guard": _codes((u["guard"] or "on" for u in units), GUARD_CODE),
            "version": np.zeros(len(units), dtype=np.int64),
        },
        hours=_table(
            hours,
            meter=_floats(r.get("meter_hours") for *_k, r in hours),
            run=_floats(r.get("hours_run") for *_k, r in hours),
            litres=_floats(r.get("litres") for *_k, r in hours),
            replaced=_ints(r.get("meter_replaced") == "yes" for *_k, r in hours),
        ),
        crew_hours={
            "crew": _ints(t[0] for t in totals),
            "monday": _ints(t[1] for t in totals),
            "id": _ints(t[2] for t in totals),
            "hours": _floats(t[3].get("crew_hours") for t in totals),
            "litres": _floats(t[3].get("crew_litres") for t in totals),
            "share": _floats(t[3].get("trimmer_share") for t in totals),
        },
        moves=_table(
            moves, crew=_ints(crews[r["contractor"], r["crew"]] if r["crew"] else NO_CREW for *_k, r in moves)
        ),
        guards=_table(
            guards,
            guard=_codes((r["guard"] for *_k, r in guards), GUARD_CODE),
            line=_codes((r["line"] for *_k, r in guards), LINE_CODE),
            safety=_codes((r["safety"] for *_k, r in guards), SAFETY_CODE),
            seen_by=_codes((r["seen_by"] for *_k, r in guards), SEEN_CODE),
        ),
        services=_table(
            services,
            hours=_floats(r["hours"] for *_k, r in services),
            task=_codes((r["task"] for *_k, r in services), TASK_CODE),
            as_found=_codes((r["as_found"] for *_k, r in services), AS_FOUND_CODE),
            done=_codes((r["done"] for *_k, r in services), SERVICE_DONE_CODE),
            part_hours=_floats(r["part_hours"] for *_k, r in services),
            done_by=_codes((r["done_by"] for *_k, r in services), SEEN_CODE),
        ),
        failures=_table(
            failures,
            hours=_floats(r["hours"] for *_k, r in failures),
            component=_codes((r["component"] for *_k, r in failures), COMPONENT_CODE),
            found=_codes((r["found"] for *_k, r in failures), FOUND_CODE),
            done=_codes((r["done"] for *_k, r in failures), FAILURE_DONE_CODE),
            part_hours=_floats(r["part_hours"] for *_k, r in failures),
        ),
        core=np.ones(len(units), dtype=bool),
    )
    return h, [(u["contractor"], u["unit"]) for u in units]


def _gone_before(unit: Mapping[str, Any], date: dt.date) -> bool:
    return unit["retired_on"] is not None and unit["retired_on"] < date


def _table(entries: list, **columns: np.ndarray) -> Columns:
    return {
        "unit": _ints(e[0] for e in entries),
        "day": _ints(e[1] for e in entries),
        "id": _ints(e[2] for e in entries),
        **columns,
    }


def _ints(values: Any) -> np.ndarray:
    return np.array([int(v) for v in values], dtype=np.int64)


def _floats(values: Any) -> np.ndarray:
    return np.array([np.nan if v is None or v == "" else float(v) for v in values], dtype=float)


def _codes(values: Any, codes: Mapping[str, int]) -> np.ndarray:
    return np.array([codes[v or ""] for v in values], dtype=np.int16)
