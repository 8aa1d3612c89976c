"""A made-up fleet for the cost of misuse: meters read every Friday, moves on Mondays, one crew without guards."""

from __future__ import annotations

import csv
import datetime as dt
import io

import numpy as np

MONDAY = dt.date(2024, 4, 1)
CREWS = {"Bank": 0.05, "Mill": 0.08, "Verge": 0.6}
WEEKS = 30
COMPONENTS = ("gearbox", "drive_shaft", "clutch", "exhaust", "starter", "ignition")
# What an hour of each costs in failures with the guard on; the first four triple without it.
RATES = (0.004, 0.001, 0.001, 0.001, 0.001, 0.001)
RATIO = 3.0


def files_of(seed: int, per_crew: int = 12) -> dict[str, bytes]:
    """Import files by name."""
    rng = np.random.default_rng(seed)
    rows: dict[str, list[dict[str, object]]] = {n: [] for n in ("units", "moves", "hours", "guard", "failures")}
    rows["services"] = []
    rows["contractors"] = [
        {"contractor": "Hollow Grounds", "season_opens": "01-01", "season_closes": "12-31", "labour_rate": 80,
         "downtime_per_day": 50}
    ]  # fmt: skip
    rows["models"] = [{"maker": "Ostrel", "model": "Heron", "price": 400, "warranty_months": 24}]
    names = list(CREWS)
    for number in range(per_crew * len(CREWS)):
        unit, crew, hours = f"HG-{number + 1:02d}", names[number % len(CREWS)], float(rng.integers(0, 40))
        off = bool(rng.random() < CREWS[crew])
        rows["units"].append(
            {"unit": unit, "contractor": "Hollow Grounds", "crew": crew, "maker": "Ostrel", "model": "Heron",
             "bought_on": "2024-03-01", "registered_on": MONDAY, "hours_at_registration": hours,
             "guard": "off" if off else "on"}
        )  # fmt: skip
        for week in range(WEEKS):
            monday = MONDAY + dt.timedelta(weeks=week)
            if week and rng.random() < 0.04:
                crew = names[int(rng.integers(len(names)))]
                rows["moves"].append({"unit": unit, "date": monday, "crew": crew})
            if rng.random() < 0.4:
                off = bool(rng.random() < CREWS[crew])
            run = float(np.round(rng.uniform(4, 14), 1))
            walk = monday + dt.timedelta(days=4)
            hours = round(hours + run, 1)
            rows["hours"].append({"unit": unit, "date": walk, "meter_hours": hours})
            if rng.random() < 0.5:
                word = ("off" if rng.random() < 0.8 else "damaged") if off else "on"
                if word == "off" and rng.random() < 0.2:
                    word, off = "refitted", False
                rows["guard"].append({"unit": unit, "date": walk, "guard": word, "line": "ok", "seen_by": "crew"})
            if rng.random() < 0.05:
                rows["services"].append(
                    {"unit": unit, "date": walk, "task": "grease", "as_found": "ok", "done": "serviced",
                     "done_by": "shop" if rng.random() < 0.5 else "crew", "minutes": 10, "parts_cost": 2}
                )  # fmt: skip
            factor = RATIO if off else 1.0
            for place, component in enumerate(COMPONENTS):
                if rng.random() < 1 - np.exp(-RATES[place] * run * (factor if place < 4 else 1.0)):
                    noted = "" if rng.random() < 0.2 else "off" if off else "on"
                    rows["failures"].append(
                        {"unit": unit, "date": walk, "component": component, "found": "in_use", "done": "repaired",
                         "minutes": int(rng.integers(15, 90)), "parts_cost": float(np.round(rng.uniform(5, 90), 2)),
                         "downtime_days": int(rng.integers(0, 4)), "warranty": "yes" if rng.random() < 0.2 else "no",
                         "guard_as_found": noted, "cause": "dropped" if rng.random() < 0.1 else "wear"}
                    )  # fmt: skip
                    if rng.random() < 0.5:
                        off = False
                        rows["guard"].append({"unit": unit, "date": walk + dt.timedelta(days=1), "guard": "on",
                                              "line": "", "seen_by": "shop"})  # fmt: skip
    return {f"{name}.csv": _csv(lines) for name, lines in rows.items() if lines}


def _csv(lines: list[dict[str, object]]) -> bytes:
    text = io.StringIO()
    writer = csv.DictWriter(text, list(lines[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(lines)
    return text.getvalue().encode()
