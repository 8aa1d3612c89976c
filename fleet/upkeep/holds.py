"""What holds a unit: *do not start* until the finding is cleared by somebody who may clear it.

Crews clear guard and head; the shop clears the rest (an entry seen or done by the shop).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.histories import (
    AS_FOUND_CODE,
    COMPONENT_CODE,
    FAILURE_DONE_CODE,
    GUARD_CODE,
    SAFETY_CODE,
    SEEN_CODE,
    SERVICE_DONE_CODE,
    TASK_CODE,
    Histories,
)

Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Finding:
    """A finding that holds: its key, the task whose row shows it, and whether a crew's own word clears it."""

    key: str
    task: str
    crew_clears: bool


FINDINGS: tuple[Finding, ...] = (
    Finding("guard_off", "head", True),
    Finding("guard_damaged", "head", True),
    Finding("cracked_head", "head", True),
    Finding("no_stop", "stop_switch", False),
    Finding("trigger_sticks", "stop_switch", False),
    Finding("stop_check_failed", "stop_switch", False),
    Finding("turns_at_idle", "clutch", False),
    Finding("clutch_check_failed", "clutch", False),
    Finding("fuel_leak", "fuel_filter", False),
    Finding("fuel_check_failed", "fuel_filter", False),
    Finding("screen_holed", "arrestor", False),
    Finding("screen_missing", "arrestor", False),
    Finding("loose_handle", "mounts", False),
    Finding("mounts_check_failed", "mounts", False),
)
_BY_KEY = {f.key: i for i, f in enumerate(FINDINGS)}
_GUARD = (_BY_KEY["guard_off"], _BY_KEY["guard_damaged"])
# A check recorded as failed, by task; a failure not mended yet, by component.
_FAILED_CHECK = {
    "head": "cracked_head",
    "stop_switch": "stop_check_failed",
    "clutch": "clutch_check_failed",
    "fuel_filter": "fuel_check_failed",
    "mounts": "mounts_check_failed",
}
_OPEN_FAILURE = {
    "head": "cracked_head",
    "guard": "guard_damaged",
    "stop_switch": "stop_check_failed",
    "throttle": "trigger_sticks",
    "clutch": "clutch_check_failed",
    "mounts": "mounts_check_failed",
}


@dataclass(frozen=True)
class Events:
    """Sets (value = finding raised) and clears, in the order they count: by day, then kind, then entry number."""

    unit: Ints
    finding: Ints
    raised: NDArray[np.bool_]
    day: Ints
    order: Ints


def standing_holds(h: Histories) -> dict[int, list[tuple[str, int]]]:
    """Findings that stand, by row number in ``h.units``: [(finding key, day it was found)], oldest first.

    On one day the walk counts before the services, and these before failures; a service of the same day clears what
    the walk found.
    """
    parts = [_registered(h), *_walks(h), *_services(h), *_failures(h)]
    unit, finding, raised, day, order = (
        np.concatenate([getattr(p, name) for p in parts]) for name in ("unit", "finding", "raised", "day", "order")
    )
    if not len(unit):
        return {}
    sequence = np.lexsort((order, day, finding, unit))
    unit, finding, raised, day = unit[sequence], finding[sequence], raised[sequence], day[sequence]
    last = np.ones(len(unit), dtype=bool)
    last[:-1] = (unit[:-1] != unit[1:]) | (finding[:-1] != finding[1:])
    # The day the finding was first made since it was last cleared.
    starts = raised.copy()
    starts[1:] &= ~(raised[:-1] & (unit[:-1] == unit[1:]) & (finding[:-1] == finding[1:]))
    start_at = np.maximum.accumulate(np.where(starts, np.arange(len(unit)), 0))
    found: dict[int, list[tuple[str, int]]] = {}
    for at in np.flatnonzero(last & raised):
        found.setdefault(int(unit[at]), []).append((FINDINGS[finding[at]].key, int(day[start_at[at]])))
    for holds in found.values():
        holds.sort(key=lambda item: (item[1], _BY_KEY[item[0]]))
    return found


def _events(unit: Ints, day: Ints, order: Ints, findings: tuple[int, ...], raised: bool) -> Events:
    n, k = len(unit), len(findings)
    return Events(
        unit=np.tile(unit, k).astype(np.int64),
        finding=np.repeat(np.array(findings, dtype=np.int64), n),
        raised=np.full(n * k, raised),
        day=np.tile(day, k).astype(np.int64),
        order=np.tile(order, k).astype(np.int64),
    )


