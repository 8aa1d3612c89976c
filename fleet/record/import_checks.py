"""Hours of an import against each other and against the ledger: what cannot be is refused, never bent."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from decimal import Decimal

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from .import_plan import FilePlan, PlannedEntry
from .import_world import LedgerOfUnits, Party, Unit, World
from .readings import HOURS_A_DAY, METER, REPLACED, TOTAL, Clash, OwnEntry, Reading, clashes, told_too_many

# A new row with the file it is in.
Ref = tuple[FilePlan, PlannedEntry]


def refuse_contradictions(world: World, plans: list[FilePlan]) -> None:
    """Refuse rows whose hours contradict others.

    First over all files, so that every bad row is found; then, where that keeps a file out, again over those that are
    left: what lands must agree with what lands, not with what waits.
    """
    ledger = world.ledger()
    landing = list(plans)
    while True:
        refused = _refuse(ledger, landing) + _refuse_crew_weeks(world, landing)
        remaining = [plan for plan in landing if plan.lands]
        if not refused and len(remaining) == len(landing):
            return
        landing = remaining


def _refuse(ledger: LedgerOfUnits, plans: Iterable[FilePlan]) -> int:
    readings: dict[Unit, list[Reading]] = {}
    own: dict[Unit, list[OwnEntry]] = {}
    for plan in plans:
        for entry in plan.entries:
            unit, values = entry.unit, entry.values
            if unit is None:
                continue
            day = values["occurred_on"]
            if entry.kind == "hours":
                own.setdefault(unit, []).append(OwnEntry(day, values["hours_run"], ref=(plan, entry)))
                if values["meter_hours"] is not None:
                    kind = REPLACED if values["meter_replaced"] else METER
                    readings.setdefault(unit, []).append(Reading(day, kind, values["meter_hours"], ref=(plan, entry)))
            elif entry.kind in ("service", "failure") and values["hours"] is not None:
                readings.setdefault(unit, []).append(Reading(day, TOTAL, values["hours"], ref=(plan, entry)))
    refused = 0
    for unit, new in readings.items():
        trimmer = unit.trimmer
        start = Reading(trimmer.registered_on, TOTAL, Decimal(trimmer.hours_at_registration), True, None, True)
        for clash in clashes([start, *ledger.readings.get(trimmer.pk or 0, ()), *new]):
            plan, entry = clash.reading.ref
            column = "meter_hours" if entry.kind == "hours" else "hours"
            plan.table.refuse(entry.row, column, _clash_reason(clash))
            refused += 1
    for unit, entries in own.items():
        standing = ledger.own_entries.get(unit.trimmer.pk or 0, [])
        for told, days in told_too_many([*standing, *entries], unit.trimmer.registered_on):
            plan, entry = told.ref
            column = next((c for c in ("hours_run", "meter_hours", "litres") if entry.values[c] is not None), "date")
            plan.table.refuse(entry.row, column, _told_reason(told, days))
            refused += 1
    return refused


def _clash_reason(clash: Clash) -> str:
    neighbor = clash.neighbor
    said = {"hours": f"{neighbor.hours.normalize():f}", "day": neighbor.day.isoformat()}
    if clash.rise:
        return _("With %(hours)s h on %(day)s this is more than 24 hours a day. Check the hours and the date.") % said
    if neighbor.day > clash.reading.day:
        reason = _("The unit reads %(hours)s h on %(day)s, later but less. Check the hours and the date.")
    elif clash.reading.kind == METER:
        reason = _(
            "The unit read %(hours)s h on %(day)s, so this goes backwards. If the meter was replaced, write yes in "
            "meter_replaced; else check the hours and the date."
        )
    else:
        reason = _("The unit read %(hours)s h on %(day)s, so this goes backwards. Check the hours and the date.")
    return reason % said


def _told_reason(told: OwnEntry, days: int) -> str:
    if told.run is None:
        return _("With this entry the next one tells more than 24 hours a day. Check the date.")
    return (
        ngettext(
            "More than 24 hours in the %d day since the unit's last entry. Enter engine hours, or the meter's reading.",
            "More than 24 hours a day for the %d days since the unit's last entry, a week at most. Enter engine "
            "hours, or the meter's reading.",
            days,
        )
        % days
    )


def _refuse_crew_weeks(world: World, plans: Iterable[FilePlan]) -> int:
    """Refuse crew totals that its units cannot have run in the week's hours."""
    weeks = [(plan, entry) for plan in plans for entry in plan.entries if entry.kind == "crew_hours"]
    weeks = [(plan, entry) for plan, entry in weeks if (entry.values["crew_hours"] or 0) > 7 * HOURS_A_DAY]
    if not weeks:
        return 0
    stays: dict[int, list[tuple[dt.date, dt.date]]] = {}
    for party in {id(entry.party): entry.party for _plan, entry in weeks}.values():
        _collect_stays(world, party, plans, stays)
    refused = 0
    for plan, entry in weeks:
        first = entry.values["week_of"]
        last = first + dt.timedelta(days=6)
        units = sum(begin <= last and end >= first for begin, end in stays.get(id(entry.crew), ()))
        if entry.values["crew_hours"] > 7 * HOURS_A_DAY * max(1, units):
            reason = ngettext(
                "More than 24 hours a day for the crew's %d unit. Enter the trimmers' engine hours.",
                "More than 24 hours a day for each of the crew's %d units. Enter the trimmers' engine hours.",
                max(1, units),
            )
            plan.table.refuse(entry.row, "crew_hours", reason % max(1, units))
            refused += 1
    return refused


def _collect_stays(
    world: World, party: Party, plans: Iterable[FilePlan], stays: dict[int, list[tuple[dt.date, dt.date]]]
) -> None:
    """From when until when each crew had units, standing moves and planned ones together."""
    crew_of_pk = {crew.pk: crew for crew in party.crews.values() if crew.pk}
    moves: dict[Unit, list[tuple[dt.date, int | None]]] = {}
    for wearers in party.units.values():
        for unit in wearers:
            for day, _pk, crew_pk in world.assignments().get(unit.trimmer.pk or 0, ()):
                moves.setdefault(unit, []).append((day, id(crew_of_pk[crew_pk]) if crew_pk else None))
    for plan in plans:
        for entry in plan.entries:
            if entry.kind == "move" and entry.unit is not None and entry.party is party:
                crew = id(entry.crew) if entry.crew is not None else None
                moves.setdefault(entry.unit, []).append((entry.values["occurred_on"], crew))
    for unit, sequence in moves.items():
        sequence.sort(key=lambda move: move[0])
        ends = [day for day, _crew in sequence[1:]] + [unit.trimmer.retired_on or dt.date.max]
        for (day, crew), end in zip(sequence, ends, strict=True):
            if crew is not None:
                stays.setdefault(crew, []).append((day, end))
