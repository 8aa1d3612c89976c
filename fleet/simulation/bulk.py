"""Plain big fleets for benchmarks and fuzzing: column arrays, chunk by chunk, no story behind them.

Row counts per unit are those the product is measured at; dates, totals and codes are consistent (hours never go
backwards, one row of a kind per unit and day), so the rows can be inserted in bulk or written as import files.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import (
    AS_FOUND,
    CAUSE,
    COLUMNS,
    COMPONENTS,
    DONE_BY,
    FAILURE_DONE,
    FOUND,
    GUARD,
    LINE,
    SAFETY,
    SEEN_BY,
    SERVICE_DONE,
    TASKS,
)
from fleet.simulation.parameters import Parameters
from fleet.simulation.readings import MOST_A_WEEK, tenths_down
from fleet.simulation.rows import Row, money
from fleet.simulation.usage import FRIDAY, SeasonCalendar, season_profile

Columns = dict[str, NDArray[Any]]
METER, RUN = 0, 1
MODELS_PER_MAKER = 8


@dataclass(frozen=True)
class RowCounts:
    """Mean rows per unit over the whole history; a tenth of it suits a million units."""

    hours: int = 60
    guard: int = 30
    services: int = 15
    failures: float = 2.0

    def tenth(self) -> RowCounts:
        """A tenth of the rows, at least one of each kind."""
        return RowCounts(max(1, self.hours // 10), max(1, self.guard // 10), max(1, self.services // 10), 0.2)


@dataclass(frozen=True)
class BulkSetting:
    """How big, how long, how dealt out. ``models`` counts models of trimmer over all makers."""

    units: int
    today: dt.date
    seed: int = 1
    seasons: int = 3
    counts: RowCounts = RowCounts()
    models: int = 40
    crew_size: int = 15
    crews_per_contractor: int = 8

    @property
    def contractors(self) -> int:
        """Contractors needed to hold all units."""
        per = self.crew_size * self.crews_per_contractor
        return -(-self.units // per)


@dataclass(frozen=True)
class BulkChunk:
    """Some units and all their rows. Codes index the words of ``fleet.simulation.columns``; NaN hours: none written.

    ``units``: unit (number in the whole fleet), contractor, crew (number within its contractor), model, metered,
    hours_at_registration, bought_on, registered_on. ``hours``: unit, date, kind (0 meter reading, 1 hours run in that
    week), value. ``guard``: unit, date, guard, line, safety, seen_by. ``services``: unit, date, hours, task, as_found,
    done, done_by, minutes, parts_cost. ``failures``: unit, date, hours, component, cause, found, done, minutes,
    parts_cost, downtime_days. Rows lie unit by unit, by date within a unit. Dates are datetime64[D].
    """

    units: Columns
    hours: Columns
    guard: Columns
    services: Columns
    failures: Columns


def contractor_name(code: int) -> str:
    """Name of an invented contractor by number."""
    return f"Contractor {code + 1:05d}"


def crew_name(crew: int) -> str:
    """Name of a contractor's crew by number."""
    return f"Crew {crew + 1}"


def model_name(code: int) -> tuple[str, str]:
    """Maker and model by number."""
    return f"Maker {code // MODELS_PER_MAKER + 1:02d}", f"Model {code + 1:03d}"


def unit_tag(unit: int) -> str:
    """The painted tag of a unit by its number in the fleet: unique over all contractors."""
    return f"U-{unit + 1:07d}"


def unit_serial(unit: int) -> str:
    """Serial by number."""
    return f"SN{unit + 1:08d}"


def bulk_fleet(setting: BulkSetting, chunk: int = 5000) -> Iterator[BulkChunk]:
    """Yield the fleet in chunks of at most ``chunk`` units; the same setting and chunk give the same rows."""
    year = Parameters(setting.today, "", (), (), seasons=setting.seasons)
    calendar = SeasonCalendar.of(year)
    ways = _Days(calendar, season_profile(calendar, year.usage))
    for first in range(0, setting.units, chunk):
        units = np.arange(first, min(first + chunk, setting.units))
        rng = np.random.default_rng([setting.seed, first])
        yield _chunk(setting, ways, units, rng)


