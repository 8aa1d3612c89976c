"""Cost of misuse worked out once more, slowly, in plain Python from the exported files: dictionaries and loops only.

Shares no code with the portal's own way. It wants a fleet whose units are read by meter: every Friday, and the move of
a unit on a Monday, so that the hours between two readings belong to one crew.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
from collections import defaultdict
from itertools import pairwise
from typing import Any

FAR = dt.date(2100, 1, 1)
HURT = {"gearbox", "drive_shaft", "clutch", "exhaust"}


class ByHand:
    """Inputs of the estimate and sums by crew."""

    def __init__(self, files: dict[str, bytes], first: dt.date, last: dt.date) -> None:
        self.rows = {
            name.removesuffix(".csv"): list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"))))
            for name, data in files.items()
        }
        self.first, self.last = first, last
        settings = self.rows["contractors"][0]
        self.rate = float(settings["labour_rate"])
        self.day = 0.0 if settings["spare_on_trailer"] == "yes" else float(settings["downtime_per_day"])
        self.units = [row["unit"] for row in self.rows["units"]]
        self.start = {row["unit"]: dt.date.fromisoformat(row["registered_on"]) for row in self.rows["units"]}
        self.at_start = {row["unit"]: row["guard"] for row in self.rows["units"]}
        self.moves: dict[str, list[tuple[dt.date, str]]] = defaultdict(list)
        for row in self.rows["units"]:
            self.moves[row["unit"]].append((self.start[row["unit"]], row["crew"]))
        for row in self.rows["moves"]:
            self.moves[row["unit"]].append((dt.date.fromisoformat(row["date"]), row["crew"]))
        self.meter: dict[str, list[tuple[dt.date, float]]] = defaultdict(list)
        for row in self.rows["units"]:
            begin = self.start[row["unit"]] - dt.timedelta(days=1)
            self.meter[row["unit"]].append((begin, float(row["hours_at_registration"] or 0)))
        for row in self.rows["hours"]:
            self.meter[row["unit"]].append((dt.date.fromisoformat(row["date"]), float(row["meter_hours"])))
        for readings in self.meter.values():
            readings.sort()

    def crew_on(self, unit: str, day: dt.date) -> str:
        """Crew of the date."""
        crew = ""
        for since, name in sorted(self.moves[unit], key=lambda pair: pair[0]):
            if since <= day:
                crew = name
        return crew

    def hours_by(self, unit: str, day: dt.date) -> float:
        """The reading of that very day, or the last one before: nobody works at the weekend."""
        return max(hours for when, hours in self.meter[unit] if when <= day)

    def dated(self, name: str) -> list[dict[str, Any]]:
        """Rows within the days, their dates read."""
        found = []
        for row in self.rows[name]:
            day = dt.date.fromisoformat(row["date"])
            if self.first <= day <= self.last:
                found.append({**row, "day": day})
        return sorted(found, key=lambda row: (row["unit"], row["day"]))

    def crew_hours(self) -> dict[str, float]:
        total: dict[str, float] = defaultdict(float)
        for unit, readings in self.meter.items():
            for (_before, low), (day, high) in pairwise(readings):
                if self.first <= day <= self.last:
                    total[self.crew_on(unit, day)] += high - low
        return total

    def bill(self, row: dict[str, Any]) -> float:
        if row["warranty"] == "yes":
            return 0.0
        return float(row["parts_cost"] or 0) + float(row["minutes"] or 0) / 60 * self.rate

    def down(self, row: dict[str, Any]) -> float:
        return float(row["downtime_days"] or 0) * self.day

    def spent(self) -> dict[str, float]:
        total: dict[str, float] = defaultdict(float)
        for row in self.dated("failures"):
            total[self.crew_on(row["unit"], row["day"])] += self.bill(row) + self.down(row)
        return total

    def failures(self) -> dict[str, int]:
        total: dict[str, int] = defaultdict(int)
        for row in self.dated("failures"):
            total[self.crew_on(row["unit"], row["day"])] += 1
        return total

    def cost_each(self) -> float:
        costs = [self.bill(row) + self.down(row) for row in self.dated("failures") if row["component"] in HURT]
        return sum(costs) / len(costs)

    def looks(self) -> list[tuple[str, float, float | None, float | None]]:
        """(unit, hours, found, left): 1 off, 0 on, None not known; one a unit and day."""
        days: dict[tuple[str, dt.date], list[Any]] = defaultdict(lambda: [None, "nothing"])
        for unit, day in self.start.items():
            if self.first <= day <= self.last:
                days[unit, day][1] = 1.0 if self.at_start[unit] in ("off", "damaged") else 0.0
        for row in self.dated("guard"):
            if row["seen_by"] == "crew" and row["guard"]:
                days[row["unit"], row["day"]] = [
                    1.0 if row["guard"] in ("off", "damaged", "refitted") else 0.0,
                    1.0 if row["guard"] in ("off", "damaged") else 0.0,
                ]
        for row in self.dated("services"):
            if row["done_by"] == "shop":
                days[row["unit"], row["day"]][1] = None
        for row in self.dated("failures"):
            if row["done"]:
                days[row["unit"], row["day"]][1] = None
        for row in self.dated("guard"):
            if row["seen_by"] == "shop" and row["guard"]:
                days[row["unit"], row["day"]][1] = 1.0 if row["guard"] in ("off", "damaged") else 0.0
        return [(unit, self.hours_by(unit, day), found, left) for (unit, day), (found, left) in sorted(days.items())]

    def spans(self) -> list[tuple[str, str, float, float]]:
        """(unit, crew, from, to) in engine hours."""
        found = []
        for unit in self.units:
            stays = sorted(self.moves[unit], key=lambda pair: pair[0])
            for number, (since, crew) in enumerate(stays):
                until = stays[number + 1][0] if number + 1 < len(stays) else FAR
                begin = max(since, self.first) - dt.timedelta(days=1)
                end = min(until - dt.timedelta(days=1), self.last)
                if begin < end:
                    found.append((unit, crew, self.hours_by(unit, begin), self.hours_by(unit, end)))
        return found

    def hurt(self) -> list[tuple[str, float, float | None]]:
        """(unit, hours, state) of the failures that count; state 1 off, 0 on, None not noted."""
        states = {"off": 1.0, "damaged": 1.0, "refitted": 1.0, "on": 0.0, "no_cutter": 0.0}
        return [
            (row["unit"], self.hours_by(row["unit"], row["day"]), states.get(row["guard_as_found"]))
            for row in self.dated("failures")
            if row["component"] in HURT
        ]
