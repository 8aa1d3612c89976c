"""A contractor's rows for the fits, packed to be kept between scans, and many contractors' rows put together."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import NO_DAY
from fleet.upkeep.guard_exposure import Exposure
from fleet.upkeep.histories import COMPONENT_CODE, Histories
from fleet.upkeep.samples import PORT, Spells
from fleet.upkeep.timelines import Timelines

# A portal with more units than this is fitted on a fixed part of them: its intervals would come out no different.
FITTED_UNITS = 6_000
# The part is told by a unit's number: a multiplicative hash, so that neighbors fall apart.
_MIX = 2654435761
_MARK = b"rows"

_SPELLS = {
    "unit": np.int32, "model": np.int32, "crew": np.int32, "stream": np.int8, "entry": np.float32, "lower": np.float32,
    "upper": np.float32, "since": np.float32, "at": np.float32,
}  # fmt: skip
_STRETCHES = {"g_unit": np.int32, "g_start": np.float32, "g_end": np.float32, "g_chance": np.float32}
_UNITS = {"u_unit": np.int32, "u_model": np.int32, "u_crew": np.int32, "u_recent": np.float32, "u_in_use": np.bool_}


@dataclass(frozen=True)
class Samples:
    """Rows of many units by name of column: spells (see ``Spells``) with their ``contractor``, stretches of exposure
    (``g_``), and the units themselves (``u_``); everything sorted by contractor, unit, stream and age."""

    columns: Mapping[str, NDArray]

    def __getitem__(self, name: str) -> NDArray:
        return self.columns[name]


def fitted_share(units: int, enough: int = FITTED_UNITS) -> float:
    """The part of the units that is fitted on: one half, a quarter, ... once there are more than enough."""
    share = 1.0
    while units * share > enough:
        share /= 2
    return share


def in_share(ids: NDArray[np.int64], share: float) -> NDArray[np.bool_]:
    """Which of these units are in the part: a unit in a smaller part is in every larger one too."""
    return np.asarray((ids * _MIX) % (1 << 32) < share * (1 << 32), dtype=bool)


def pack(
    spells: Spells, exposure: Exposure, h: Histories, lines: Timelines, rows: NDArray[np.bool_], share: float
) -> tuple[bytes, str]:
    """The rows of the units marked in ``rows`` (by row of ``lines``), packed, and a digest of what is in them.

    The digest also tells of every entry these units got, since costs and exposures rest on more than the rows.
    """
    ids = h.units["id"][lines.unit]
    chosen = rows & in_share(ids, share)
    s, g = chosen[spells.row], chosen[exposure.row]
    columns = {name: getattr(spells, name)[s].astype(kind) for name, kind in _SPELLS.items()}
    columns["g_unit"] = ids[exposure.row[g]].astype(np.int32)
    for name in ("start", "end", "chance"):
        columns[f"g_{name}"] = np.round(getattr(exposure, name)[g], 2).astype(np.float32)
    units = lines.unit[rows]
    whole = {
        "u_unit": ids[rows],
        "u_model": h.units["model"][units],
        "u_crew": lines.crew[rows],
        "u_recent": exposure.recent[rows],
        "u_in_use": h.units["retired"][units] == NO_DAY,
    }
    columns |= {name: values.astype(_UNITS[name]) for name, values in whole.items()}
    digest = hashlib.sha256()
    for name in sorted(columns):
        digest.update(np.ascontiguousarray(columns[name]).tobytes())
    digest.update(np.ascontiguousarray(h.units["version"][units]).tobytes())
    text = io.BytesIO()
    np.savez_compressed(text, **columns)
    return join([text.getvalue()]), digest.hexdigest()


def join(packs: Sequence[bytes]) -> bytes:
    """Several packs as one, each after its length; a pack is a join of one."""
    parts = [part for held in packs for part in (_split(held) if held[:4] == _MARK else [held])]
    return _MARK + b"".join(len(part).to_bytes(8, "little") + part for part in parts)


def _split(joined: bytes) -> list[bytes]:
    parts, at = [], len(_MARK)
    while at < len(joined):
        size = int.from_bytes(joined[at : at + 8], "little")
        parts.append(joined[at + 8 : at + 8 + size])
        at += 8 + size
    return parts


def count(spells: Spells, rows: NDArray[np.bool_]) -> dict[str, dict[str, tuple[int, int, float]]]:
    """Failures, spells and hours of these units by model and component, as one contractor's own counts."""
    mine = rows[spells.row] & (spells.stream != PORT)
    model, stream = spells.model[mine], spells.stream[mine]
    lower, upper = spells.lower[mine], spells.upper[mine]
    last = np.where(np.isfinite(upper), (lower + np.where(np.isfinite(upper), upper, 0.0)) / 2, lower)
    key, inverse = np.unique(model * 32 + stream, return_inverse=True)
    events = np.bincount(inverse, weights=np.isfinite(upper), minlength=len(key))
    number = np.bincount(inverse, minlength=len(key))
    hours = np.bincount(inverse, weights=last - spells.entry[mine], minlength=len(key))
    names = {code: component for component, code in COMPONENT_CODE.items()}
    found: dict[str, dict[str, tuple[int, int, float]]] = {}
    for k, e, n, t in zip(key.tolist(), events.tolist(), number.tolist(), hours.tolist(), strict=True):
        found.setdefault(str(k // 32), {})[names[k % 32]] = (int(e), int(n), round(t, 1))
    return found


def unpack(packs: Iterable[tuple[int, bytes]]) -> Samples:
    """Put packs of (contractor, bytes) together, in the order of contractors whatever order they come in."""
    names = [*_SPELLS, *_STRETCHES, *_UNITS]
    parts: dict[str, list[NDArray]] = {name: [] for name in (*names, "contractor", "u_contractor")}
    for contractor, text in sorted(packs, key=lambda pack: pack[0]):
        for part in _split(text):
            with np.load(io.BytesIO(part)) as held:
                for name in names:
                    parts[name].append(held[name])
                for name, like in (("contractor", "unit"), ("u_contractor", "u_unit")):
                    parts[name].append(np.full(len(held[like]), contractor, dtype=np.int32))
    kinds = {**_SPELLS, **_STRETCHES, **_UNITS, "contractor": np.int32, "u_contractor": np.int32}
    columns = {
        name: np.concatenate(values) if values else np.zeros(0, dtype=kinds[name]) for name, values in parts.items()
    }
    hours = ("entry", "lower", "upper", "since", "at", "g_start", "g_end", "g_chance", "u_recent")
    for name in hours:
        # Kept in single precision: back to hundredths, as they were.
        columns[name] = np.round(columns[name].astype(np.float64), 4 if name == "u_recent" else 2)
    for name in ("unit", "model", "crew", "stream", "g_unit", "u_unit", "u_model", "u_crew"):
        columns[name] = columns[name].astype(np.int64)
    return Samples(columns)


def models_in(samples: Samples) -> Sequence[int]:
    """Models with a unit in the samples, by number."""
    return [int(m) for m in np.unique(samples["u_model"])]