class _Days:
    """Working days of the history, the last of each week, and hours run by each day at a rate of one."""

    def __init__(self, calendar: SeasonCalendar, profile: NDArray[np.float64]) -> None:
        self.start = np.datetime64(calendar.start, "D")
        opening = calendar.openings[0]
        self.opening = opening
        self.working = np.flatnonzero(calendar.working & (np.arange(calendar.days) > opening))
        self.fridays = self.working[calendar.weekday[self.working] == FRIDAY]
        self.run = np.cumsum(np.where(calendar.working, profile, 0.0))
        before = np.maximum(self.fridays - 5, 0)
        self.week_run = self.run[self.fridays] - self.run[before]

    def dates(self, days: NDArray[np.integer]) -> NDArray[np.datetime64]:
        """Day codes as dates."""
        return self.start + days.astype("timedelta64[D]")


def _pick(rng: np.random.Generator, units: int, among: int, wanted: int) -> NDArray[np.int64]:
    """(units, min(wanted, among)) different positions below ``among``, in order."""
    wanted = min(wanted, among)
    if wanted == among:
        return np.tile(np.arange(among), (units, 1))
    draw = rng.random((units, among), dtype=np.float32)
    return np.sort(np.argpartition(draw, wanted, axis=1)[:, :wanted], axis=1).astype(np.int64)


def _chunk(setting: BulkSetting, ways: _Days, unit: NDArray[np.int64], rng: np.random.Generator) -> BulkChunk:
    count, counts = len(unit), setting.counts
    crew = unit // setting.crew_size
    rate = 0.8 * rng.lognormal(-0.06, 0.35, count)
    used = rng.random(count) < 0.7
    begin = np.where(used, np.round(rng.uniform(30, 450, count), 1), 0.0)
    metered = rng.random(count) < 0.2
    registered = ways.dates(np.full(count, ways.opening) - rng.integers(2, 14, count))
    units: Columns = {
        "unit": unit,
        "contractor": crew // setting.crews_per_contractor,
        "crew": crew % setting.crews_per_contractor,
        "model": rng.integers(0, setting.models, count),
        "metered": metered,
        "hours_at_registration": begin,
        "bought_on": registered - np.where(used, rng.integers(200, 1000, count), 0).astype("timedelta64[D]"),
        "registered_on": registered,
    }

    def rows(days: NDArray[np.int64]) -> tuple[NDArray[np.int64], Columns]:
        """Row of the chunk for each picked day, and the columns every table begins with."""
        row = np.repeat(np.arange(count), days.shape[1])
        return row, {"unit": unit[row], "date": ways.dates(days.ravel())}

    week = _pick(rng, count, len(ways.fridays), counts.hours)
    row, hours = rows(ways.fridays[week])
    total = begin[row] + rate[row] * ways.run[ways.fridays[week.ravel()]]
    run = rate[row] * ways.week_run[week.ravel()] * rng.lognormal(0, 0.3, len(row))
    hours["kind"] = np.where(metered[row], METER, RUN)
    hours["value"] = np.where(metered[row], tenths_down(total), np.clip(np.round(run * 2) / 2, 0.5, MOST_A_WEEK))

    row, guard = rows(ways.working[_pick(rng, count, len(ways.working), counts.guard)])
    guard["guard"] = rng.choice(len(GUARD), len(row), p=[0.90, 0.03, 0.04, 0.01, 0.02])
    guard["line"] = rng.choice(len(LINE), len(row), p=[0.86, 0.08, 0.05, 0.01])
    guard["safety"] = rng.choice(len(SAFETY), len(row), p=[0.988, *[0.002] * 6])
    guard["seen_by"] = (rng.random(len(row)) < 0.15).astype(np.int64)

    day = ways.working[_pick(rng, count, len(ways.working), counts.services)]
    row, services = rows(day)
    services["hours"] = _written(begin[row] + rate[row] * ways.run[day.ravel()], metered[row])
    services["task"] = rng.choice(len(TASKS), len(row), p=_TASK_SHARE)
    event = rng.random(len(row)) < 0.02
    services["as_found"] = np.where(event, _TASK_EVENT[services["task"]], AS_FOUND.index("ok"))
    services["done"] = rng.choice(len(SERVICE_DONE), len(row), p=[0.1, 0.7, 0.2])
    services["done_by"] = (rng.random(len(row)) < 0.4).astype(np.int64)
    services["minutes"] = rng.integers(3, 30, len(row))
    services["parts_cost"] = np.where(services["done"] == 2, np.round(rng.uniform(3, 30, len(row)), 2), 0.0)

    broken = np.minimum(rng.poisson(counts.failures, count), len(ways.working))
    row = np.repeat(np.arange(count), broken)
    day = ways.working[rng.integers(0, len(ways.working), len(row))]
    day = day[np.lexsort((day, row))]
    failures: Columns = {"unit": unit[row], "date": ways.dates(day)}
    failures["hours"] = _written(begin[row] + rate[row] * ways.run[day], metered[row])
    failures["component"] = rng.integers(0, len(COMPONENTS), len(row))
    failures["cause"] = rng.integers(0, len(CAUSE), len(row))
    failures["found"] = (rng.random(len(row)) < 0.1).astype(np.int64)
    failures["done"] = (rng.random(len(row)) < 0.7).astype(np.int64)
    failures["minutes"] = rng.integers(5, 90, len(row))
    failures["parts_cost"] = np.round(rng.uniform(5, 120, len(row)), 2)
    failures["downtime_days"] = rng.integers(0, 6, len(row))
    return BulkChunk(units, hours, guard, services, failures)


