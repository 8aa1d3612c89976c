"""Planning of ledger rows: whose each is, whether it is there already, and what it records."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.utils.translation import gettext as _

from fleet.models import Crew
from fleet.upkeep.companions import monday_of

from .content import content_key
from .import_parties import party_of, whose
from .import_plan import FilePlan, PlannedEntry
from .import_world import Party, Unit, World
from .rows import FailureRow, GuardRow, HoursRow, MoveRow, ServiceRow
from .words import name_key

KIND_OF_FILE = {"moves": "move", "hours": "hours", "guard": "guard", "services": "service", "failures": "failure"}

Owner = Unit | Crew


class Occurrences:
    """Tells repeated rows from entries alike, across all files of one import.

    Rows alike in every column are one entry. Rows alike in what is recorded but not in a column that is ignored are
    entries of their own, numbered in the order of the file, unless the file numbers them in a column ``entry``.
    """

    def __init__(self, world: World) -> None:
        self._world = world
        self._planned: set[tuple[str, int, int]] = set()

    def key(self, kind: str, owner: Owner, values: dict[str, Any], row: Any, in_file: dict, numbered: bool) -> int:
        """The content key of an entry to add; 0 where the row repeats one that is there or planned."""
        number = row.entry or 1
        if not numbered:
            alike = in_file.setdefault((id(owner), content_key(kind, values)), {})
            if row.ignored in alike:
                return 0
            number = alike[row.ignored] = len(alike) + 1
        key = content_key(kind, values, number)
        pk = owner.trimmer.pk if isinstance(owner, Unit) else owner.pk
        if pk is not None and (pk, key) in self._world.keys(kind):
            return 0
        if (kind, id(owner), key) in self._planned:
            return 0
        self._planned.add((kind, id(owner), key))
        return key

    def note(self, entry: PlannedEntry) -> None:
        """Count an entry planned from another file (a unit's first crew)."""
        self._planned.add((entry.kind, id(entry.unit), entry.key))


def plan_entries(world: World, plan: FilePlan, occurrences: Occurrences) -> None:
    """Plan a file of ledger rows; rows that cannot be placed are refused."""
    kind = KIND_OF_FILE[plan.table.kind.name]
    record = _RECORDS[kind]
    numbered = "entry" in plan.table.places
    in_file: dict[Any, dict[tuple[str, ...], int]] = {}
    for row in plan.table.rows:
        if kind == "hours" and not (row.unit and _has_unit_figure(row)):
            entry = _crew_week(world, plan, row)
        else:
            entry = _unit_entry(world, plan, row, kind, record)
        if entry is None:
            continue
        owner: Owner | None = entry.unit or entry.crew
        assert owner is not None
        values = {**entry.values, "crew": entry.crew.name} if kind == "move" and entry.crew else entry.values
        entry.key = occurrences.key(entry.kind, owner, values, row, in_file, numbered)
        if entry.key:
            plan.entries.append(entry)
            plan.added += 1
        else:
            plan.repeated += 1
    plan.report_once()


def _unit_entry(
    world: World, plan: FilePlan, row: Any, kind: str, record: Callable[[Any], dict[str, Any]]
) -> PlannedEntry | None:
    unit = find_unit(world, plan, row, row.date)
    if unit is None:
        return None
    crew = unit.party.crew(row.crew) if kind == "move" and row.crew else None
    return PlannedEntry(kind, row, unit.party, unit, crew, {"occurred_on": row.date, **record(row)}, 0)


def find_unit(world: World, plan: FilePlan, row: Any, day: dt.date) -> Unit | None:
    """The unit that wore the row's tag on that day; where there is none, the row is refused and nothing returned."""
    if name_key(row.unit) in world.refused_tags and not _worn_in_portal(world, row.unit):
        plan.refuse_once(
            row,
            "unit",
            _(
                "The units file has bad rows, so its units are not known yet. Mend it first. "
                "Rows here that wait for it: {count}."
            ),
        )
        return None
    parties = _parties(world, plan, row)
    if parties is None:
        return None
    wearers = [unit for party in parties for unit in party.wearers(row.unit)]
    if len({id(unit.party) for unit in wearers}) > 1:
        plan.table.refuse(row, "unit", _("Two contractors have this tag. Add a contractor column and say whose it is."))
        return None
    if not wearers:
        plan.table.refuse(row, "unit", _("No unit has this tag. Correct it, or add the unit to the units file."))
        return None
    if day > wearers[0].party.today:
        plan.table.refuse(row, "date", _("This day has not come yet. Enter the day it happened."))
        return None
    for unit in wearers:
        trimmer = unit.trimmer
        if trimmer.registered_on <= day and (trimmer.retired_on is None or day <= trimmer.retired_on):
            return unit
    plan.table.refuse(row, "date", _not_worn(wearers, day))
    return None


def _worn_in_portal(world: World, tag: str) -> bool:
    return any(unit.saved for party in world.parties.values() for unit in party.wearers(tag))


def _not_worn(wearers: list[Unit], day: dt.date) -> str:
    later = [u.trimmer for u in wearers if u.trimmer.registered_on > day]
    earlier = [u.trimmer for u in wearers if u.trimmer.registered_on <= day]
    if earlier:
        reason = _("The unit was retired on %s. Correct the date or the tag, or undo the retirement.")
        return reason % earlier[-1].retired_on
    return _("The unit was registered on %s. Correct the date or the tag.") % later[0].registered_on


def _parties(world: World, plan: FilePlan, row: Any) -> list[Party] | None:
    """The contractors a row may belong to; without a name and a default, any that the import names."""
    if not row.contractor and world.default is None and world.parties:
        ready = [party for party in world.parties.values() if not party.refused]
        if ready:
            return ready
        plan.refuse_once(row, "contractor", whose(world))
        return None
    party = party_of(world, plan, row)
    return None if party is None else [party]


def _has_unit_figure(row: HoursRow) -> bool:
    return row.meter_hours is not None or row.hours_run is not None or row.litres is not None


def _crew_week(world: World, plan: FilePlan, row: HoursRow) -> PlannedEntry | None:
    parties = _parties(world, plan, row)
    if parties is None:
        return None
    named = [party for party in parties if name_key(row.crew) in party.crews]
    if len(parties) > 1 and len(named) != 1:
        reason = (
            _("Two contractors have a crew of this name. Add a contractor column and say whose it is.")
            if named
            else _("No contractor has a crew of this name. Correct it, or add a contractor column.")
        )
        plan.table.refuse(row, "crew", reason)
        return None
    party = named[0] if named else parties[0]
    told = row.week_of or row.date
    assert told is not None
    monday = monday_of(told)
    if monday > party.today:
        plan.table.refuse(row, "week_of", _("This week has not come yet. Correct the date."))
        return None
    values = {
        # The day of a total entered on a screen, so that looking back sees both from the same day on.
        "occurred_on": monday,
        "week_of": monday,
        "crew_hours": row.crew_hours,
        "crew_litres": row.crew_litres,
        "trimmer_share": row.trimmer_share,
    }
    return PlannedEntry("crew_hours", row, party, None, party.crew(row.crew), values, 0)


def _hours(row: HoursRow) -> dict[str, Any]:
    return {
        "meter_hours": row.meter_hours,
        "hours_run": row.hours_run,
        "litres": row.litres,
        "meter_replaced": row.meter_replaced,
    }


def _move(row: MoveRow) -> dict[str, Any]:
    return {}


def _guard(row: GuardRow) -> dict[str, Any]:
    return {
        "guard": row.guard or "",
        "line": row.line or "",
        "safety": row.safety or "",
        "seen_by": row.seen_by or "crew",
    }


def _service(row: ServiceRow) -> dict[str, Any]:
    return {
        "hours": row.hours,
        "task": row.task,
        "as_found": row.as_found or "",
        "done": row.done or "serviced",
        "part_hours": row.part_hours,
        "done_by": row.done_by or "crew",
        "minutes": row.minutes,
        "parts_cost": row.parts_cost,
        "warranty": row.warranty,
    }


def _failure(row: FailureRow) -> dict[str, Any]:
    return {
        "hours": row.hours,
        "component": row.component,
        "what": row.what,
        "cause": row.cause or "",
        "found": row.found or "in_use",
        "done": row.done or "",
        "part_hours": row.part_hours,
        "minutes": row.minutes,
        "parts_cost": row.parts_cost,
        "downtime_days": row.downtime_days,
        "warranty": row.warranty,
        "guard_as_found": row.guard_as_found or "",
    }


# What blank cells mean is settled here, in one place, for every source of files.
_RECORDS: dict[str, Callable[[Any], dict[str, Any]]] = {
    "move": _move,
    "hours": _hours,
    "guard": _guard,
    "service": _service,
    "failure": _failure,
}
