"""The words of the trade that files, screens and statistics share: tasks, components, states, findings.

Keys are what files and JSON carry; labels are what people read. Nothing here knows about the database.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Label = str | Promise


@dataclass(frozen=True)
class Task:
    """One job that falls due.

    ``place`` says who does it: the crew in the yard, the shop on its bench, or the owner at a desk.
    ``renewed_by_look`` is true for checks, where looking and finding nothing wrong is the whole job.
    ``practice_hours`` and ``practice_months`` are common practice with no source claimed: shown as such, and never
    used where the maker's manual gives a figure.
    """

    key: str
    label: Label
    done_word: Label
    place: str
    renewed_by_look: bool
    practice_hours: int | None
    practice_months: int | None


YARD, BENCH, OWNER = "yard", "bench", "owner"

PLACE_LABELS: dict[str, Label] = {YARD: _("yard"), BENCH: _("bench"), OWNER: _("owner")}

TASKS: dict[str, Task] = {
    task.key: task
    for task in (
        Task("grease", _("Gearbox grease"), _("greased"), YARD, False, 50, 12),
        Task("arrestor", _("Arrestor screen clean"), _("cleaned"), YARD, False, 50, 12),
        Task("port", _("Clean the exhaust port"), _("cleaned"), BENCH, False, 150, None),
        Task("air_filter", _("Air filter"), _("cleaned"), YARD, False, 10, None),
        Task("fuel_filter", _("Fuel filter and line check"), _("changed"), YARD, False, 100, 12),
        Task("plug", _("Spark plug"), _("changed"), YARD, False, 100, 12),
        Task("mounts", _("Mounts and handle check"), _("checked"), BENCH, True, 50, 12),
        Task("stop_switch", _("Stop switch and trigger check"), _("checked"), BENCH, True, 50, 12),
        Task("clutch", _("Clutch and idle check"), _("checked"), BENCH, True, 150, 12),
        Task("head", _("Cutting head and line check"), _("checked"), YARD, True, 25, None),
        Task("lay_up", _("Lay-up"), _("laid up"), YARD, False, None, 12),
        Task("review", _("Keep-or-replace review"), _("reviewed"), OWNER, True, None, 12),
    )
}
TASK_KEYS: tuple[str, ...] = tuple(TASKS)

COMPONENTS: dict[str, Label] = {
    "head": _("cutting head"),
    "guard": _("guard"),
    "gearbox": _("gearbox"),
    "drive_shaft": _("drive shaft"),
    "clutch": _("clutch"),
    "exhaust": _("exhaust and arrestor"),
    "cylinder": _("cylinder and piston"),
    "crank": _("crankshaft bearings and seals"),
    "intake": _("intake and insulator"),
    "carburetor": _("carburetor"),
    "fuel": _("fuel: line, filter, tank, cap, primer"),
    "ignition": _("ignition"),
    "stop_switch": _("stop switch and wiring"),
    "starter": _("starter"),
    "mounts": _("mounts and handle"),
    "throttle": _("throttle: trigger, lockout, cable"),
    "cooling": _("cooling: fins, fan, shroud"),
}

# The component each task looks after: a task recorded as *replaced* fitted a new one.
COMPONENT_OF_TASK: dict[str, str] = {
    "grease": "gearbox",
    "arrestor": "exhaust",
    "air_filter": "intake",
    "fuel_filter": "fuel",
    "plug": "ignition",
    "mounts": "mounts",
    "stop_switch": "stop_switch",
    "clutch": "clutch",
    "head": "head",
}
TASK_OF_COMPONENT = {component: task for task, component in COMPONENT_OF_TASK.items()}

# Groups of components that makers give one warranty term each.
WARRANTY_GROUPS: dict[str, tuple[Label, tuple[str, ...]]] = {
    "engine": (_("engine"), ("cylinder", "crank", "cooling", "starter")),
    "emission": (_("fuel and ignition"), ("carburetor", "fuel", "ignition", "intake", "exhaust")),
    "drive": (_("drive line"), ("gearbox", "drive_shaft", "clutch", "head", "guard")),
    "controls": (_("controls and handles"), ("stop_switch", "throttle", "mounts")),
}

GUARD_STATES: dict[str, Label] = {
    "on": _("on"),
    "off": _("off"),
    "refitted": _("off, refitted now"),
    "damaged": _("damaged"),
    "no_cutter": _("on, cutter missing"),
}
LINE_STATES: dict[str, Label] = {
    "ok": _("good"),
    "long": _("long"),
    "uneven": _("uneven"),
    "too_thick": _("too thick"),
}
SAFETY_STATES: dict[str, Label] = {
    "ok": _("good"),
    "no_stop": _("does not stop"),
    "turns_at_idle": _("head turns at idle"),
    "trigger_sticks": _("trigger or lockout sticks"),
    "fuel_leak": _("fuel leak"),
    "cracked_head": _("cutting head cracked"),
    "loose_handle": _("handle or mount loose"),
}
SEEN_BY: dict[str, Label] = {"crew": _("crew"), "shop": _("shop")}
AS_FOUND: dict[str, Label] = {
    "ok": _("good"),
    "clear": _("clear"),
    "partly": _("partly blocked"),
    "blocked": _("blocked"),
    "holed": _("holed"),
    "missing": _("missing"),
    "dry": _("dry"),
    "loose": _("loose"),
    "worn": _("worn"),
    "failed": _("failed the check"),
}
# Findings that are the failure event of the look that made them; the rest are recorded only.
AS_FOUND_EVENTS = frozenset({"blocked", "holed", "missing", "dry", "failed"})
SERVICE_DONE: dict[str, Label] = {"looked": _("looked"), "serviced": _("serviced"), "replaced": _("replaced")}
FAILURE_DONE: dict[str, Label] = {"repaired": _("repaired"), "replaced": _("replaced"), "scrapped": _("scrapped")}
CAUSES: dict[str, Label] = {
    "stale_fuel": _("stale fuel"),
    "water": _("water in fuel"),
    "no_oil": _("no oil in fuel"),
    "overload": _("overload"),
    "dirt": _("dirt"),
    "dropped": _("dropped"),
    "earlier_repair": _("earlier repair"),
    "makers_fault": _("maker's fault"),
    "wear": _("wear"),
    "unknown": _("not known"),
}
FOUND: dict[str, Label] = {"in_use": _("in use"), "at_look": _("at a look")}

# States in the order a list shows them.
HOLD, PAST_DUE, DUE_NOW, DUE_BY, LATER = "hold", "past_due", "due_now", "due_by", "later"
STATES: dict[str, Label] = {
    HOLD: _("hold: do not start"),
    PAST_DUE: _("past due"),
    DUE_NOW: _("due now"),
    DUE_BY: _("due by"),
    LATER: _("later"),
}
STATE_ORDER = {state: position for position, state in enumerate(STATES)}

# What people may find at each task, in the order a form offers it (first: nothing wrong).
FINDINGS_OF_TASK: dict[str, tuple[str, ...]] = {
    "grease": ("ok", "dry", "loose", "worn"),
    "arrestor": ("clear", "partly", "blocked", "holed", "missing"),
    "port": ("clear", "partly", "blocked"),
    "air_filter": ("ok", "partly", "blocked", "missing"),
    "fuel_filter": ("ok", "partly", "blocked", "worn", "failed"),
    "plug": ("ok", "worn", "failed"),
    "mounts": ("ok", "worn", "loose", "failed"),
    "stop_switch": ("ok", "worn", "failed"),
    "clutch": ("ok", "worn", "failed"),
    "head": ("ok", "worn", "loose", "failed"),
    "lay_up": ("ok",),
    "review": ("ok",),
}