def _written(total: NDArray[np.float64], metered: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Hours on paper: the meter's, else none."""
    return np.where(metered, tenths_down(total), np.nan)


_TASK_SHARE = np.array([0.16, 0.16, 0.05, 0.14, 0.07, 0.08, 0.08, 0.08, 0.05, 0.08, 0.03, 0.02])
_EVENT_WORD = {"grease": "dry", "arrestor": "blocked", "air_filter": "blocked"}
_TASK_EVENT = np.array([AS_FOUND.index(_EVENT_WORD.get(task, "ok")) for task in TASKS])


def chunk_files(setting: BulkSetting, chunk: BulkChunk) -> dict[str, list[Row]]:
    """A chunk's rows as import files, with the contractors and models that they name."""
    units = chunk.units
    contractor = dict(zip(units["unit"].tolist(), units["contractor"].tolist(), strict=True))

    def who(unit: int) -> Row:
        return {"unit": unit_tag(unit), "contractor": contractor_name(contractor[unit])}

    def table(columns: Columns) -> Iterator[Row]:
        """Rows of plain values: NaN to None, dates to dates."""
        names = list(columns)
        for values in zip(*(columns[name].tolist() for name in names), strict=True):
            row = dict(zip(names, values, strict=True))
            yield {name: None if value != value else value for name, value in row.items()}

    files: dict[str, list[Row]] = {"moves": []}
    files["contractors"] = [
        {"contractor": contractor_name(code), "season_opens": "03-15", "season_closes": "11-30"}
        for code in sorted(set(contractor.values()))
    ]
    files["models"] = []
    for code in range(setting.models):
        maker, model = model_name(code)
        files["models"].append({"maker": maker, "model": model, "price": money(280 + 10 * (code % 25))})
    files["units"] = []
    for r in table(units):
        maker, model = model_name(r["model"])
        files["units"].append({
            **who(r["unit"]),
            "crew": crew_name(r["crew"]),
            "maker": maker,
            "model": model,
            "serial": unit_serial(r["unit"]),
            "bought_on": r["bought_on"],
            "registered_on": r["registered_on"],
            "hours_at_registration": r["hours_at_registration"],
            "guard": "on",
        })  # fmt: skip
    files["hours"] = [
        {**who(r["unit"]), "date": r["date"], ("meter_hours", "hours_run")[r["kind"]]: r["value"]}
        for r in table(chunk.hours)
    ]
    words: dict[str, dict[str, tuple[str, ...]]] = {
        "guard": {"guard": GUARD, "line": LINE, "safety": SAFETY, "seen_by": SEEN_BY},
        "services": {"task": TASKS, "as_found": AS_FOUND, "done": SERVICE_DONE, "done_by": DONE_BY},
        "failures": {"component": COMPONENTS, "cause": CAUSE, "found": FOUND, "done": FAILURE_DONE},
    }
    for name, worded in words.items():
        files[name] = [
            {**r, **who(r["unit"]), **{column: word[r[column]] for column, word in worded.items()}}
            for r in table(getattr(chunk, name))
        ]
    return {name: [{c: row.get(c) for c in columns} for row in files[name]] for name, columns in COLUMNS.items()}
