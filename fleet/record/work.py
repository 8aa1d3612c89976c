"""Work on units: tasks done or looked at, failures, and faults reported from the field."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Failure, GuardCheck, Service, Trimmer
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import check_total
from fleet.record.writing import By, Refused, already_recorded, append, check_date, lock_units, refresh_touched
from fleet.vocabulary import AS_FOUND, CAUSES, COMPONENTS, FAILURE_DONE, FOUND, GUARD_STATES, SERVICE_DONE, TASKS

MOST_MINUTES, MOST_COST, MOST_DAYS = Decimal("1440"), Decimal("99999"), Decimal("3650")


@dataclass(frozen=True)
class Work:
    """What was done to one unit for one task."""

    unit: Trimmer
    task: str
    on: dt.date
    as_found: str = ""
    done: str = "serviced"
    hours: Decimal | None = None
    part_hours: Decimal | None = None
    minutes: Decimal | None = None
    parts_cost: Decimal | None = None
    warranty: bool | None = None


def record_service(*, work: Work, by: By, today: dt.date) -> Service:
    """Record a task as done (or only looked at), with what was found."""
    with transaction.atomic():
        unit = lock_units([work.unit.pk])[work.unit.pk]
        entry = Service(
            contractor_id=unit.contractor_id,
            trimmer=unit,
            occurred_on=work.on,
            hours=work.hours,
            task=work.task,
            as_found=work.as_found,
            done=work.done,
            part_hours=work.part_hours,
            done_by=by.seen_as,
            minutes=work.minutes,
            parts_cost=work.parts_cost,
            warranty=work.warranty,
        )
        before = already_recorded(entry, by)
        if before is not None:
            return before
        if work.task not in TASKS or work.done not in SERVICE_DONE or (work.as_found and work.as_found not in AS_FOUND):
            raise Refused(_("Choose one of the answers offered."), "as_found", unit=unit)
        check_date(unit, work.on, today)
        check_total(unit, work.on, work.hours)
        _check_amounts(unit, minutes=work.minutes, parts_cost=work.parts_cost, part_hours=work.part_hours)
        append(entry, by, {"trimmer": unit})
        refresh_touched([entry], "service")
    return entry


@dataclass(frozen=True)
class Broken:
    """What broke on one unit. ``done`` empty: not mended yet."""

    unit: Trimmer
    component: str
    on: dt.date
    what: str = ""
    cause: str = ""
    found: str = "in_use"
    done: str = ""
    hours: Decimal | None = None
    part_hours: Decimal | None = None
    minutes: Decimal | None = None
    parts_cost: Decimal | None = None
    downtime_days: Decimal | None = None
    warranty: bool | None = None
    guard_as_found: str = ""


def record_failure(*, broken: Broken, by: By, today: dt.date) -> Failure:
    """Record a failure, mended or not."""
    with transaction.atomic():
        unit = lock_units([broken.unit.pk])[broken.unit.pk]
        entry = Failure(
            contractor_id=unit.contractor_id,
            trimmer=unit,
            occurred_on=broken.on,
            hours=broken.hours,
            component=broken.component,
            what=broken.what.strip(),
            cause=broken.cause,
            found=broken.found,
            done=broken.done,
            part_hours=broken.part_hours,
            minutes=broken.minutes,
            parts_cost=broken.parts_cost,
            downtime_days=broken.downtime_days,
            warranty=broken.warranty,
            guard_as_found=broken.guard_as_found,
        )
        before = already_recorded(entry, by)
        if before is not None:
            return before
        words = (
            (broken.component, COMPONENTS),
            (broken.cause, CAUSES),
            (broken.found, FOUND),
            (broken.done, FAILURE_DONE),
            (broken.guard_as_found, GUARD_STATES),
        )
        if not broken.component or any(value and value not in known for value, known in words):
            raise Refused(_("Choose one of the answers offered."), "component", unit=unit)
        if len(broken.what) > 200:
            raise Refused(_("Say it in 200 letters or fewer."), "what", unit=unit)
        check_date(unit, broken.on, today)
        check_total(unit, broken.on, broken.hours)
        _check_amounts(
            unit, minutes=broken.minutes, parts_cost=broken.parts_cost, part_hours=broken.part_hours,
            downtime_days=broken.downtime_days,
        )  # fmt: skip
        append(entry, by, {"trimmer": unit})
        refresh_touched([entry], "failure")
    return entry


def report_safety_fault(*, unit: Trimmer, safety: str, on: dt.date, by: By, today: dt.date) -> GuardCheck | None:
    """Record a safety finding from the field: the unit is on hold from this moment."""
    entries = record_walk(seen=[Seen(unit, safety=safety)], on=on, by=by, today=today)
    return entries[0] if entries else None


def _check_amounts(unit: Trimmer, **amounts: Decimal | None) -> None:
    most = {"minutes": MOST_MINUTES, "parts_cost": MOST_COST, "part_hours": MOST_COST, "downtime_days": MOST_DAYS}
    for name, value in amounts.items():
        if value is not None and not 0 <= value <= most[name]:
            raise Refused(_("This figure is too large or below zero. Check it."), name, unit=unit)