def _registered(h: Histories) -> Events:
    off = h.core & np.isin(h.units["guard"], [GUARD_CODE["off"], GUARD_CODE["damaged"]])
    unit = np.flatnonzero(off)
    damaged = h.units["guard"][unit] == GUARD_CODE["damaged"]
    events = _events(unit, h.units["registered"][unit], np.full(len(unit), -1), (_GUARD[0],), True)
    finding = np.where(damaged, _GUARD[1], _GUARD[0])
    return Events(events.unit, finding.astype(np.int64), events.raised, events.day, events.order)


def _walks(h: Histories) -> list[Events]:
    g = h.guards
    # Entry numbers stay far below this; kinds of one day are kept apart by it.
    order = g["id"]

    def on(mask: NDArray[np.bool_], findings: tuple[int, ...], raised: bool) -> Events:
        return _events(g["unit"][mask], g["day"][mask], order[mask], findings, raised)

    guard, safety, by_shop = g["guard"], g["safety"], g["seen_by"] == SEEN_CODE["shop"]
    fitted = np.isin(guard, [GUARD_CODE["on"], GUARD_CODE["refitted"], GUARD_CODE["no_cutter"]])
    fine = safety == SAFETY_CODE["ok"]
    everything = tuple(i for i, f in enumerate(FINDINGS) if f.task not in ("arrestor",) and i not in _GUARD)
    parts = [
        on(guard == GUARD_CODE["off"], (_GUARD[0],), True),
        on(guard == GUARD_CODE["damaged"], (_GUARD[1],), True),
        on(fitted, _GUARD, False),
        on(fine & by_shop, everything, False),
        on(fine & ~by_shop, (_BY_KEY["cracked_head"],), False),
    ]
    parts += [on(safety == code, (_BY_KEY[key],), True) for key, code in SAFETY_CODE.items() if key in _BY_KEY]
    return parts


_SERVICE_ORDER, _FAILURE_ORDER = 1 << 50, 1 << 51


def _services(h: Histories) -> list[Events]:
    s = h.services
    order = s["id"] + _SERVICE_ORDER
    by_shop = s["done_by"] == SEEN_CODE["shop"]
    looked = s["done"] == SERVICE_DONE_CODE["looked"]
    replaced = s["done"] == SERVICE_DONE_CODE["replaced"]
    bad = s["as_found"] == AS_FOUND_CODE["failed"]
    sound = np.isin(s["as_found"], [AS_FOUND_CODE[w] for w in ("", "ok", "clear", "partly", "worn")])
    parts: list[Events] = []

    def on(mask: NDArray[np.bool_], findings: tuple[int, ...], raised: bool) -> None:
        parts.append(_events(s["unit"][mask], s["day"][mask], order[mask], findings, raised))

    for task, key in _FAILED_CHECK.items():
        of_task = s["task"] == TASK_CODE[task]
        mine = tuple(i for i, f in enumerate(FINDINGS) if f.task == task)
        may_clear = by_shop | FINDINGS[_BY_KEY[key]].crew_clears
        on(of_task & bad & (looked | ~may_clear), (_BY_KEY[key],), True)
        on(of_task & may_clear & (~looked | (sound & (s["as_found"] != 0))), mine, False)
    screen = s["task"] == TASK_CODE["arrestor"]
    holes = (_BY_KEY["screen_holed"], _BY_KEY["screen_missing"])
    # A hole is not cleaned away: only a new screen, or the shop's look at a sound one, lifts it.
    for word, finding in (("holed", holes[0]), ("missing", holes[1])):
        found = screen & (s["as_found"] == AS_FOUND_CODE[word])
        on(found & ~(replaced & by_shop), (finding,), True)
    sound_screen = sound & (s["as_found"] != 0) | (s["as_found"] == AS_FOUND_CODE["blocked"])
    on(screen & by_shop & (replaced | sound_screen), holes, False)
    return parts


def _failures(h: Histories) -> list[Events]:
    f = h.failures
    order = f["id"] + _FAILURE_ORDER
    is_open = f["done"] == FAILURE_DONE_CODE[""]
    parts = []
    for component, key in _OPEN_FAILURE.items():
        mine = f["component"] == COMPONENT_CODE[component]
        finding = (_BY_KEY[key],)
        for raised, mask in ((True, mine & is_open), (False, mine & ~is_open)):
            parts.append(_events(f["unit"][mask], f["day"][mask], order[mask], finding, raised))
    return parts
