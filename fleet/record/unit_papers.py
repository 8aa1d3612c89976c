"""A recall notice done on a unit and taken back, and what was missing of a unit's paper filled in."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.models import NoticeDone, RecallNotice, Trimmer, UnitFactsFilled, User
from fleet.models.tenancy import all_tenants
from fleet.record.cells import EARLIEST
from fleet.record.writing import By, Refused, check_date, lock_units, old_form
from fleet.upkeep.refresh import refresh_units

Fact = str | dt.date | Decimal
# Facts that may be filled in where nothing stands; what stands is not changed here.
FILLED = ("serial", "bought_on", "price")


def record_notice_done(
    *, unit: Trimmer, notice: RecallNotice, on: dt.date, note: str, by: By, today: dt.date
) -> NoticeDone:
    """The unit was done as the notice says; from then on the notice does not stop it."""
    note = " ".join(note.split())
    if not note:
        raise Refused(_("Say who did it and what was done, as on the dealer's slip."), "note", unit=unit)
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        before = _pressed(by)
        if before is not None:
            same = (before.trimmer_id, before.notice_id, before.occurred_on, before.note, before.taken_back_at)
            if same != (unit.pk, notice.pk, on, note[:200], None):
                raise Refused(old_form(), unit=unit)
            return before
        check_date(unit, on, today)
        if on < notice.issued_on:
            raise Refused(_("This lies before the notice was issued. Check the date."), "occurred_on", unit=unit)
        if NoticeDone.objects.filter(trimmer=unit, notice=notice, taken_back_at__isnull=True).exists():
            raise Refused(_("This notice is on record as done on %(unit)s.") % {"unit": unit.tag}, unit=unit)
        return NoticeDone.objects.create(
            contractor_id=unit.contractor_id,
            trimmer=unit,
            notice=notice,
            occurred_on=on,
            note=note[:200],
            author=by.author,
            client_entry_id=by.client_entry_id,
        )


def _pressed(by: By) -> NoticeDone | None:
    """The row this press of the button recorded before, if it did. An id stands once in the whole portal."""
    if by.client_entry_id is None:
        return None
    with all_tenants():
        return NoticeDone.objects.filter(client_entry_id=by.client_entry_id).first()


def take_back_notice_done(*, done: NoticeDone, by: User) -> bool:
    """It was not so: the notice stops the unit again. Returns whether this changed anything."""
    rows = NoticeDone.objects.filter(pk=done.pk, taken_back_at__isnull=True)
    return bool(rows.update(taken_back_at=timezone.now(), taken_back_by=by))


def fill_in(*, unit: Trimmer, facts: Mapping[str, Fact], by: User, today: dt.date) -> UnitFactsFilled | None:
    """Keep facts that were missing; None where nothing was said. What stands on record is refused."""
    said = {name: value.strip() if isinstance(value, str) else value for name, value in facts.items()}
    said = {name: value for name, value in said.items() if value not in (None, "")}
    if unknown := set(said) - set(FILLED):
        raise KeyError(sorted(unknown))
    if not said:
        return None
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        for name in said:
            if getattr(unit, name) not in (None, ""):
                raise Refused(_("This was filled in meanwhile. Load the page again."), name, unit=unit)
        bought = said.get("bought_on")
        if isinstance(bought, dt.date):
            if bought < EARLIEST:
                raise Refused(_("This date lies before %s. Check the year.") % EARLIEST.isoformat(), "bought_on")
            if bought > unit.registered_on:
                raise Refused(_("It cannot have been bought after it was registered."), "bought_on")
        Trimmer.objects.filter(pk=unit.pk).update(**said, ledger_version=F("ledger_version") + 1)
        # Months of a unit bought new count from the day it was bought.
        refresh_units([unit.pk], "paper")
        after = {name: value if isinstance(value, str) else str(value) for name, value in said.items()}
        return UnitFactsFilled.objects.create(contractor_id=unit.contractor_id, trimmer=unit, after=after, author=by)
