"""Planning of contractors: whose rows these are, and which settings and shops the contractors file changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.utils.translation import gettext as _

from fleet.models import Contractor

from .import_plan import ContractorChange, FilePlan
from .import_world import Party, World
from .rows import ContractorRow
from .tables import Table
from .words import name_key


def name_parties(world: World, tables: Iterable[Table[Any]], contractor: str, shop: str) -> None:
    """Load the contractors that the files name, and settle whose the rows without a name are."""
    names: dict[str, str] = {name_key(contractor): contractor} if contractor else {}
    unread = False
    for table in tables:
        for row in table.rows:
            if row.contractor:
                names.setdefault(name_key(row.contractor), row.contractor)
        if table.kind.name == "contractors":
            unread = unread or bool(table.bad)
            for name in table.refused_cells("contractor"):
                names.setdefault(name_key(name), name)
    # A contractors file that cannot be read may name anyone: then the portal's only contractor is no safe guess.
    if not names and not unread and (only := world.only_contractor()):
        names[name_key(only)] = only
    if world.only is not None:
        names = {key: name for key, name in names.items() if world.knows(name)}
    world.load(names.values(), shop)
    if contractor:
        world.default = world.parties.get(name_key(contractor))
    elif len(world.parties) == 1:
        world.default = next(iter(world.parties.values()))


def party_of(world: World, plan: FilePlan, row: Any) -> Party | None:
    """The contractor a row belongs to; where it cannot be told, the row is refused and nothing returned."""
    if row.contractor:
        party = world.parties.get(name_key(row.contractor))
        if party is None:
            plan.table.refuse(
                row, "contractor", _("You cannot import for this contractor. Leave the row out or correct the name.")
            )
            return None
    else:
        party = world.default
    if party is None:
        plan.refuse_once(row, "contractor", whose(world))
        return None
    if party.refused:
        plan.refuse_once(
            row,
            "contractor" if row.contractor else "unit",
            _(
                "The contractors file has bad rows, so its contractors are not known yet. Mend it first. "
                "Rows here that wait for it: {count}."
            ),
        )
        return None
    return party


def whose(world: World) -> str:
    """Why rows without a contractor's name cannot be placed, and what to do."""
    if world.parties:
        return _(
            "These files name several contractors, and rows here do not say whose they are. Add a contractor "
            "column, or import for one contractor. Rows: {count}."
        )
    if world.contractor_count():
        return _(
            "The portal has several contractors. Add a contractor column, or say for whom to import. Rows: {count}."
        )
    return _(
        "No contractor is known yet. Add a contractors file or a contractor column, or say for whom to import. "
        "Rows: {count}."
    )


def plan_contractors(world: World, plan: FilePlan) -> None:
    """Contractors to create, and settings and shops that differ from what the portal has."""
    seen: dict[str, ContractorRow] = {}
    for row in plan.table.rows:
        key = name_key(row.contractor)
        party = world.parties.get(key)
        if party is None:
            plan.table.refuse(
                row, "contractor", _("You cannot import for this contractor. Leave the row out or correct the name.")
            )
            continue
        earlier = seen.setdefault(key, row)
        if earlier is not row:
            if (earlier.settings, earlier.shop) == (row.settings, row.shop):
                plan.repeated += 1
            else:
                plan.table.refuse(
                    row,
                    "contractor",
                    _("This contractor stands on line %d with other settings. Keep one row.") % earlier.source.number,
                )
            continue
        _plan_contractor(world, plan, party, row)
    if not plan.lands:
        names = {name_key(row.contractor) for row in plan.table.rows}
        names |= {name_key(name) for name in plan.table.refused_cells("contractor")}
        for key in names & world.parties.keys():
            world.parties[key].refused = not world.parties[key].saved


def _plan_contractor(world: World, plan: FilePlan, party: Party, row: ContractorRow) -> None:
    settings = {name: value for name, value in row.settings.items() if getattr(party.contractor, name) != value}
    shop = None
    if row.shop and (party.shop is None or name_key(party.shop.name) != name_key(row.shop)):
        if world.only is not None:
            plan.table.refuse(row, "shop", _("Another shop cannot be named here. Ask the portal's administrator."))
            return
        shop = world.shop(row.shop)
    if party.saved and not settings and shop is None:
        plan.repeated += 1
        return
    if not party.saved and shop is not None:
        party.shop = shop
    plan.changes.append(ContractorChange(party, settings, shop))
    plan.added += 1
    zone = settings.get("time_zone")
    if zone:
        party.today = world.day_in(zone)


def apply_settings(contractor: Contractor, change: ContractorChange) -> None:
    """Put a change's settings onto the contractor object."""
    for name, value in change.settings.items():
        setattr(contractor, name, value)
