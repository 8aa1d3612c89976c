"""The exported files of a fleet as plain Python: what the slow recomputation starts from.

Nothing in this folder imports the code that it checks. It follows the written contract of the files and of the
figures; where a figure is an estimate whose method is a choice, it follows the method as it is described beside it,
day by day and unit by unit, without arrays.
"""

from __future__ import annotations

import csv
import datetime as dt
from dataclasses import dataclass, field
from pathlib import Path

Row = dict[str, str]
TASKS = (
    *("grease", "arrestor", "port", "air_filter", "fuel_filter", "plug"),
    *("mounts", "stop_switch", "clutch", "head", "lay_up", "review"),
)
# Hours and months of common practice, where no manual's figure is entered.
PRACTICE: dict[str, tuple[float | None, int | None]] = {
    "grease": (50, 12), "arrestor": (50, 12), "port": (150, None), "air_filter": (10, None), "fuel_filter": (100, 12),
    "plug": (100, 12), "mounts": (50, 12), "stop_switch": (50, 12), "clutch": (150, 12), "head": (25, None),
    "lay_up": (None, 12), "review": (None, 12),
}  # fmt: skip
PRACTICE_BURN = 0.65


def number(text: str) -> float | None:
    return float(text) if text else None


def day(text: str) -> dt.date:
    return dt.date.fromisoformat(text)


def monday(date: dt.date) -> dt.date:
    return date - dt.timedelta(days=date.weekday())


@dataclass(frozen=True)
class Limit:
    """How often a task falls due on a model, and whether the maker says so."""

    hours: float | None
    months: int | None
    hours_given: bool
    months_given: bool

    @property
    def source(self) -> str:
        lead = self.hours_given if self.hours is not None else self.months_given
        return "maker" if lead else "practice"


@dataclass
class Unit:
    """One unit with everything its files say, each list in the order of day and file."""

    contractor: str
    tag: str
    model: str
    registered: dt.date
    start: float
    bought: dt.date | None
    retired: dt.date | None
    guard: str
    price: float | None = None
    burn: float = PRACTICE_BURN
    moves: list[tuple[dt.date, str]] = field(default_factory=list)
    hours: list[Row] = field(default_factory=list)
    guards: list[Row] = field(default_factory=list)
    services: list[Row] = field(default_factory=list)
    failures: list[Row] = field(default_factory=list)

    def crew_on(self, date: dt.date) -> str | None:
        """The crew it rode with; None before its first, an empty name for nobody."""
        crew = None
        for start, name in self.moves:
            if start <= date:
                crew = name
        return crew

    @property
    def crew_now(self) -> str:
        return self.moves[-1][1] if self.moves else ""


@dataclass
class Party:
    """A contractor: season and settings, its units, and its crews' totals by week."""

    name: str
    opens: str
    closes: str
    working_days: frozenset[int]
    settings: Row
    units: list[Unit] = field(default_factory=list)
    totals: list[Row] = field(default_factory=list)
    limits: dict[str, dict[str, Limit]] = field(default_factory=dict)


_WEEK = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def _working_days(text: str) -> frozenset[int]:
    days: set[int] = set()
    for part in text.lower().replace(";", ",").split(","):
        ends = [_WEEK.index(name.strip()[:3]) for name in part.split("-")]
        days |= set(range(ends[0], ends[-1] + 1))
    return frozenset(days)


def _limit(row: Row, task: str) -> Limit:
    said_hours, said_months = row.get(f"{task}_hours", ""), row.get(f"{task}_months", "")
    practice_hours, practice_months = PRACTICE[task]
    return Limit(
        practice_hours if not said_hours else None if said_hours == "none" else float(said_hours),
        practice_months if not said_months else None if said_months == "none" else int(said_months),
        bool(said_hours),
        bool(said_months),
    )


def read(folder: Path, until: dt.date) -> dict[str, Party]:
    """Every contractor by name, with the entries dated by ``until``."""

    def rows(name: str) -> list[Row]:
        path = folder / f"{name}.csv"
        if not path.exists():
            return []
        with path.open(newline="", encoding="utf-8-sig") as file:
            return list(csv.DictReader(file))

    parties = {
        r["contractor"]: Party(
            r["contractor"], r["season_opens"], r["season_closes"], _working_days(r["working_days"]), r
        )
        for r in rows("contractors")
    }
    only = next(iter(parties)) if len(parties) == 1 else ""
    burns: dict[tuple[str, str], float] = {}
    for r in rows("models"):
        owner, model = r.get("contractor") or only, f"{r['maker']} {r['model']}"
        parties[owner].limits[model] = {task: _limit(r, task) for task in TASKS}
        burns[owner, model] = number(r.get("burn_litres_per_hour", "")) or PRACTICE_BURN
    by_tag: dict[tuple[str, str], list[Unit]] = {}
    for r in rows("units"):
        if day(r["registered_on"]) > until:
            continue
        model = f"{r['maker']} {r['model']}"
        retired = day(r["retired_on"]) if r["retired_on"] and day(r["retired_on"]) <= until else None
        unit = Unit(
            r["contractor"], r["unit"], model, day(r["registered_on"]), float(r["hours_at_registration"] or 0),
            day(r["bought_on"]) if r["bought_on"] else None, retired, r["guard"] or "on", number(r["price"]),
            burns.get((r["contractor"], model), PRACTICE_BURN),
        )  # fmt: skip
        if r["crew"]:
            unit.moves.append((unit.registered, r["crew"]))
        parties[unit.contractor].units.append(unit)
        by_tag.setdefault((unit.contractor, unit.tag), []).append(unit)

    def wearer(r: Row) -> Unit:
        """The unit that wore the tag on the row's day."""
        date = day(r["date"])
        worn = by_tag[r.get("contractor") or only, r["unit"]]
        return [u for u in worn if u.registered <= date and (u.retired is None or date <= u.retired)][-1]

    for r in rows("moves"):
        if day(r["date"]) <= until:
            wearer(r).moves.append((day(r["date"]), r["crew"]))
    for name, attribute in (
        ("hours", "hours"),
        ("guard", "guards"),
        ("services", "services"),
        ("failures", "failures"),
    ):
        for r in rows(name):
            if name == "hours" and r.get("crew"):
                if day(r["week_of"]) <= until:
                    parties[r.get("contractor") or only].totals.append(r)
            elif day(r["date"]) <= until:
                getattr(wearer(r), attribute).append(r)
    for party in parties.values():
        for unit in party.units:
            unit.moves.sort(key=lambda m: m[0])
            for entries in (unit.hours, unit.guards, unit.services, unit.failures):
                entries.sort(key=lambda r: day(r["date"]))
    return parties
