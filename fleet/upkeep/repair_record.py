"""Every repair of a contractor's units by engine hours, and what each unit is like: the ground of *Keep or replace*."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor
from fleet.upkeep.catalog import ModelSheet
from fleet.upkeep.days import NO_DAY, date_of, day_of, month_day_in
from fleet.upkeep.exposure import Batch, batches, of_units
from fleet.upkeep.histories import FAILURE_DONE_CODE, SEEN_CODE, Columns
from fleet.upkeep.refresh import unit_ids_of
from fleet.upkeep.season import Season
from fleet.upkeep.spending import Rates, was_mended, with_money
from fleet.upkeep.warranty import covered_until, sheets_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class UnitFacts:
    """One unit in use.

    ``age`` counts the seasons it has worked, the running one from its middle on; ``hours_ahead`` is its usual season.
    """

    unit: int
    model: int
    crew: int
    hours: float
    watched_from: float
    hours_ahead: float
    age: int
    repairs: int
    waiting: int
    bought: str | None


@dataclass(frozen=True)
class RepairRecord:
    """Windows (one a unit, retired ones too) and repairs in engine hours, with what repairs and services took.

    ``given_up``: failures after which the unit was scrapped; what their repair would have cost is seldom written.
    """

    unit: Ints
    model: Ints
    entry: Floats
    end: Floats
    event_unit: Ints
    event_hour: Floats
    event_model: Ints
    event_day: Ints
    event_bill: Floats
    service_day: Ints
    service_bill: Floats
    parts: Floats
    labor_hours: Floats
    days_down: Floats
    given_up: NDArray[np.bool_]
    covered: NDArray[np.bool_]
    paid: NDArray[np.bool_]
    component: Ints
    service_parts: float
    service_labor_hours: float
    facts: list[UnitFacts] = field(default_factory=list)
    sheets: dict[int, ModelSheet] = field(default_factory=dict)


def repair_record(contractor: Contractor, *, as_of: dt.date) -> RepairRecord:
    """Read it from the ledger, as it stood on a day."""
    today = day_of(as_of)
    rates = Rates.of(contractor)
    season = Season(contractor.season_opens, contractor.season_closes, contractor.working_days)
    windows: list[Columns] = []
    events: list[Columns] = []
    served: list[Columns] = []
    facts: list[UnitFacts] = []
    service_parts = service_labor = 0.0
    for batch in batches(unit_ids_of([contractor.pk]), contractor.pk, as_of):
        h = batch.h
        failures = of_units(h.failures, batch, 0, today)
        services, failures = with_money(of_units(h.services, batch, 0, today), failures, h.units["id"][h.core], rates)
        own_bill = services["warranty"] != 1
        service_parts += float(np.nan_to_num(services["parts"])[own_bill].sum())
        by_shop = own_bill & (services["done_by"] == SEEN_CODE["shop"])
        service_labor += float(np.nan_to_num(services["minutes"])[by_shop].sum()) / 60
        served.append({"day": services["day"], "bill": services["bill"]})
        window = _window(batch, failures, today)
        windows.append(window)
        events.append(_events(batch, failures, window))
        facts.extend(_facts(batch, failures, window, season, as_of))
    whole, repairs = _joined(windows, _WINDOW), _joined(events, _EVENT)
    jobs = _joined(served, ("day", "bill"))
    sheets = sheets_of(contractor, np.unique(whole["model"]))
    until = covered_until(sheets, repairs["model"], repairs["bought"], repairs["component"].astype(np.int16))
    return RepairRecord(
        unit=whole["unit"],
        model=whole["model"],
        entry=whole["entry"].astype(float),
        end=whole["end"].astype(float),
        event_unit=repairs["unit"],
        event_hour=repairs["hour"].astype(float),
        event_model=repairs["model"],
        event_day=repairs["day"],
        event_bill=repairs["bill"].astype(float),
        service_day=jobs["day"],
        service_bill=jobs["bill"].astype(float),
        parts=np.nan_to_num(repairs["parts"].astype(float)),
        labor_hours=np.nan_to_num(repairs["minutes"].astype(float)) / 60,
        days_down=repairs["days_down"].astype(float),
        given_up=repairs["done"] == FAILURE_DONE_CODE["scrapped"],
        covered=repairs["day"] <= until,
        paid=repairs["warranty"] == 1,
        component=repairs["component"].astype(np.int64),
        service_parts=service_parts,
        service_labor_hours=service_labor,
        facts=facts,
        sheets=sheets,
    )


_WINDOW = ("unit", "row", "model", "entry", "end")
_EVENT = ("unit", "hour", "model", "bought", "day", "component", "done", "parts", "minutes", "days_down",
          "warranty", "bill")  # fmt: skip


def _joined(parts: list[Columns], names: tuple[str, ...]) -> Columns:
    if not parts:
        return {name: np.zeros(0, dtype=np.int64) for name in names}
    return {name: np.concatenate([part[name] for part in parts]) for name in names}


def _window(batch: Batch, failures: Columns, today: int) -> Columns:
    """From registration to the day: what entries say, and the usual week from there on."""
    h, lines = batch.h, batch.lines
    row = lines.unit
    last = np.minimum(h.units["retired"][row], today)
    worth = batch.usage.season.worth(lines.first_day, max(today - lines.first_day + 1, 1))
    so_far = np.concatenate([[0.0], np.cumsum(worth)])
    known = np.clip(lines.known_until - lines.first_day + 1, 0, len(worth))
    ahead = np.maximum(so_far[np.clip(last - lines.first_day + 1, 0, len(worth))] - so_far[known], 0.0)
    end = lines.hours + lines.day_rate * ahead
    latest = np.zeros(h.n_units)
    np.maximum.at(latest, failures["unit"], batch.hours_on(failures["unit"], failures["day"]))
    entry = h.units["hours_at_registration"][row]
    return {
        "unit": h.units["id"][row],
        "row": row,
        "model": h.units["model"][row],
        "entry": entry,
        "end": np.maximum(np.maximum(end, latest[row]), entry + 1e-3),
    }


def _events(batch: Batch, failures: Columns, window: Columns) -> Columns:
    h = batch.h
    unit = failures["unit"]
    place = np.searchsorted(window["row"], unit)
    hour = batch.hours_on(unit, failures["day"])
    hour = np.clip(hour, window["entry"][place] + 5e-4, window["end"][place])
    return {
        **failures,
        "unit": h.units["id"][unit],
        "model": h.units["model"][unit],
        "bought": h.units["bought"][unit],
        "hour": hour,
    }


def _facts(batch: Batch, failures: Columns, window: Columns, season: Season, as_of: dt.date) -> Iterator[UnitFacts]:
    h, lines = batch.h, batch.lines
    count = np.bincount(failures["unit"], minlength=h.n_units)
    waiting = np.bincount(failures["unit"][~was_mended(failures)], minlength=h.n_units)
    opening = season.next_opening(as_of)
    days = (season.next_close(opening) - opening).days + 1
    ahead = lines.day_rate * float(batch.usage.season.worth(day_of(opening), days).sum())
    middles = np.array(_middles(season, date_of(int(h.units["registered"].min())).year - 30, as_of), dtype=np.int64)
    for i, row in enumerate(window["row"].tolist()):
        if h.units["retired"][row] != NO_DAY:
            continue
        bought = int(h.units["bought"][row])
        since = bought if bought != NO_DAY else int(h.units["registered"][row])
        yield UnitFacts(
            unit=int(window["unit"][i]),
            model=int(window["model"][i]),
            crew=int(lines.crew[i]),
            hours=float(window["end"][i]),
            watched_from=float(window["entry"][i]),
            hours_ahead=float(ahead[i]),
            age=int(len(middles) - np.searchsorted(middles, since)),
            repairs=int(count[row]),
            waiting=int(waiting[row]),
            bought=None if bought == NO_DAY else date_of(bought).isoformat(),
        )


def _middles(season: Season, first_year: int, as_of: dt.date) -> list[int]:
    """Middle days of the seasons up to a day: what is decided after them is about the next season."""
    days = []
    for year in range(first_year, as_of.year + 1):
        opens = month_day_in(year, season.opens)
        middle = opens + (season.next_close(opens) - opens) / 2
        if middle <= as_of:
            days.append(day_of(middle))
    return days
