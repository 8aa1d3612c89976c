"""A small contractor whose books are as untidy as real ones, as rows of the import files. All of it is invented."""

from __future__ import annotations

import csv
from pathlib import Path

NAME = "Hollow Lane Yards"
_FILES: dict[str, list[dict[str, str]]] = {
    "contractors": [
        # A season over New Year, six working days, a review tied to the order.
        {"contractor": NAME, "shop": "Alder Street Small Engine", "time_zone": "America/New_York",
         "season_opens": "10-01", "season_closes": "08-15", "working_days": "Mon-Sat", "order_by": "2026-02-10"},
    ],
    "units": [
        {"unit": "7", "crew": "Mill", "maker": "Ostrel", "model": "Heron", "registered_on": "2024-03-03",
         "hours_at_registration": "0", "bought_on": "2024-02-20", "guard": "on", "retired_on": "2024-11-12",
         "retired_why": "stolen"},
        # The same tag, painted on the unit that came after it.
        {"unit": "7", "crew": "Mill", "maker": "Ostrel", "model": "Heron", "registered_on": "2024-12-01",
         "hours_at_registration": "0", "bought_on": "", "guard": "on"},
        {"unit": "8", "crew": "Mill", "maker": "Ostrel", "model": "Rook", "registered_on": "2024-03-03",
         "hours_at_registration": "140.5", "bought_on": "2022-05-01", "guard": "damaged"},
        {"unit": "9", "crew": "Weir", "maker": "Kindrake", "model": "Teal", "registered_on": "2024-06-10",
         "hours_at_registration": "0", "bought_on": "2024-06-01", "guard": "off"},
        {"unit": "10", "crew": "", "maker": "Kindrake", "model": "Teal", "registered_on": "2024-06-10",
         "hours_at_registration": "12", "bought_on": "", "guard": "on"},
        # Nobody ever wrote a line about it.
        {"unit": "11", "crew": "Weir", "maker": "Kindrake", "model": "Teal", "registered_on": "2024-09-01",
         "hours_at_registration": "0", "bought_on": "", "guard": "on"},
    ],
    "moves": [
        {"unit": "8", "date": "2024-07-16", "crew": "Weir"},
        {"unit": "8", "date": "2025-03-02", "crew": "Mill"},
        {"unit": "10", "date": "2024-07-01", "crew": "Mill"},
    ],
    "hours": [
        # Run and fuel in one week, two entries a week, a Sunday, a week without working days between.
        {"unit": "7", "date": "2024-03-05", "hours_run": "3"},
        {"unit": "7", "date": "2024-03-08", "hours_run": "2.5"},
        {"unit": "7", "date": "2024-03-16", "hours_run": "4"},
        {"unit": "7", "date": "2024-04-02", "litres": "2.1"},
        {"unit": "7", "date": "2024-04-04", "hours_run": "1.5"},
        {"unit": "7", "date": "2024-12-10", "litres": "1.4"},
        {"unit": "7", "date": "2025-02-03", "hours_run": "6"},
        # A meter read rarely, changed once, and read on the day of the change.
        {"unit": "8", "date": "2024-04-10", "meter_hours": "161"},
        {"unit": "8", "date": "2024-06-20", "meter_hours": "196.5"},
        {"unit": "8", "date": "2024-08-04", "meter_hours": "0", "meter_replaced": "yes"},
        {"unit": "8", "date": "2024-09-15", "meter_hours": "14"},
        {"unit": "8", "date": "2025-05-05", "meter_hours": "55.2"},
        # A meter fitted later on.
        {"unit": "9", "date": "2024-06-20", "hours_run": "5"},
        {"unit": "9", "date": "2024-07-08", "meter_hours": "2", "meter_replaced": "yes"},
        {"unit": "9", "date": "2024-08-01", "meter_hours": "17.5"},
        {"unit": "10", "date": "2024-06-28", "hours_run": "2"},
        # Crew totals by hours and by a shared can, in weeks with and without entries of the units' own.
        {"crew": "Mill", "week_of": "2024-03-05", "crew_hours": "14"},
        {"crew": "Mill", "week_of": "2024-04-16", "crew_litres": "20", "trimmer_share": "0.5"},
        {"crew": "Mill", "week_of": "2024-11-12", "crew_hours": "11"},
        {"crew": "Weir", "week_of": "2024-07-14", "crew_hours": "9"},
        {"crew": "Weir", "week_of": "2024-07-23", "crew_litres": "6"},
        {"crew": "Mill", "week_of": "2025-05-18", "crew_hours": "3"},
    ],
    "guard": [
        {"unit": "8", "date": "2024-03-20", "guard": "refitted", "line": "ok", "safety": "ok", "seen_by": "crew"},
        {"unit": "9", "date": "2024-08-02", "guard": "on", "line": "long", "safety": "fuel_leak", "seen_by": "crew"},
        {"unit": "9", "date": "2024-08-09", "guard": "on", "line": "ok", "safety": "ok", "seen_by": "crew"},
        {"unit": "10", "date": "2025-04-01", "guard": "no_cutter", "line": "ok", "safety": "cracked_head",
         "seen_by": "crew"},
        {"unit": "10", "date": "2025-04-20", "guard": "", "line": "", "safety": "ok", "seen_by": "crew"},
        {"unit": "11", "date": "2025-02-14", "guard": "off", "line": "ok", "safety": "no_stop", "seen_by": "crew"},
        {"unit": "11", "date": "2025-02-20", "guard": "on", "line": "ok", "safety": "ok", "seen_by": "shop"},
    ],
    "services": [
        # Looked at only: greases nothing. Hours that lie above the line, and hours left to be filled in.
        {"unit": "8", "date": "2024-05-02", "task": "grease", "as_found": "ok", "done": "looked", "done_by": "crew"},
        {"unit": "8", "date": "2024-05-30", "hours": "183.5", "task": "grease", "as_found": "dry",
         "done": "serviced", "done_by": "shop"},
        {"unit": "8", "date": "2024-06-02", "task": "arrestor", "as_found": "holed", "done": "looked",
         "done_by": "crew"},
        {"unit": "8", "date": "2024-06-05", "task": "arrestor", "as_found": "ok", "done": "serviced",
         "done_by": "crew"},
        {"unit": "8", "date": "2024-07-01", "task": "arrestor", "as_found": "holed", "done": "replaced",
         "done_by": "shop"},
        {"unit": "7", "date": "2024-04-12", "task": "head", "as_found": "worn", "done": "looked", "done_by": "crew"},
        {"unit": "7", "date": "2025-02-01", "task": "lay_up", "as_found": "ok", "done": "serviced",
         "done_by": "crew"},
        {"unit": "9", "date": "2024-09-01", "task": "fuel_filter", "as_found": "failed", "done": "serviced",
         "done_by": "crew"},
        {"unit": "9", "date": "2025-01-12", "task": "mounts", "as_found": "failed", "done": "looked",
         "done_by": "shop"},
        {"unit": "9", "date": "2025-01-12", "task": "mounts", "as_found": "ok", "done": "replaced",
         "done_by": "shop"},
        {"unit": "10", "date": "2025-01-20", "task": "stop_switch", "as_found": "failed", "done": "looked",
         "done_by": "shop"},
        {"unit": "10", "date": "2025-03-02", "task": "review", "as_found": "ok", "done": "looked", "done_by": "crew"},
    ],
    "failures": [
        {"unit": "8", "date": "2024-08-20", "component": "gearbox", "what": "seized", "cause": "wear",
         "found": "in_use", "done": "replaced", "minutes": "45", "parts_cost": "82", "downtime_days": "3"},
        {"unit": "9", "date": "2024-09-20", "component": "clutch", "what": "drags", "cause": "wear",
         "found": "at_look", "done": "", "minutes": "", "parts_cost": "", "downtime_days": ""},
        {"unit": "7", "date": "2025-05-04", "hours": "31", "component": "fuel", "what": "line split",
         "cause": "wear", "found": "in_use", "done": "repaired", "minutes": "15", "parts_cost": "4",
         "downtime_days": "1"},
    ],
}  # fmt: skip


def add_messy(folder: Path) -> None:
    """Append the contractor's rows to the files in the folder."""
    for name, rows in _FILES.items():
        path = folder / f"{name}.csv"
        with path.open(newline="", encoding="utf-8") as file:
            reader = csv.DictReader(file)
            columns, old = list(reader.fieldnames or ()), list(reader)
        wanted = [*columns, *sorted({c for row in rows for c in (*row, "contractor")} - set(columns))]
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, wanted, restval="")
            writer.writeheader()
            writer.writerows(old)
            writer.writerows({"contractor": NAME, **row} for row in rows)
