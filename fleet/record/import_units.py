"""Planning of units: new ones to register, blanks of registered ones to fill, tags that are taken already."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any

from django.utils.translation import gettext as _

from fleet.models import Crew, Trimmer, TrimmerModel

from .content import content_key
from .import_parties import party_of
from .import_plan import FilePlan, PlannedEntry, UnitChange
from .import_world import Party, Unit, World
from .rows import UnitRow
from .tables import Table
from .words import name_key

# Latest standing entry of a unit, asked for only where a unit in the portal is to be retired.
LastDates = Mapping[int, dt.date]


def first_dates(tables: Iterable[Table[Any]]) -> dict[str, dt.date]:
    """The earliest date at which any other file speaks of a tag: a unit without dates is registered then."""
    first: dict[str, dt.date] = {}
    for table in tables:
        if table.kind.name in ("contractors", "models", "units"):
            continue
        for row in table.rows:
            if row.unit and row.date is not None:
                key = name_key(row.unit)
                if key not in first or row.date < first[key]:
                    first[key] = row.date
    return first


def plan_units(world: World, plan: FilePlan, first: Mapping[str, dt.date], last_dates: LastDates) -> None:
    """Plan a units file; where it has bad rows, its new units are taken out again and their tags noted as refused."""
    lines: dict[int, UnitRow] = {}
    new: list[Unit] = []
    for row in plan.table.rows:
        party = party_of(world, plan, row)
        if party is None:
            continue
        unit = _plan_unit(world, plan, party, row, first, lines, last_dates)
        if unit is not None:
            new.append(unit)
    plan.report_once()
    if plan.lands:
        return
    for unit in new:
        unit.party.units[unit.trimmer.tag_key].remove(unit)
    for change in plan.changes:
        if isinstance(change, UnitChange) and "retired_on" in change.fields:
            change.unit.trimmer.retired_on = None
    world.refused_tags |= {name_key(row.unit) for row in plan.table.rows}
    world.refused_tags |= {name_key(tag) for tag in plan.table.refused_cells("unit")}


def _plan_unit(
    world: World,
    plan: FilePlan,
    party: Party,
    row: UnitRow,
    first: Mapping[str, dt.date],
    lines: dict[int, UnitRow],
    last_dates: LastDates,
) -> Unit | None:
    """Plan one row; returns the unit where it is new."""
    model = _model_of(world, plan, row)
    registered = _registered_on(party, row, first)
    if model is None or _refused_dates(plan, party, row, registered):
        return None
    known = _same_unit(party, row, registered)
    if known is not None:
        earlier = lines.setdefault(id(known), row)
        if earlier is not row and not known.saved:
            _repeated_in_file(plan, row, earlier)
        else:
            _fill_known(world, plan, known, row, model, last_dates)
        return None
    if registered is None:
        plan.table.refuse(row, "registered_on", _("Give the day the unit was registered or bought."))
        return None
    taken = _overlapping(party, row, registered)
    if taken is not None:
        plan.table.refuse(
            row,
            "unit",
            _(
                "This tag is worn by another unit of %(contractor)s, registered on %(day)s. Retire that one first, or "
                "paint another tag."
            )
            % {"contractor": party.contractor.name, "day": taken.trimmer.registered_on},
        )
        return None
    trimmer = Trimmer(
        contractor=party.contractor,
        tag=row.unit,
        tag_key=name_key(row.unit),
        model=model,
        serial=row.serial,
        bought_on=row.bought_on,
        price=row.price,
        registered_on=registered,
        hours_at_registration=row.hours_at_registration or 0,
        guard_at_registration=row.guard or "on",
        retired_on=row.retired_on,
    )
    unit = party.add_unit(trimmer)
    lines[id(unit)] = row
    plan.changes.append(UnitChange(unit, {}))
    plan.added += 1
    if row.crew:
        _plan_crew(world, plan, unit, row, party.crew(row.crew))
    if row.retired_on:
        _plan_retirement(world, plan, unit, row)
    return unit


def _model_of(world: World, plan: FilePlan, row: UnitRow) -> TrimmerModel | None:
    if row.maker:
        return world.model(row.maker, row.model)
    named = world.models_named(row.model)
    if len(named) == 1:
        return named[0]
    reason = (
        _("More than one maker has a model of this name. Fill in the maker.")
        if named
        else _("This model is not known yet. Fill in its maker.")
    )
    plan.table.refuse(row, "maker", reason)
    return None


def _registered_on(party: Party, row: UnitRow, first: Mapping[str, dt.date]) -> dt.date | None:
    """The day given, else the day it was bought, else that of its unit in the portal, else its first entry's."""
    if row.registered_on or row.bought_on:
        return row.registered_on or row.bought_on
    in_use = [u for u in party.wearers(row.unit) if u.saved and u.trimmer.retired_on is None]
    return in_use[0].trimmer.registered_on if in_use else first.get(name_key(row.unit))


def _refused_dates(plan: FilePlan, party: Party, row: UnitRow, registered: dt.date | None) -> bool:
    for column in ("bought_on", "registered_on", "retired_on"):
        day = getattr(row, column)
        if day is not None and day > party.today:
            plan.table.refuse(row, column, _("This day has not come yet. Correct the date."))
            return True
    if registered and row.retired_on and row.retired_on < registered:
        plan.table.refuse(row, "retired_on", _("The unit would be retired before it was registered. Check both dates."))
        return True
    return False


