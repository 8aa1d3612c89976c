"""A finished history worded as rows of the import files."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
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
    RETIRED_WHY,
    SAFETY,
    SEEN_BY,
    SERVICE_DONE,
    TASKS,
)
from fleet.simulation.history import FUEL_PARTS, REPAIRED, SHOP, History
from fleet.simulation.parameters import Interval, Parameters
from fleet.simulation.prices import REPAIRS, TASK_WORK
from fleet.simulation.readings import Readings, draw_readings, paper_hours, week_of
from fleet.simulation.roster import NEVER, Roster, serial
from fleet.simulation.services import REPLACED
from fleet.simulation.usage import Floats, Ints

Row = dict[str, Any]
NOT_COVERED = ("overload", "stale_fuel", "dropped", "no_oil", "water")


def money(amount: float) -> Decimal:
    """Two decimals."""
    return Decimal(f"{amount:.2f}")


def contractor_rows(parameters: Parameters) -> list[Row]:
    """contractors.csv"""
    opens, closes = (f"{month:02d}-{day:02d}" for month, day in (parameters.season_opens, parameters.season_closes))
    return [
        {
            "contractor": c.name,
            "shop": parameters.shop,
            "time_zone": c.time_zone,
            "season_opens": opens,
            "season_closes": closes,
            "working_days": "Mon-Fri",
            "labour_rate": c.labour_rate,
            "downtime_per_day": c.downtime_per_day,
            "spare_on_trailer": "yes" if c.spare_on_trailer else "no",
            "risk_limit": c.risk_limit,
            "confidence_gate": c.confidence_gate,
            "discount_rate": c.discount_rate,
            "order_by": c.order_by,
        }
        for c in parameters.contractors
    ]


def model_rows(parameters: Parameters) -> list[Row]:
    """models.csv"""
    rows = []
    for model in parameters.models:
        row: Row = {
            "maker": model.maker,
            "model": model.name,
            "displacement_cc": model.displacement_cc,
            "price": model.price,
            "resale_share_per_season": model.resale_share_per_season,
            "warranty_months": model.warranty_months,
            "burn_litres_per_hour": model.burn_litres_per_hour,
            "vibration_ms2": model.vibration_ms2,
        }
        for task in TASKS:
            interval = model.intervals.get(task, Interval())
            row[f"{task}_hours"], row[f"{task}_months"] = interval.hours, interval.months
        rows.append(row)
    return rows


class FileWriter:
    """Words one history. ``units`` are the codes of the units that ever were, in the order of units.csv."""

    def __init__(self, history: History, rng: np.random.Generator) -> None:
        self._history, self._rng = history, rng
        self._parameters, self._calendar, self._roster = history.parameters, history.calendar, history.roster
        self.units, self.tags = tag_units(self._parameters, self._roster)
        self._tag = dict(zip(self.units.tolist(), self.tags, strict=True))
        self._contractor = [self._parameters.contractors[c].name for c in self._roster.contractor]
        self._dates = [self._calendar.date(day) for day in range(self._calendar.days)]
        self._bought = [self._calendar.date(int(day)) for day in self._roster.bought]
        self._total: Floats = history.hours.cumsum(axis=0, dtype=float) + self._roster.start_hours

    def files(self) -> dict[str, list[Row]]:
        """Every file's rows; unit rows in order of tag, the rest in order of date."""
        readings = draw_readings(
            self._parameters, self._calendar, self._roster, self._history.hours, self._total, self._rng
        )
        services, failures = self._work(readings)
        files = {
            "contractors": contractor_rows(self._parameters),
            "models": model_rows(self._parameters),
            "units": self._unit_rows(),
            "moves": self._move_rows(),
            "hours": self._hours_rows(readings),
            "guard": self._guard_rows(),
            "services": services,
            "failures": failures,
        }
        for name, columns in COLUMNS.items():
            files[name] = [{column: row.get(column) for column in columns} for row in files[name]]
        return files

    def _unit_rows(self) -> list[Row]:
        parameters, roster = self._parameters, self._roster
        number = 10000 + self._rng.permutation(50000)[: len(self.units)]
        paid = self._rng.uniform(0.93, 1.0, len(self.units))
        rows = []
        for place, unit in enumerate(self.units.tolist()):
            model, day, gone = parameters.models[roster.model[unit]], roster.registered[unit], roster.retired[unit]
            rows.append({
                "unit": self._tag[unit],
                "contractor": self._contractor[unit],
                "crew": parameters.crews[roster.crew_of[day, unit]].name,
                "maker": model.maker,
                "model": model.name,
                "serial": serial(parameters, int(roster.model[unit]), self._bought[unit], int(number[place])),
                "bought_on": self._bought[unit],
                "price": money(round(float(model.price) * paid[place])),
                "registered_on": self._dates[day],
                "hours_at_registration": float(roster.start_hours[unit]),
                "guard": GUARD[int(self._history.guard_off[day, unit])],
                "retired_on": None if gone == NEVER else self._dates[gone],
                "retired_why": None if gone == NEVER else RETIRED_WHY[roster.retired_why[unit]],
            })  # fmt: skip
        return rows

    def _move_rows(self) -> list[Row]:
        roster = self._roster
        day, unit = np.nonzero(np.diff(roster.crew_of, axis=0))
        day += 1
        gone = np.where(roster.retired[unit] == NEVER, len(self._dates), roster.retired[unit])
        real = (roster.registered[unit] != NEVER) & (day > roster.registered[unit]) & (day < gone)
        return [
            {**self._who(u), "date": self._dates[d], "crew": self._parameters.crews[roster.crew_of[d, u]].name}
            for d, u in zip(day[real].tolist(), unit[real].tolist(), strict=True)
        ]

    def _who(self, unit: int) -> Row:
        return {"unit": self._tag[unit], "contractor": self._contractor[unit]}

    def _hours_rows(self, readings: Readings) -> list[Row]:
        owner = [self._parameters.contractors[c].name for c in self._parameters.contractor_of_crew]
        rows: list[Row] = []
        for reading in readings.rows:
            if reading.crew == NEVER:
                row = {**self._who(reading.unit), "date": self._dates[reading.day]}
                changed = reading.kind == "meter_replaced"
                row["meter_hours" if changed else reading.kind] = reading.value
                row["meter_replaced"] = "yes" if changed else None
            else:
                row = {
                    "contractor": owner[reading.crew],
                    "crew": self._parameters.crews[reading.crew].name,
                    "week_of": week_of(self._calendar, reading.day),
                    reading.kind: reading.value,
                    "trimmer_share": reading.share,
                }
            rows.append(row)
        return rows

    def _guard_rows(self) -> list[Row]:
        log = self._history.log.guard.arrays()
        rows = [
            {
                **self._who(unit),
                "date": self._dates[day],
                "guard": GUARD[guard],
                "line": LINE[line],
                "safety": SAFETY[safety],
                "seen_by": SEEN_BY[by],
            }
            for day, unit, guard, line, safety, by in zip(*(log[f].tolist() for f in log), strict=True)
        ]
        return rows

    def _work(self, readings: Readings) -> tuple[list[Row], list[Row]]:
        """services.csv and failures.csv; one unit's rows of one day carry the same hours, or none."""
        services, failures = self._history.log.services.arrays(), self._history.log.failures.arrays()
        unit = np.concatenate([services["unit"], failures["unit"]])
        day = np.concatenate([services["day"], failures["day"]])
        at_shop = np.concatenate([services["by"] == SHOP, failures["guard"] != NEVER])
        hours = paper_hours(self._parameters, self._roster, self._total, readings, unit, day, at_shop, self._rng)
        split = len(services["unit"])
        return self._service_rows(services, hours[:split]), self._failure_rows(failures, hours[split:])

    def _service_rows(self, log: dict[str, NDArray], hours: Floats) -> list[Row]:
        task, by_crew = log["task"], log["by"] != SHOP
        minutes = _spread(self._rng, [TASK_WORK[t][0] for t in TASKS], task)
        minutes = np.round(minutes * (1.0 + 0.3 * by_crew))
        cost = np.array([TASK_WORK[t][1] for t in TASKS])[task] * self._rng.uniform(0.85, 1.2, len(task))
        uses_parts = (log["done"] == REPLACED) | (task == TASKS.index("grease"))
        cost *= uses_parts & log["priced"].astype(bool)
        return [
            {
                **self._who(unit),
                "date": self._dates[day],
                "hours": None if np.isnan(at) else at,
                "task": TASKS[t],
                "as_found": AS_FOUND[found],
                "done": SERVICE_DONE[done],
                "done_by": DONE_BY[by],
                "minutes": int(m),
                "parts_cost": money(c),
                "warranty": "no",
            }
            for day, unit, t, found, done, by, at, m, c in zip(
                *(log[f].tolist() for f in ("day", "unit", "task", "as_found", "done", "by")),
                hours.tolist(), minutes.tolist(), cost.tolist(), strict=True,
            )
        ]  # fmt: skip

    def _failure_rows(self, log: dict[str, NDArray], hours: Floats) -> list[Row]:
        rng, component = self._rng, log["component"]
        jobs = [REPAIRS[c] for c in COMPONENTS]
        minutes = np.round(_spread(rng, [job.minutes for job in jobs], component))
        parts = _spread(rng, [job.parts for job in jobs], component)
        # A scrapped unit gets no parts, a repaired one few.
        parts *= np.select([log["done"] == REPAIRED, log["done"] == REPLACED], [0.35, 1.0], 0.0)
        draws, claims = rng.random((len(component), 2)), rng.random(len(component))
        covered_for = np.array([m.warranty_months for m in self._parameters.models])[self._roster.model[log["unit"]]]
        rows = []
        for i, (day, unit) in enumerate(zip(log["day"].tolist(), log["unit"].tolist(), strict=True)):
            job, at_look = jobs[component[i]], bool(log["at_look"][i])
            cause = self._cause(log, i, float(draws[i, 0]))
            months = (day - int(self._roster.bought[unit])) / 30.44
            in_yard = log["guard"][i] == NEVER
            claimed = months <= covered_for[i] and cause not in NOT_COVERED and not in_yard and claims[i] < 0.6
            rows.append({
                **self._who(unit),
                "date": self._dates[day],
                "hours": None if np.isnan(hours[i]) else float(hours[i]),
                "component": COMPONENTS[component[i]],
                "what": job.whats[int(draws[i, 1] * len(job.whats))],
                "cause": cause,
                "found": FOUND[at_look],
                "done": FAILURE_DONE[log["done"][i]],
                "part_hours": float(log["part_hours"][i]) or None,
                "minutes": int(minutes[i]),
                "parts_cost": money(0.0 if claimed else float(parts[i])),
                "downtime_days": int(log["downtime"][i]),
                "warranty": "yes" if claimed else "no",
                "guard_as_found": None if in_yard else GUARD[log["guard"][i]],
            })  # fmt: skip
        return rows

    def _cause(self, log: dict[str, NDArray], row: int, draw: float) -> str:
        """What the technician writes: more often than not the true reason, where there was one."""
        component = int(log["component"][row])
        if log["stale"][row] and component in FUEL_PARTS and draw < 0.8:
            return "stale_fuel"
        if log["off"][row] and self._parameters.guard_off_ratio.get(COMPONENTS[component], 1.0) > 1 and draw < 0.6:
            return "overload"
        causes = REPAIRS[COMPONENTS[component]].causes
        at = np.cumsum([weight for _, weight in causes])
        word = causes[min(int(np.searchsorted(at, draw)), len(causes) - 1)][0]
        return CAUSE[CAUSE.index(word)]


