"""Which units an entry touches: its own, and those that share a crew's total of the same week with it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db.models import Q

from fleet.models import Assignment, CrewHours, Entry, HoursEntry, Retirement, UnitEntry


def monday_of(date: dt.date) -> dt.date:
    """The Monday of the date's week."""
    return date - dt.timedelta(days=date.weekday())


def touched_units(entries: Iterable[Entry]) -> list[int]:
    """Ids of the units whose hours these entries may change, in order.

    A crew's total is shared over the units without an entry of their own in that week, so an entry of one unit moves
    the shares of its crew in that week; a meter's reading also in the week of the next one; a move or a retirement in
    every week from then on.
    """
    units: set[int] = set()
    crew_ids: set[int] = set()
    one_week: set[tuple[int, dt.date]] = set()
    from_then: set[tuple[int, dt.date]] = set()
    for entry in entries:
        if isinstance(entry, CrewHours):
            crew_ids.add(entry.crew_id)
        elif isinstance(entry, UnitEntry):
            units.add(entry.trimmer_id)
            monday = monday_of(entry.occurred_on)
            if isinstance(entry, HoursEntry) and entry.meter_hours is None:
                one_week.add((entry.trimmer_id, monday))
            elif isinstance(entry, HoursEntry | Assignment | Retirement):
                from_then.add((entry.trimmer_id, monday))
    crews_of = _crews_of({unit for unit, _week in one_week | from_then})
    wanted = Q(pk__in=())
    for unit, monday in one_week:
        wanted |= Q(crew__in=crews_of.get(unit, ()), week_of=monday)
    for unit, monday in from_then:
        wanted |= Q(crew__in=crews_of.get(unit, ()), week_of__gte=monday)
    if crews_of:
        crew_ids |= set(CrewHours.objects.filter(wanted).values_list("crew_id", flat=True).distinct())
    if crew_ids:
        units |= set(Assignment.objects.filter(crew__in=crew_ids).values_list("trimmer_id", flat=True))
    return sorted(units)


def _crews_of(unit_ids: set[int]) -> dict[int, set[int]]:
    crews: dict[int, set[int]] = {}
    rows = Assignment.objects.filter(trimmer__in=unit_ids, crew__isnull=False).values_list("trimmer_id", "crew_id")
    for unit, crew in rows:
        crews.setdefault(unit, set()).add(crew)
    return crews