def _same_unit(party: Party, row: UnitRow, registered: dt.date | None) -> Unit | None:
    """The unit of this tag that the row speaks of: the one registered the same day, or the one with its serial."""
    wearers = party.wearers(row.unit)
    for unit in wearers:
        if unit.trimmer.registered_on == registered:
            return unit
    if row.registered_on is None:
        for unit in wearers:
            if unit.saved and (not row.serial or name_key(row.serial) == name_key(unit.trimmer.serial)):
                return unit
    return None


def _overlapping(party: Party, row: UnitRow, registered: dt.date) -> Unit | None:
    for unit in party.wearers(row.unit):
        other = unit.trimmer
        ends_before = row.retired_on is not None and row.retired_on <= other.registered_on
        begins_after = other.retired_on is not None and other.retired_on <= registered
        if not (ends_before or begins_after):
            return unit
    return None


def _repeated_in_file(plan: FilePlan, row: UnitRow, earlier: UnitRow) -> None:
    def told(r: UnitRow) -> tuple[Any, ...]:
        return (
            name_key(r.crew),
            name_key(r.maker),
            name_key(r.model),
            r.serial,
            r.bought_on,
            r.price,
            r.registered_on,
            r.hours_at_registration,
            r.guard,
            r.retired_on,
            r.retired_why,
        )

    if told(row) == told(earlier):
        plan.repeated += 1
    else:
        plan.table.refuse(
            row, "unit", _("This unit stands on line %d with other values. Keep one row.") % earlier.source.number
        )


def _fill_known(
    world: World, plan: FilePlan, unit: Unit, row: UnitRow, model: TrimmerModel, last_dates: LastDates
) -> None:
    """A row about a unit that is in the portal: nothing new, blanks to fill, a retirement; else a contradiction."""
    trimmer = unit.trimmer
    for column, told, stands in (
        ("model", model.key, trimmer.model.key),
        ("hours_at_registration", row.hours_at_registration, trimmer.hours_at_registration),
        ("guard", row.guard, trimmer.guard_at_registration),
        ("serial", row.serial and name_key(row.serial), trimmer.serial and name_key(trimmer.serial)),
        ("bought_on", row.bought_on, trimmer.bought_on),
        ("price", row.price, trimmer.price),
    ):
        if told not in (None, "") and stands not in (None, "") and told != stands:
            shown = trimmer.model if column == "model" else stands
            plan.table.refuse(
                row, column, _("The portal has %s for this unit. Correct the file, or the unit on its page.") % shown
            )
            return
    fields = {
        name: getattr(row, name)
        for name in ("serial", "bought_on", "price")
        if getattr(row, name) not in (None, "") and getattr(trimmer, name) in (None, "")
    }
    added = bool(fields)
    if fields:
        plan.changes.append(UnitChange(unit, fields))
    if row.crew:
        moved = _fill_crew(world, plan, unit, row)
        if moved is None:
            return
        added = added or moved
    if row.retired_on:
        retired = _fill_retirement(world, plan, unit, row, last_dates)
        if retired is None:
            return
        added = added or retired
    if added:
        plan.added += 1
    else:
        plan.repeated += 1


def _fill_crew(world: World, plan: FilePlan, unit: Unit, row: UnitRow) -> bool | None:
    """Whether a first crew is to be recorded; nothing where the row contradicts the one that stands."""
    crew = unit.party.crew(row.crew)
    registered = unit.trimmer.registered_on
    values = {"occurred_on": registered, "crew": crew.name}
    if (unit.trimmer.pk, content_key("move", values)) in world.keys("move"):
        return False
    first = next((c for day, _pk, c in world.assignments().get(unit.trimmer.pk, []) if day == registered), None)
    if first is not None:
        name = next((c.name for c in unit.party.crews.values() if c.pk == first), "")
        plan.table.refuse(
            row,
            "crew",
            _("The unit was registered with crew %s. Write later changes of crew into the moves file.") % name,
        )
        return None
    _plan_crew(world, plan, unit, row, crew)
    return True


def _fill_retirement(world: World, plan: FilePlan, unit: Unit, row: UnitRow, last_dates: LastDates) -> bool | None:
    trimmer = unit.trimmer
    values = {"occurred_on": row.retired_on, "why": row.retired_why}
    if (trimmer.pk, content_key("retirement", values)) in world.keys("retirement"):
        return False
    if trimmer.retired_on is not None:
        if trimmer.retired_on == row.retired_on and not row.retired_why:
            return False
        plan.table.refuse(
            row,
            "retired_on",
            _("The unit was retired on %s. Correct the file, or withdraw that entry.") % trimmer.retired_on,
        )
        return None
    last = last_dates.get(trimmer.pk)
    if last is not None and row.retired_on is not None and last > row.retired_on:
        plan.table.refuse(
            row, "retired_on", _("The unit has entries up to %s. Correct the date, or withdraw the later ones.") % last
        )
        return None
    _plan_retirement(world, plan, unit, row)
    trimmer.retired_on = row.retired_on
    plan.changes.append(UnitChange(unit, {"retired_on": row.retired_on}))
    return True


def _plan_crew(world: World, plan: FilePlan, unit: Unit, row: UnitRow, crew: Crew) -> None:
    values = {"occurred_on": unit.trimmer.registered_on, "crew": crew.name}
    key = content_key("move", values)
    plan.entries.append(PlannedEntry("move", row, unit.party, unit, crew, {"occurred_on": values["occurred_on"]}, key))


def _plan_retirement(world: World, plan: FilePlan, unit: Unit, row: UnitRow) -> None:
    values = {"occurred_on": row.retired_on, "why": row.retired_why}
    key = content_key("retirement", values)
    plan.entries.append(PlannedEntry("retirement", row, unit.party, unit, None, values, key))
