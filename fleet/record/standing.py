"""What already stands for some units: their readings and own hours, as the checks in ``readings`` want them."""

from __future__ import annotations

from collections.abc import Sequence

from django.db.models import Exists, OuterRef, QuerySet

from fleet.models import Failure, HoursEntry, Service, Trimmer, Withdrawal
from fleet.record.readings import METER, REPLACED, TOTAL, OwnEntry, Reading


def standing(rows: QuerySet, kind: str) -> QuerySet:
    """Entries less those withdrawn."""
    return rows.exclude(Exists(Withdrawal.objects.filter(kind=kind, entry_id=OuterRef("pk"))))


def standing_readings(units: Sequence[Trimmer]) -> dict[int, list[Reading]]:
    """Every reading of each unit, registration first; all of them fixed."""
    found: dict[int, list[Reading]] = {
        u.pk: [Reading(u.registered_on, TOTAL, u.hours_at_registration, fixed=True, first=True)] for u in units
    }
    meters = standing(HoursEntry.objects.filter(trimmer__in=found, meter_hours__isnull=False), "hours")
    for unit, day, hours, replaced in meters.values_list("trimmer_id", "occurred_on", "meter_hours", "meter_replaced"):
        found[unit].append(Reading(day, REPLACED if replaced else METER, hours, fixed=True))
    for model, kind in ((Service, "service"), (Failure, "failure")):
        rows = standing(model.objects.filter(trimmer__in=found, hours__isnull=False), kind)
        for unit, day, hours in rows.values_list("trimmer_id", "occurred_on", "hours"):
            found[unit].append(Reading(day, TOTAL, hours, fixed=True))
    return found


def standing_own_entries(units: Sequence[Trimmer]) -> dict[int, list[OwnEntry]]:
    """Every own hours entry of each unit, fixed."""
    found: dict[int, list[OwnEntry]] = {u.pk: [] for u in units}
    rows = standing(HoursEntry.objects.filter(trimmer__in=found), "hours")
    for unit, day, run in rows.values_list("trimmer_id", "occurred_on", "hours_run"):
        found[unit].append(OwnEntry(day, run, fixed=True))
    return found
