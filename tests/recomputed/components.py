"""What every component lived through, entry by entry: stretches that end in a failure or are still watched.

A stretch ends where its task is done, where the component fails, and where a new one is fitted. A failure that a look
found came about after the look before. Repairing does not make a component younger.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass

from tests.recomputed.hours import Line
from tests.recomputed.reading import Unit, day, number

TASK_OF = {
    "gearbox": "grease", "exhaust": "arrestor", "ignition": "plug", "intake": "air_filter", "fuel": "fuel_filter",
    "mounts": "mounts", "stop_switch": "stop_switch", "clutch": "clutch", "head": "head",
}  # fmt: skip
COMPONENTS = (
    "head", "guard", "gearbox", "drive_shaft", "clutch", "exhaust", "cylinder", "crank", "intake", "carburetor",
    "fuel", "ignition", "stop_switch", "starter", "mounts", "throttle", "cooling",
)  # fmt: skip
ON_TASK_CLOCK = {"gearbox", "exhaust"}
CHECKS = {"mounts", "stop_switch", "clutch", "head"}
FAILED_LOOKS = {"blocked", "holed", "missing", "dry", "failed"}
TRACE = 0.01


@dataclass(frozen=True)
class Stretch:
    """Hours of one component under one clock; the event, if any, lies in (lower, upper]. ``at``: the unit's total."""

    unit: Unit
    entry: float
    lower: float
    upper: float
    at: float
    crew: str
    since: float | None = None  # hours since its task at entry; None: nobody knows

    @property
    def failed(self) -> bool:
        return math.isfinite(self.upper)

    @property
    def last(self) -> float:
        return self.upper if self.failed else self.lower

    @property
    def exact(self) -> bool:
        return self.lower == self.upper


@dataclass
class _Day:
    """All that was written of a component on one day."""

    hours: float = 0.0
    exact: bool = False
    found: bool = False
    looked: bool = False
    mended: bool = False
    renewed: bool = False
    replaced: bool = False
    part: float = 0.0
    scrapped: bool = False


def _days(unit: Unit, line: Line, component: str) -> list[tuple[dt.date, _Day]]:
    task, days = TASK_OF.get(component), {}
    for r in unit.services:
        if task is None or r["task"] != task:
            continue
        found, served = r["as_found"] in FAILED_LOOKS, r["done"] != "looked"
        on = days.setdefault(day(r["date"]), _Day())
        on.hours = max(on.hours, float(r["hours"]) if r["hours"] else line.on(day(r["date"])))
        on.found |= found
        on.looked = True
        on.mended |= served or not found
        on.renewed |= served or task in CHECKS
        if r["done"] == "replaced":
            on.replaced, on.part = True, max(on.part, number(r["part_hours"]) or 0.0)
    for r in unit.failures:
        if r["component"] != component:
            continue
        mended = r["done"] in ("repaired", "replaced")
        on = days.setdefault(day(r["date"]), _Day())
        on.hours = max(on.hours, float(r["hours"]) if r["hours"] else line.on(day(r["date"])))
        on.exact |= r["found"] != "at_look"
        on.found |= r["found"] == "at_look"
        on.mended |= mended
        on.renewed |= mended and component == "gearbox"
        on.scrapped |= r["done"] == "scrapped"
        if r["done"] == "replaced":
            on.replaced, on.part = True, max(on.part, number(r["part_hours"]) or 0.0)
    return sorted(days.items(), key=lambda item: item[0])


def stretches(unit: Unit, line: Line, component: str, *, by_age: bool = False) -> list[Stretch]:
    """On hours since the task for what is greased or cleaned (unless ``by_age``), else on the component's own hours."""
    on_task = component in ON_TASK_CLOCK and not by_age
    found: list[Stretch] = []
    here, base, floor = unit.start, 0.0, unit.start
    since: float | None = unit.start if unit.start == 0 else None
    begun = unit.registered
    last_look, down, gone = -math.inf, False, False

    def add(to: float, event: bool, exact: bool) -> None:
        if down or gone or to - here <= TRACE or (on_task and since is None):
            return
        shift = since if on_task else base
        assert shift is not None
        entry, last = here - shift, to - shift
        lower = last
        if event and not exact:
            lower = min(max(last_look - shift, entry), last)
        crew = unit.crew_on(max(begun, unit.registered)) or ""
        known = None if since is None or component not in TASK_OF else here - since
        found.append(Stretch(unit, entry, lower, last if event else math.inf, here, crew, known))

    for date, on in _days(unit, line, component):
        # Hours never go back, whatever was written.
        to = floor = max(on.hours, floor)
        event = (on.exact or on.found) and not down
        ends = event or on.replaced or (on.renewed and component in TASK_OF) or (on.mended and down)
        if ends:
            add(to, event, on.exact)
            here, begun = to, date
        if on.replaced:
            base = to - on.part
        if on.renewed and component in TASK_OF:
            since = to
        if (on.exact or on.found) and not on.mended:
            down = True
        elif on.mended:
            down = False
        if on.looked or on.found:
            last_look = to
        gone |= on.scrapped
    add(max(line.hours, floor), False, False)
    return found
