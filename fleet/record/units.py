"""Units come, move between crews, and go."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.db import transaction
from django.db.models import Max
from django.utils.translation import gettext as _

from fleet.models import (
    Assignment,
    Contractor,
    Crew,
    Failure,
    GuardCheck,
    HoursEntry,
    Retirement,
    Service,
    Trimmer,
    TrimmerModel,
)
from fleet.record.cells import EARLIEST
from fleet.record.standing import standing
from fleet.record.words import name_key
from fleet.record.writing import By, Refused, already_recorded, append, check_date, lock_units, refresh_touched
from fleet.vocabulary import GUARD_STATES


def register_unit(
    *,
    contractor: Contractor,
    tag: str,
    model: TrimmerModel,
    registered_on: dt.date,
    by: By,
    today: dt.date,
    crew: Crew | None = None,
    serial: str = "",
    bought_on: dt.date | None = None,
    price: Decimal | None = None,
    hours_at_registration: Decimal = Decimal(0),
    guard: str = "on",
) -> Trimmer:
    """Register a unit under a tag no unit in use wears."""
    tag = " ".join(tag.split())
    if not tag or len(tag) > 40 or not name_key(tag):
        raise Refused(_("Enter the tag painted on the unit, 40 letters at most."), "tag")
    if registered_on < EARLIEST or (bought_on is not None and bought_on < EARLIEST):
        # Answers are worked out day by day from registration on: one absurd year would weigh on everybody's.
        field = "registered_on" if registered_on < EARLIEST else "bought_on"
        raise Refused(_("This date lies before %s. Check the year.") % EARLIEST.isoformat(), field)
    if registered_on > today:
        raise Refused(_("This date is still to come. Enter the day it was registered."), "registered_on")
    if bought_on is not None and bought_on > registered_on:
        raise Refused(_("It cannot have been bought after it was registered."), "bought_on")
    if not 0 <= hours_at_registration <= 99_999:
        raise Refused(_("Check the engine hours: they must lie between 0 and 99,999."), "hours_at_registration")
    if guard not in GUARD_STATES:
        raise Refused(_("Choose one of the answers offered."), "guard")
    with transaction.atomic():
        # The contractor's row is the lock that keeps two units from taking one tag.
        Contractor.objects.select_for_update().get(pk=contractor.pk)
        same = Trimmer.objects.filter(contractor=contractor, tag_key=name_key(tag))
        if same.filter(retired_on__isnull=True).exists():
            raise Refused(_("Another unit in use wears this tag. Retire that one first, or choose another tag."), "tag")
        if same.filter(retired_on__gt=registered_on).exists():
            raise Refused(
                _("Another unit wore this tag on that day. Register from the day it was free."), "registered_on"
            )
        unit = Trimmer.objects.create(
            contractor=contractor,
            tag=tag,
            tag_key=name_key(tag),
            model=model,
            serial=serial.strip(),
            bought_on=bought_on,
            price=price,
            registered_on=registered_on,
            hours_at_registration=hours_at_registration,
            guard_at_registration=guard,
        )
        entry = Assignment(contractor=contractor, trimmer=unit, occurred_on=registered_on, crew=crew)
        append(entry, by, {"trimmer": unit})
        refresh_touched([entry], "move")
    return unit


def move_unit(*, unit: Trimmer, crew: Crew | None, on: dt.date, by: By, today: dt.date) -> Assignment:
    """The unit rides with this crew (or nobody) from the day on."""
    if crew is not None and crew.contractor_id != unit.contractor_id:
        raise Refused(_("This crew belongs to another contractor. Choose one of your own crews."), "crew", unit=unit)
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        entry = Assignment(contractor_id=unit.contractor_id, trimmer=unit, occurred_on=on, crew=crew)
        before = already_recorded(entry, by)
        if before is not None:
            return before
        check_date(unit, on, today)
        append(entry, by, {"trimmer": unit})
        refresh_touched([entry], "move")
    return entry


def retire_unit(*, unit: Trimmer, on: dt.date, why: str, by: By, today: dt.date) -> Retirement:
    """The unit leaves service on this day; its history stays and its tag is free."""
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        entry = Retirement(contractor_id=unit.contractor_id, trimmer=unit, occurred_on=on, why=why.strip()[:120])
        before = already_recorded(entry, by)
        if before is not None:
            return before
        if unit.retired_on is not None:
            raise Refused(_("%(unit)s is already retired.") % {"unit": unit.tag}, "occurred_on", unit=unit)
        check_date(unit, on, today)
        latest = last_entry_day(unit)
        if latest is not None and latest > on:
            raise Refused(
                _("%(unit)s has an entry on %(date)s. Retire it from then on, or withdraw that entry first.")
                % {"unit": unit.tag, "date": latest.isoformat()},
                "occurred_on",
                unit=unit,
            )
        append(entry, by, {"trimmer": unit})
        Trimmer.objects.filter(pk=unit.pk).update(retired_on=on)
        refresh_touched([entry], "retirement")
    return entry


def last_entry_day(unit: Trimmer) -> dt.date | None:
    """Day of the unit's latest standing entry of any kind but a move."""
    kinds = ((HoursEntry, "hours"), (GuardCheck, "guard"), (Service, "service"), (Failure, "failure"))
    days = (
        standing(model.objects.filter(trimmer=unit), kind).aggregate(last=Max("occurred_on"))["last"]
        for model, kind in kinds
    )
    return max((d for d in days if d is not None), default=None)
