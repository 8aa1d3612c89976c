"""Writing answers: only rows that differ from what is stored, in one upsert, with a note of what moved."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import connection
from django.utils import timezone
from numpy.typing import NDArray

from fleet.upkeep.days import NO_DAY, date_of
from fleet.upkeep.due import SAFETY, Flags
from fleet.upkeep.histories import NO_CREW, Columns, Histories, _ids, _read
from fleet.upkeep.learned import BASES as LEARNED_BASES
from fleet.upkeep.timelines import BASES, Timelines
from fleet.vocabulary import TASK_KEYS

# Hours closer than this are the same answer: sums over batches of other sizes round differently.
SAME_HOURS = 2e-3
# A flag that moved by less is not worth a line in the unit's history.
WORTH_A_NOTE = 0.5


@dataclass(frozen=True)
class Written:
    """How many flags stood, and how many were added, changed and removed."""

    flags: int = 0
    added: int = 0
    changed: int = 0
    removed: int = 0

    def __add__(self, other: Written) -> Written:
        return Written(
            self.flags + other.flags,
            self.added + other.added,
            self.changed + other.changed,
            self.removed + other.removed,
        )


_FLAG_FLOATS = ("last_done_hours", "counts_from_hours", "interval_hours", "due_hours")
_FLAG_DAYS = ("last_done_on", "counts_from_on", "due_date", "passed_on")
_TASK_NUMBER = {key: number for number, key in enumerate(TASK_KEYS)}
_BASIS_NUMBER = {basis: number for number, basis in enumerate((*LEARNED_BASES, SAFETY))}
_SOURCE_NUMBER = {"practice": 0, "maker": 1}


def _flag_columns(flags: Flags, h: Histories) -> tuple[Columns, list[str]]:
    """The flags as stored columns, and their reasons as JSON text."""
    n = len(flags.unit)
    on_hold = np.zeros(n, dtype=bool)
    reasons = ["[]"] * n
    for at, found in flags.holds.items():
        on_hold[at] = True
        reasons[at] = _as_text([["hold", {"finding": key, "since": date_of(day).isoformat()}] for key, day in found])
    columns: Columns = {
        "trimmer": h.units["id"][flags.unit],
        "contractor": h.units["contractor"][flags.unit],
        "task": flags.task.astype(np.int64),
        "on_hold": on_hold.astype(np.int64),
        "interval_months": flags.interval_months,
        "basis": np.where(on_hold, _BASIS_NUMBER[SAFETY], flags.basis.astype(np.int64)),
        "source": flags.from_maker.astype(np.int64),
        "staggered": flags.staggered.astype(np.int64),
        "setting": flags.setting,
    }
    for name in _FLAG_FLOATS:
        columns[name] = np.round(getattr(flags, name), 3)
    for name in _FLAG_DAYS:
        columns[name] = getattr(flags, name)
    return columns, reasons


def _stored_flags(ids_in: str) -> tuple[Columns, list[str]]:
    columns = (
        ("trimmer", "trimmer_id", np.int64, None),
        ("task", "task", np.int64, _TASK_NUMBER),
        ("id", "id", np.int64, None),
        ("on_hold", "on_hold", np.int64, None),
        ("interval_months", "interval_months", np.int64, None),
        ("basis", "interval_basis", np.int64, _BASIS_NUMBER),
        ("source", "manual_source", np.int64, _SOURCE_NUMBER),
        ("staggered", "staggered", np.int64, None),
        ("setting", "setting", object, None),
        *((name, name, np.float64, None) for name in _FLAG_FLOATS),
    )
    where = f"trimmer_id IN ({ids_in})"
    rows = _read("fleet_dueflag", columns, where, "trimmer_id, task", 0)
    days = _read(
        "fleet_dueflag",
        tuple((name, f"DAY({name})", np.int64, None) for name in _FLAG_DAYS),
        where,
        "trimmer_id, task",
        int(NO_DAY),
    )
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT trimmer_id, task, reasons FROM fleet_dueflag WHERE {where} AND on_hold")  # noqa: S608
        held = {(unit, _TASK_NUMBER[task]): _as_text(reasons) for unit, task, reasons in cursor.fetchall()}
    keys = zip(rows["trimmer"].tolist(), rows["task"].tolist(), strict=True)
    reasons = [held.get(key, "[]") for key in keys] if held else ["[]"] * len(rows["trimmer"])
    return {**rows, **days}, reasons


def _as_text(value: Any) -> str:
    """JSON as one spelling: databases differ in the order of keys, and in giving text or objects."""
    return json.dumps(json.loads(value) if isinstance(value, str) else value, sort_keys=True)


def store_flags(flags: Flags, h: Histories, moved_by: str) -> Written:
    """Bring the stored flags of the core units to ``flags``; write only what differs."""
    unit_ids = h.units["id"][h.core]
    ids_in = _ids(unit_ids)
    new, new_reasons = _flag_columns(flags, h)
    old, old_reasons = _stored_flags(ids_in)
    new_key = new["trimmer"] * 64 + new["task"]
    old_key = old["trimmer"] * 64 + old["task"]
    order = np.argsort(old_key)
    place = np.searchsorted(old_key, new_key, sorter=order)
    known = place < len(order)
    known[known] = old_key[order[place[known]]] == new_key[known]
    match = order[place[known]]
    at = np.flatnonzero(known)
    differs = np.zeros(len(at), dtype=bool)
    for name in _FLAG_FLOATS:
        a, b = new[name][at], old[name][match]
        differs |= ~((np.isnan(a) & np.isnan(b)) | (np.abs(a - b) <= SAME_HOURS))
    for name in (*_FLAG_DAYS, "on_hold", "interval_months", "basis", "source", "staggered", "setting"):
        differs |= new[name][at] != old[name][match]
    if flags.holds or any(r != "[]" for r in old_reasons):
        differs |= np.array([new_reasons[i] != old_reasons[j] for i, j in zip(at, match, strict=True)], dtype=bool)
    gone = ~np.isin(old_key, new_key)
    changed = at[differs]
    write = np.concatenate([np.flatnonzero(~known), changed])
    if len(write):
        _upsert_flags(new, new_reasons, write)
    if gone.any():
        with connection.cursor() as cursor:
            cursor.execute(f"DELETE FROM fleet_dueflag WHERE id IN ({_ids(old['id'][gone])})")  # noqa: S608
    _note_changes(new, old, changed, match[differs], moved_by)
    return Written(len(new_key), int((~known).sum()), len(changed), int(gone.sum()))


def _or_none(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _iso(days: NDArray[np.int64]) -> list[str | None]:
    # The same few hundred days come again and again.
    known, place = np.unique(days, return_inverse=True)
    texts = [None if day >= NO_DAY else date_of(day).isoformat() for day in known.tolist()]
    return [texts[k] for k in place.tolist()]


def _floats(values: NDArray[np.float64]) -> list[float | None]:
    return [None if v != v else v for v in values.tolist()]


def _upsert(table: str, key: Sequence[str], columns: dict[str, Sequence[Any]]) -> None:
    names = list(columns)
    marks = ", ".join(["%s"] * len(names))
    rest = ", ".join(f"{name} = excluded.{name}" for name in names if name not in key)
    sql = (
        f"INSERT INTO {table} ({', '.join(names)}) VALUES ({marks}) "  # noqa: S608
        f"ON CONFLICT ({', '.join(key)}) DO UPDATE SET {rest}"
    )
    with connection.cursor() as cursor:
        cursor.executemany(sql, list(zip(*columns.values(), strict=True)))


def _upsert_flags(new: Columns, reasons: list[str], at: NDArray[np.int64]) -> None:
    basis, source = list(_BASIS_NUMBER), list(_SOURCE_NUMBER)
    columns: dict[str, Sequence[Any]] = {
        "contractor_id": new["contractor"][at].tolist(),
        "trimmer_id": new["trimmer"][at].tolist(),
        "task": [TASK_KEYS[t] for t in new["task"][at].tolist()],
        "on_hold": [bool(v) for v in new["on_hold"][at].tolist()],
        "interval_months": [m or None for m in new["interval_months"][at].tolist()],
        "interval_basis": [basis[b] for b in new["basis"][at].tolist()],
        "manual_source": [source[s] for s in new["source"][at].tolist()],
        "staggered": [bool(v) for v in new["staggered"][at].tolist()],
        "setting": new["setting"][at].tolist(),
        "reasons": [reasons[i] for i in at],
    }
    for name in _FLAG_FLOATS:
        columns[name] = _floats(new[name][at])
    for name in _FLAG_DAYS:
        columns[name] = _iso(new[name][at])
    _upsert("fleet_dueflag", ("trimmer_id", "task"), columns)


def _note_changes(
    new: Columns, old: Columns, changed: NDArray[np.int64], match: NDArray[np.int64], moved_by: str
) -> None:
    """A line in the history for every flag that moved by something a person would notice."""
    a, b = new["due_hours"][changed], old["due_hours"][match]
    moved = ~((np.isnan(a) & np.isnan(b)) | (np.abs(a - b) < WORTH_A_NOTE))
    moved |= new["due_date"][changed] != old["due_date"][match]
    moved |= new["on_hold"][changed] != old["on_hold"][match]
    if not moved.any():
        return
    now = timezone.now()

    def said(columns: Columns, i: int) -> str:
        day = int(columns["due_date"][i])
        return json.dumps(
            {
                "due_hours": _or_none(columns["due_hours"][i]),
                "due_date": None if day >= NO_DAY else date_of(day).isoformat(),
                "on_hold": bool(columns["on_hold"][i]),
            }
        )

    rows = [
        (
            int(new["contractor"][i]),
            int(new["trimmer"][i]),
            TASK_KEYS[int(new["task"][i])],
            moved_by,
            said(old, j),
            said(new, i),
            now,
        )
        for i, j in zip(changed[moved], match[moved], strict=True)
    ]
    with connection.cursor() as cursor:
        cursor.executemany(
            "INSERT INTO fleet_flagchange (contractor_id, trimmer_id, task, moved_by, before, after, recorded_at) "
            "VALUES (%s, %s, %s, %s, %s, %s, %s)",
            rows,
        )


_STATE_FLOATS = (
    ("hours", "hours"),
    ("variance", "variance"),
    ("hours_since_reading", "since_reading"),
    ("day_rate", "day_rate"),
    ("bias_cv", "bias_cv"),
    ("rate_cv", "rate_cv"),
    ("week_cv", "week_cv"),
    ("guessed_share", "guessed_share"),
    ("guard_off", "guard_off"),
)
_BASIS_OF_HOURS = {key: number for number, key in enumerate(BASES)}


def store_states(lines: Timelines, guard_off: NDArray[np.float64], h: Histories) -> int:
    """Bring the stored hours and exposures of the core units up to date; returns how many rows were written."""
    ids = h.units["id"][lines.unit]
    new: Columns = {name: np.round(getattr(lines, attribute), 5) for name, attribute in _STATE_FLOATS[:-1]}
    new["guard_off"] = np.round(guard_off, 3)
    in_use = (h.units["retired"][lines.unit] == NO_DAY).astype(np.int64)
    whole = {
        "known_until": lines.known_until,
        "in_use": in_use,
        "ledger_version": h.units["version"][lines.unit],
        "crew": lines.crew,
        "basis": lines.basis.astype(np.int64),
    }
    columns = (
        ("id", "trimmer_id", np.int64, None),
        ("known_until", "DAY(known_until)", np.int64, None),
        ("in_use", "in_use", np.int64, None),
        ("ledger_version", "ledger_version", np.int64, None),
        ("crew", "crew_id", np.int64, None),
        ("basis", "basis", np.int64, _BASIS_OF_HOURS),
        *((name, name, np.float64, None) for name, _attribute in _STATE_FLOATS),
    )
    old = _read("fleet_unitstate", columns, f"trimmer_id IN ({_ids(ids)})", "trimmer_id", NO_CREW)
    place = np.searchsorted(old["id"], ids)
    known = place < len(old["id"])
    known[known] = old["id"][place[known]] == ids[known]
    differs = ~known
    at, match = np.flatnonzero(known), place[known]
    for name, _attribute in _STATE_FLOATS:
        differs[at] |= np.abs(new[name][at] - old[name][match]) > SAME_HOURS
    for name, values in whole.items():
        differs[at] |= values[at] != old[name][match]
    write = np.flatnonzero(differs)
    if len(write):
        rows: dict[str, Sequence[Any]] = {
            "trimmer_id": ids[write].tolist(),
            "contractor_id": h.units["contractor"][lines.unit][write].tolist(),
            "crew_id": [None if c == NO_CREW else c for c in lines.crew[write].tolist()],
            "ledger_version": whole["ledger_version"][write].tolist(),
            "in_use": [bool(v) for v in in_use[write].tolist()],
            "known_until": _iso(lines.known_until[write]),
            "basis": [BASES[b] for b in lines.basis[write].tolist()],
        }
        for name, _attribute in _STATE_FLOATS:
            rows[name] = new[name][write].tolist()
        _upsert("fleet_unitstate", ("trimmer_id",), rows)
    return len(write)
