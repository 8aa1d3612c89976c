"""The typed rows that the files of the contract become.

``source`` is the row's line in its file, ``ignored`` its cells in columns nobody reads (they still tell two rows apart)
and ``entry`` the number that tells apart two entries alike in everything recorded; blank is the first.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from .cells import NotApplicable
from .sheets import Line


@dataclass(frozen=True, slots=True)
class Row:
    """What rows of every file carry."""

    source: Line
    ignored: tuple[str, ...]
    contractor: str


@dataclass(frozen=True, slots=True)
class ContractorRow(Row):
    """One contractor and whatever of its settings the file fills; ``None`` leaves a setting as it is."""

    shop: str
    settings: Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class ModelRow(Row):
    """One model's terms and intervals; ``None`` is blank, :data:`cells.NONE` the word *none*."""

    maker: str
    model: str
    terms: Mapping[str, Any]
    warranty_by_group: Mapping[str, int]
    intervals: Mapping[tuple[str, str], Decimal | int | NotApplicable]
    sources: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class UnitRow(Row):
    unit: str
    crew: str
    maker: str
    model: str
    serial: str
    bought_on: dt.date | None
    price: Decimal | None
    registered_on: dt.date | None
    hours_at_registration: Decimal | None
    guard: str | None
    retired_on: dt.date | None
    retired_why: str


@dataclass(frozen=True, slots=True)
class MoveRow(Row):
    """``crew`` is empty where the unit went to nobody, which the file says with the word *none*."""

    unit: str
    date: dt.date
    crew: str
    entry: int | None


@dataclass(frozen=True, slots=True)
class HoursRow(Row):
    """Either a unit's own entry (``unit``, ``date``) or a crew's week (``crew``, ``week_of``)."""

    unit: str
    date: dt.date | None
    meter_hours: Decimal | None
    hours_run: Decimal | None
    litres: Decimal | None
    meter_replaced: bool
    crew: str
    week_of: dt.date | None
    crew_hours: Decimal | None
    crew_litres: Decimal | None
    trimmer_share: Decimal | None
    entry: int | None


@dataclass(frozen=True, slots=True)
class GuardRow(Row):
    unit: str
    date: dt.date
    guard: str | None
    line: str | None
    safety: str | None
    seen_by: str | None
    entry: int | None


@dataclass(frozen=True, slots=True)
class ServiceRow(Row):
    unit: str
    date: dt.date
    hours: Decimal | None
    task: str
    as_found: str | None
    done: str | None
    part_hours: Decimal | None
    done_by: str | None
    minutes: Decimal | None
    parts_cost: Decimal | None
    warranty: bool | None
    entry: int | None


@dataclass(frozen=True, slots=True)
class FailureRow(Row):
    unit: str
    date: dt.date
    hours: Decimal | None
    component: str
    what: str
    cause: str | None
    found: str | None
    done: str | None
    part_hours: Decimal | None
    minutes: Decimal | None
    parts_cost: Decimal | None
    downtime_days: Decimal | None
    warranty: bool | None
    guard_as_found: str | None
    entry: int | None
