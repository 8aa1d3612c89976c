"""Shops, contractors, the arrangements between them, and a contractor's settings."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Arrangement, Contractor, Shop
from fleet.models.tenancy import all_tenants
from fleet.record.words import name_key
from fleet.record.writing import Refused
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of

SETTINGS = (
    "time_zone",
    "season_opens",
    "season_closes",
    "working_days",
    "order_by",
    "labour_rate",
    "downtime_per_day",
    "spare_on_trailer",
    "risk_limit",
    "confidence_gate",
    "stagger",
    "discount_rate",
    "resale",
)
# Settings that the stored due dates rest on at once; the rest is used when read.
SEASON = frozenset({"season_opens", "season_closes", "working_days", "time_zone", "stagger"})
# What learned intervals are worked out for: at other figures the manuals stand until the next learning.
FIGURES = frozenset({"labour_rate", "downtime_per_day", "spare_on_trailer", "risk_limit", "confidence_gate"})


def _free_name(model: Any, name: str, message: str) -> str:
    name = " ".join(name.split())
    if any(name_key(other) == name_key(name) for other in model.objects.values_list("name", flat=True)):
        raise Refused(message, "name")
    return name


def add_shop(*, name: str, time_zone: str) -> Shop:
    """A new shop."""
    with transaction.atomic():
        name = _free_name(Shop, name, _("There is a shop of this name already."))
        return Shop.objects.create(name=name, time_zone=time_zone)


def add_contractor(*, name: str, time_zone: str, shop: Shop | None, on: dt.date) -> Contractor:
    """A new contractor under the defaults, looked after by the shop from the day on where one is given."""
    with transaction.atomic():
        name = _free_name(Contractor, name, _("There is a contractor of this name already."))
        contractor = Contractor.objects.create(name=name, time_zone=time_zone)
        if shop is not None:
            Arrangement.objects.create(shop=shop, contractor=contractor, from_date=on)
    return contractor


def change_settings(*, contractor: Contractor, values: Mapping[str, Any]) -> set[str]:
    """Change settings; returns the names of those that did change."""
    unknown = set(values) - set(SETTINGS)
    if unknown:
        raise KeyError(sorted(unknown))
    with transaction.atomic():
        row = Contractor.objects.select_for_update().get(pk=contractor.pk)
        changed = {name for name, value in values.items() if getattr(row, name) != value}
        for name in changed:
            setattr(row, name, values[name])
            setattr(contractor, name, values[name])
        if changed:
            row.save(update_fields=sorted(changed))
    return changed


def refresh_season(*, contractor_id: int) -> None:
    """Bring every unit's answers up to a changed season or working week, or changed figures behind its intervals."""
    with all_tenants():
        refresh_in_shards(unit_ids_of([contractor_id]), "settings")


def add_arrangement(*, shop: Shop, contractor: Contractor, from_date: dt.date) -> Arrangement:
    """The shop looks after the contractor's units from the day on; while one runs, no second one is needed."""
    with transaction.atomic():
        Contractor.objects.select_for_update().get(pk=contractor.pk)
        same = Arrangement.objects.filter(shop=shop, contractor=contractor)
        if same.filter(until__isnull=True).exists() or same.filter(until__gte=from_date).exists():
            raise Refused(_("This shop looks after this contractor already. End that arrangement first."), "from_date")
        return Arrangement.objects.create(shop=shop, contractor=contractor, from_date=from_date)


def end_arrangement(*, arrangement: Arrangement, until: dt.date) -> None:
    """The last day on which the shop sees the contractor's units."""
    if until < arrangement.from_date:
        raise Refused(_("It cannot end before it began."), "until")
    Arrangement.objects.filter(pk=arrangement.pk, until__isnull=True).update(until=until)
