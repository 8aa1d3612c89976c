"""What the manager sets of the bench: who works when, closed days, the share held for walk-ins, charges."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from fleet.models import Shop
from fleet.record.writing import Refused
from shop.models import Bench, ClosedDays, Technician

WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
MOST_MINUTES_A_DAY = 16 * 60
MOST_TECHNICIANS = 40
MOST_CLOSED = 200
LONGEST_CLOSED_DAYS = 366
SETTINGS = (
    "walk_in_share", "bring_by", "offer_days", "unclaimed_days", "diagnosis_charge", "phone", "address",
)  # fmt: skip


def change_bench(*, shop: Shop, values: Mapping[str, Any]) -> Bench:
    """Set the bench's figures; only those named."""
    share = values.get("walk_in_share")
    if share is not None and not 0 <= share <= Decimal("0.9"):
        raise Refused(_("Hold between 0 and 90 percent."), "walk_in_share")
    with transaction.atomic():
        bench, _new = Bench.objects.select_for_update().get_or_create(shop=shop)
        for name in SETTINGS:
            if name in values:
                setattr(bench, name, values[name])
        bench.save()
    return bench


def save_technician(
    *, shop: Shop, name: str, minutes: Mapping[str, int], until: dt.date | None = None,
    technician: Technician | None = None,
) -> Technician:  # fmt: skip
    """Add somebody to the bench, or change their week. ``until`` is their last day, once it is known."""
    name = name.strip()
    if not name:
        raise Refused(_("Write the technician's name."), "name")
    for day in WEEK:
        if not 0 <= minutes.get(day, 0) <= MOST_MINUTES_A_DAY:
            raise Refused(_("A day has at most 960 minutes at the bench."), day)
    row = technician or Technician(shop=shop)
    if technician is None and Technician.objects.filter(shop=shop).count() >= MOST_TECHNICIANS:
        raise Refused(_("There are 40 technicians already."), "name")
    row.name, row.until = name, until
    for day in WEEK:
        setattr(row, day, minutes.get(day, 0))
    try:
        with transaction.atomic():
            row.save()
    except IntegrityError:
        raise Refused(_("There is a technician of this name. Change that one, or add a letter."), "name") from None
    return row


def add_closed_days(
    *, shop: Shop, first: dt.date, last: dt.date, why: str = "", technician: Technician | None = None,
    every_year: bool = False,
) -> ClosedDays:  # fmt: skip
    """Close the bench, or one technician's place at it, for some days. Visits already booked there stay."""
    if last < first:
        raise Refused(_("The last day comes before the first."), "last")
    if (last - first).days >= LONGEST_CLOSED_DAYS:
        raise Refused(_("Close at most a year at once."), "last")
    if ClosedDays.objects.filter(shop=shop).count() >= MOST_CLOSED:
        raise Refused(_("There are 200 entries already. Open some of them again."), "first")
    if technician is not None and technician.shop_id != shop.pk:
        raise Refused(_("Choose one of the answers offered."), "technician")
    return ClosedDays.objects.create(
        shop=shop, first=first, last=last, why=why.strip()[:80], technician=technician, every_year=every_year
    )


def open_again(*, closed: ClosedDays) -> None:
    """Take a closed day back."""
    closed.delete()
