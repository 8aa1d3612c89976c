"""What holds a unit, entry by entry: guard walks first on a day, then services, then failures."""

from __future__ import annotations

import datetime as dt

from tests.recomputed.reading import Row, Unit, day

# The task under which each finding stands.
TASK_OF = {
    "guard_off": "head", "guard_damaged": "head", "cracked_head": "head",
    "no_stop": "stop_switch", "trigger_sticks": "stop_switch", "stop_check_failed": "stop_switch",
    "turns_at_idle": "clutch", "clutch_check_failed": "clutch",
    "fuel_leak": "fuel_filter", "fuel_check_failed": "fuel_filter",
    "screen_holed": "arrestor", "screen_missing": "arrestor",
    "loose_handle": "mounts", "mounts_check_failed": "mounts",
}  # fmt: skip
FAILED_CHECK = {
    "head": "cracked_head", "stop_switch": "stop_check_failed", "clutch": "clutch_check_failed",
    "fuel_filter": "fuel_check_failed", "mounts": "mounts_check_failed",
}  # fmt: skip
OPEN_FAILURE = {
    "head": "cracked_head", "guard": "guard_damaged", "stop_switch": "stop_check_failed",
    "throttle": "trigger_sticks", "clutch": "clutch_check_failed", "mounts": "mounts_check_failed",
}  # fmt: skip
GUARD = {"guard_off", "guard_damaged"}
SOUND = {"ok", "clear", "partly", "worn"}


class _Standing(set[str]):
    """Findings that stand, and the day each was first made since it was last cleared."""

    today: dt.date
    since: dict[str, dt.date]

    def add(self, finding: str) -> None:
        if finding not in self:
            self.since[finding] = self.today
        super().add(finding)


def holds_of(unit: Unit) -> dict[str, list[tuple[str, dt.date]]]:
    """Findings that stand after the last entry, with their day, by the task under which they hold the unit."""
    standing = _Standing()
    standing.since, standing.today = {}, unit.registered
    if unit.guard in ("off", "damaged"):
        standing.add(f"guard_{unit.guard}")
    entries: list[tuple[dt.date, int, int, Row]] = []
    for kind, rows in enumerate((unit.guards, unit.services, unit.failures)):
        entries += [(day(r["date"]), kind, number, r) for number, r in enumerate(rows)]
    for date, kind, _number, row in sorted(entries, key=lambda e: e[:3]):
        standing.today = date
        (_walk, _service, _failure)[kind](standing, row)
    found: dict[str, list[tuple[str, dt.date]]] = {}
    order = list(TASK_OF)
    for finding in sorted(standing, key=lambda f: (standing.since[f], order.index(f))):
        found.setdefault(TASK_OF[finding], []).append((finding, standing.since[finding]))
    return found


def _walk(standing: set[str], row: Row) -> None:
    if row["guard"] in ("on", "refitted", "no_cutter"):
        standing -= GUARD
    elif row["guard"] in ("off", "damaged"):
        standing.add(f"guard_{row['guard']}")
    if row["safety"] == "ok":
        # The crew's word clears the head; the shop's clears all that a walk can look at.
        standing -= (
            {f for f in TASK_OF if TASK_OF[f] != "arrestor" and f not in GUARD}
            if row["seen_by"] == "shop"
            else {"cracked_head"}
        )
    elif row["safety"] in TASK_OF:
        standing.add(row["safety"])


def _service(standing: set[str], row: Row) -> None:
    task, found, done, by_shop = row["task"], row["as_found"], row["done"], row["done_by"] == "shop"
    if task in FAILED_CHECK:
        may_clear = by_shop or task == "head"
        if found == "failed" and (done == "looked" or not may_clear):
            standing.add(FAILED_CHECK[task])
        elif may_clear and (done != "looked" or found in SOUND):
            standing -= {f for f, t in TASK_OF.items() if t == task}
    elif task == "arrestor":
        if found in ("holed", "missing") and not (done == "replaced" and by_shop):
            standing.add(f"screen_{found}")
        elif by_shop and (done == "replaced" or found in SOUND | {"blocked"}):
            standing -= {"screen_holed", "screen_missing"}


def _failure(standing: set[str], row: Row) -> None:
    finding = OPEN_FAILURE.get(row["component"])
    if finding:
        standing.discard(finding)
        if not row["done"]:
            standing.add(finding)