def _spread(rng: np.random.Generator, bounds: Sequence[tuple[float, float, float]], kind: Ints) -> Floats:
    """One draw a row between the low and high of its kind, most often near the typical."""
    low, typical, high = np.array(bounds).T
    if not len(kind):
        return np.zeros(0)
    return rng.triangular(low[kind], typical[kind], high[kind])


def tag_units(parameters: Parameters, roster: Roster) -> tuple[Ints, tuple[str, ...]]:
    """Number each contractor's units as they were registered; returns unit codes and tags in that order.

    Where a contractor hands tags on, its first replaced unit's tag goes to the unit that took its place.
    """
    order, tags = [], []
    for code, contractor in enumerate(parameters.contractors):
        mine = np.flatnonzero((roster.registered != NEVER) & (roster.contractor == code))
        mine = mine[np.lexsort((mine, roster.crew[mine], roster.registered[mine]))]
        heir = NEVER
        if contractor.name in parameters.staged.tags_reused:
            heirs = mine[mine >= roster.places]
            heir = int(heirs[0]) if heirs.size else NEVER
        tag: dict[int, str] = {}
        for unit in mine.tolist():
            if unit == heir:
                tag[unit] = tag[heir - roster.places]
            else:
                tag[unit] = f"{contractor.tag_prefix}-{len(set(tag.values())) + 1:02d}"
        order += mine.tolist()
        tags += [tag[unit] for unit in mine.tolist()]
    return np.array(order, dtype=np.int64), tuple(tags)
