"""The words of the bench: states of a drop-off, kinds of visit, what fuel was in it, complaints, jobs with minutes."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from fleet.vocabulary import COMPONENTS, TASKS, Label

OFFERED, BOOKED, CHECKED_IN, ON_BENCH = "offered", "booked", "checked_in", "on_bench"
WAITING, READY, PICKED_UP, NO_SHOW, CANCELLED = "waiting", "ready", "picked_up", "no_show", "cancelled"

VISIT_STATES: dict[str, Label] = {
    OFFERED: _("offered"),
    BOOKED: _("booked"),
    CHECKED_IN: _("checked in"),
    ON_BENCH: _("on the bench"),
    WAITING: _("waiting on parts"),
    READY: _("ready"),
    PICKED_UP: _("picked up"),
    NO_SHOW: _("no-show"),
    CANCELLED: _("cancelled"),
}

# What may follow what. A unit that comes late is checked in after all; one found wanting at hand-over goes back.
NEXT_STATES: dict[str, frozenset[str]] = {
    OFFERED: frozenset({BOOKED, CHECKED_IN, CANCELLED}),
    BOOKED: frozenset({CHECKED_IN, NO_SHOW, CANCELLED}),
    CHECKED_IN: frozenset({ON_BENCH, WAITING, READY, PICKED_UP}),
    ON_BENCH: frozenset({WAITING, READY, CHECKED_IN}),
    WAITING: frozenset({ON_BENCH, READY, PICKED_UP}),
    READY: frozenset({PICKED_UP, ON_BENCH}),
    PICKED_UP: frozenset(),
    NO_SHOW: frozenset({CHECKED_IN, BOOKED, CANCELLED}),
    CANCELLED: frozenset(),
}
# Promised to the day it stands on, so its minutes count there.
EXPECTED = frozenset({OFFERED, BOOKED})
# In the shop's hands.
IN_SHOP = frozenset({CHECKED_IN, ON_BENCH, WAITING, READY})
# Neither done with nor called off: a unit stands on one of these at a time.
STANDING = EXPECTED | IN_SHOP | {NO_SHOW}
OVER = frozenset({PICKED_UP, CANCELLED})
# How far a visit with several lines has come: the least advanced of those still coming counts.
ADVANCE = {state: n for n, state in enumerate((OFFERED, BOOKED, CHECKED_IN, ON_BENCH, WAITING, READY, PICKED_UP))}

AT_SHOP, AT_YARD = "shop", "yard"
VISIT_PLACES: dict[str, Label] = {AT_SHOP: _("drop-off at the shop"), AT_YARD: _("yard visit")}

FUEL_IN_IT: dict[str, Label] = {
    "fresh": _("mixed fuel, fresh"),
    "old": _("mixed fuel, over 30 days old"),
    "unmixed": _("gasoline without oil"),
    "unknown": _("fuel, nobody knows which"),
    "empty": _("empty"),
    "not_looked": _("not looked at"),
}


@dataclass(frozen=True)
class Complaint:
    """What a contractor says is wrong. ``holds``: the unit rests from this word on, until it is put right.

    ``safety`` is the finding this becomes in the ledger where there is one.
    """

    key: str
    label: Label
    component: str
    holds: bool = False
    safety: str = ""


SYMPTOMS: dict[str, Complaint] = {
    c.key: c
    for c in (
        Complaint("no_start", _("Will not start at all"), "fuel"),
        Complaint("starts_then_dies", _("Starts, then dies in a few seconds"), "fuel"),
        Complaint("runs_only_on_choke", _("Runs only with the choke on"), "carburetor"),
        Complaint("bogs_full_throttle", _("Bogs or falls off at full throttle"), "carburetor"),
        Complaint("idle_hunts", _("Idle speed rises and falls"), "carburetor"),
        Complaint("dies_when_tilted", _("Dies when the machine is tilted"), "fuel"),
        Complaint("quits_when_hot", _("Stops when hot, restarts when cool"), "ignition"),
        Complaint("loses_power_gradually", _("Has lost power slowly over weeks"), "exhaust"),
        Complaint("floods", _("Floods: wet plug, fuel from the exhaust"), "carburetor"),
        Complaint("no_spark", _("No spark"), "ignition"),
        Complaint("hard_or_no_pull", _("Starter pulls hard, sticks or will not pull"), "starter"),
        Complaint("engine_revs_head_still", _("Engine revs but the head does not turn"), "drive_shaft"),
        Complaint("gearbox_hot_or_ratchety", _("Gearbox runs hot or feels ratchety"), "gearbox"),
        Complaint("vibration", _("Shakes more than it used to"), "mounts"),
        Complaint("overheats_melts_near_muffler", _("Overheats or melts plastic near the muffler"), "cooling", True),
        Complaint("head_turns_at_idle", _("Cutting head keeps turning at idle"), "clutch", True, "turns_at_idle"),
        Complaint("no_stop_switch_off", _("Engine does not stop when switched off"), "stop_switch", True, "no_stop"),
        Complaint("fuel_leak", _("Fuel leak or strong fuel smell"), "fuel", True, "fuel_leak"),
    )
}

# Answers to a check: its cause is there, it is not, it cannot be told now; or the answer before was a slip.
FOUND_IT, FINE, LATER_CHECK, TAKEN_BACK = "found", "clear", "skipped", "taken_back"
CHECK_ANSWERS: dict[str, Label] = {
    FOUND_IT: _("found"),
    FINE: _("fine"),
    LATER_CHECK: _("not checked"),
    TAKEN_BACK: _("taken back"),
}

# A complaint that came from use, not from a part: fuel, routine, line or guard put right. No failure is recorded.
NOT_BROKEN = "not_broken"
# What a finding about use is called as a cause in the ledger, where a part was harmed by it after all.
CAUSE_OF_PART = {
    "fuel_quality": "stale_fuel", "fuel_mix": "no_oil", "guard_state": "overload", "line_length_cutter": "overload",
}  # fmt: skip

# Bench minutes of common practice, no source claimed; what a shop's own finished jobs say outgrows them.
INTAKE, QUICK_LOOK, KIT = "intake", "quick_look", "kit"
TASK_MINUTES = {
    "grease": 5, "arrestor": 10, "port": 30, "air_filter": 3, "fuel_filter": 20, "plug": 5, "mounts": 5,
    "stop_switch": 5, "clutch": 10, "head": 5, "lay_up": 10, "review": 15,
}  # fmt: skip
# For each component: mended as it is, or the part replaced.
REPAIR_MINUTES = {
    "head": (5, 5), "guard": (8, 8), "gearbox": (45, 20), "drive_shaft": (25, 25), "clutch": (25, 30),
    "exhaust": (30, 15), "cylinder": (75, 75), "crank": (90, 90), "intake": (30, 30), "carburetor": (45, 25),
    "fuel": (20, 20), "ignition": (20, 20), "stop_switch": (20, 20), "starter": (20, 12), "mounts": (20, 20),
    "throttle": (25, 25), "cooling": (15, 15),
}  # fmt: skip
OTHER_MINUTES = {INTAKE: 12, QUICK_LOOK: 5, KIT: 30}


def task_job(task: str) -> str:
    """Key of a task as a job at the bench."""
    return f"task.{task}"


def fault_job(component: str) -> str:
    """Key of a fault to be put right, before anyone knows how."""
    return f"fault.{component}"


def repair_job(component: str, done: str) -> str:
    """Key of a repair as it was done: ``repaired`` or ``replaced``."""
    return f"repair.{component}.{done}"


def practice_minutes(job: str) -> int:
    """Common practice's minutes for a job; a fault counts as the longer of its two repairs and a quick look."""
    kind, _dot, rest = job.partition(".")
    if kind == "task":
        return TASK_MINUTES[rest]
    if kind == "fault":
        return max(REPAIR_MINUTES[rest]) + OTHER_MINUTES[QUICK_LOOK]
    if kind == "repair":
        component, _dot, done = rest.partition(".")
        return REPAIR_MINUTES[component][done == "replaced"]
    return OTHER_MINUTES[job]


ALL_JOBS: tuple[str, ...] = (
    *OTHER_MINUTES,
    *(task_job(task) for task in TASKS),
    *(repair_job(c, done) for c in COMPONENTS for done in ("repaired", "replaced")),
)

# Steps of a warranty claim. The last of SENT, PAID, PART_PAID and REFUSED says where it stands.
KEPT, SENT, PAID, PART_PAID, REFUSED, LET_GO = "kept", "sent", "paid", "part_paid", "refused", "let_go"
CLAIM_STEPS: dict[str, Label] = {
    KEPT: _("part tagged and kept"),
    SENT: _("sent to the maker"),
    PAID: _("paid"),
    PART_PAID: _("paid in part"),
    REFUSED: _("refused"),
    LET_GO: _("part let go"),
}
CLAIM_ANSWERS = (PAID, PART_PAID, REFUSED)
# What a claim wants (common practice): proof of purchase, serial, fuel looked at, a picture, the part kept.
CLAIM_WANTS: dict[str, Label] = {
    "proof": _("proof of purchase"),
    "serial": _("serial"),
    "fuel": _("fuel looked at"),
    "picture": _("a picture of the part"),
    "part": _("the part tagged and kept"),
}
