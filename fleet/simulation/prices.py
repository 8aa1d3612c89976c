"""What work on trimmers takes: minutes, parts, words. Plausible for the trade; no source claimed (common practice).

Minutes are bench time, low, typical and high; parts are in one currency for a unit of about 350 new.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Job:
    """A repair: its minutes (low, typical, high), parts (low, typical, high), and how it usually goes."""

    minutes: tuple[float, float, float]
    parts: tuple[float, float, float]
    replaced_share: float
    yard: bool
    whats: tuple[str, ...]
    causes: tuple[tuple[str, float], ...]


REPAIRS: dict[str, Job] = {
    "head": Job((3, 5, 10), (14, 24, 38), 0.9, True, ("cutting head cracked", "spool jammed", "eyelets worn through"),
                (("wear", 0.6), ("dropped", 0.2), ("overload", 0.2))),
    "guard": Job((3, 8, 15), (12, 22, 35), 1.0, True, ("guard broken off", "guard cracked through"),
                 (("dropped", 0.6), ("wear", 0.3), ("unknown", 0.1))),
    "gearbox": Job((12, 20, 35), (48, 72, 110), 0.85, False, ("gears stripped", "bearing seized", "output shaft loose"),
                   (("wear", 0.5), ("overload", 0.25), ("dirt", 0.15), ("unknown", 0.1))),
    "drive_shaft": Job((15, 25, 45), (24, 40, 65), 0.9, False, ("shaft end rounded", "liner worn, shaft whips"),
                       (("wear", 0.5), ("overload", 0.4), ("unknown", 0.1))),
    "clutch": Job((15, 25, 40), (22, 38, 60), 0.8, False, ("shoes worn", "spring broken, drags", "drum blue with heat"),
                  (("wear", 0.5), ("overload", 0.4), ("unknown", 0.1))),
    "exhaust": Job((15, 30, 50), (6, 18, 45), 0.3, False, ("muffler choked with carbon", "gasket blown"),
                   (("dirt", 0.4), ("overload", 0.3), ("wear", 0.3))),
    "cylinder": Job((50, 75, 120), (85, 130, 190), 0.8, False, ("piston scored", "no compression", "ring stuck"),
                    (("no_oil", 0.3), ("overload", 0.2), ("wear", 0.35), ("unknown", 0.15))),
    "crank": Job((60, 90, 150), (25, 55, 110), 0.5, False, ("crank seal leaks air", "main bearing rough"),
                 (("wear", 0.8), ("unknown", 0.2))),
    "intake": Job((20, 30, 45), (8, 16, 30), 0.7, False, ("insulator cracked", "gasket leaks air", "filter choked"),
                  (("dirt", 0.5), ("wear", 0.4), ("earlier_repair", 0.1))),
    "carburetor": Job((15, 25, 75), (28, 46, 85), 0.6, False, ("diaphragm stiff", "passages varnished", "floods"),
                      (("dirt", 0.4), ("water", 0.15), ("wear", 0.3), ("unknown", 0.15))),
    "fuel": Job((10, 20, 35), (6, 13, 28), 0.8, False, ("fuel line split", "primer bulb cracked", "vent blocked"),
                (("wear", 0.65), ("dirt", 0.25), ("water", 0.1))),
    "ignition": Job((15, 20, 35), (22, 40, 70), 0.9, False, ("no spark", "coil fails when hot", "plug lead broken"),
                    (("wear", 0.5), ("unknown", 0.3), ("makers_fault", 0.1), ("water", 0.1))),
    "stop_switch": Job((10, 20, 35), (6, 12, 25), 0.8, False, ("stop wire chafed through", "switch contact burnt"),
                       (("wear", 0.8), ("earlier_repair", 0.2))),
    "starter": Job((8, 14, 35), (8, 22, 45), 0.6, False, ("rope broken", "pawl broken", "spring off"),
                   (("wear", 0.7), ("dropped", 0.1), ("overload", 0.2))),
    "mounts": Job((10, 20, 40), (10, 24, 48), 0.9, False, ("rubber mount torn", "handle clamp stripped"),
                  (("wear", 0.8), ("dropped", 0.2))),
    "throttle": Job((15, 25, 40), (8, 16, 32), 0.7, False, ("lockout broken", "cable frayed", "trigger sticks"),
                    (("wear", 0.6), ("dirt", 0.2), ("dropped", 0.2))),
    "cooling": Job((15, 25, 40), (15, 30, 55), 0.8, False, ("fan vane broken", "shroud cracked"),
                   (("dropped", 0.5), ("wear", 0.5))),
}  # fmt: skip

# Task: minutes (low, typical, high) and parts when something is fitted.
TASK_WORK: dict[str, tuple[tuple[float, float, float], float]] = {
    "grease": ((3, 5, 10), 0.6),
    "arrestor": ((5, 10, 20), 7.0),
    "port": ((20, 30, 50), 3.5),
    "air_filter": ((2, 3, 5), 6.5),
    "fuel_filter": ((10, 15, 30), 5.5),
    "plug": ((3, 5, 10), 4.5),
    "mounts": ((5, 8, 15), 24.0),
    "stop_switch": ((3, 5, 10), 12.0),
    "clutch": ((8, 12, 20), 38.0),
    "head": ((2, 4, 8), 24.0),
    "lay_up": ((8, 12, 20), 0.0),
    "review": ((10, 15, 25), 0.0),
}
# Share of rounds of a task in which the part is replaced as a matter of course.
TASK_REPLACES: dict[str, float] = {
    "arrestor": 0.08,
    "air_filter": 0.35,
    "fuel_filter": 0.7,
    "plug": 0.7,
    "head": 0.2,
}
# Looking is the whole job of these; the others are serviced or replaced.
LOOK_TASKS = ("mounts", "stop_switch", "clutch", "head", "review")
