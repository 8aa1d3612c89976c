"""Import of spreadsheets: read all files, plan what each would add, then write each whole or not at all.

Nothing is written while planning, so the same plan serves a preview, a dry run and the import itself. A row is never
bent to fit: what cannot be taken is listed with file, line, column, value and what to do, and keeps its file out.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Mapping
from pathlib import Path
from typing import Any

from django.db.models import Max

from fleet.models import ENTRY_KINDS, Trimmer, User
from fleet.models.tenancy import all_tenants

from .columns import FILES, kind_of_file
from .import_checks import refuse_contradictions
from .import_commit import Progress, commit_plan
from .import_entries import Occurrences, plan_entries
from .import_models import plan_models
from .import_parties import name_parties, plan_contractors
from .import_plan import FilePlan, ImportPlan
from .import_units import first_dates, plan_units
from .import_world import World
from .refresh import refresh_contractors
from .sheets import MAX_BYTES, read_sheet
from .standing import standing
from .tables import Table, read_table

_ORDER = {name: place for place, name in enumerate(FILES)}


def files_in(folder: Path) -> dict[str, bytes]:
    """The contract's files in a folder, by name; any other file is left alone."""
    found = {}
    for path in sorted(folder.iterdir()):
        if path.is_file() and kind_of_file(path.name) is not None:
            with path.open("rb") as stream:
                found[path.name] = stream.read(MAX_BYTES + 1)
    return found


def plan_import(
    files: Mapping[str, bytes],
    *,
    contractor: str = "",
    shop: str = "",
    only: Collection[int] | None = None,
    today: dt.date | None = None,
) -> ImportPlan:
    """What an import of these files (name -> bytes) would do. Nothing is written.

    ``contractor`` owns rows that name nobody; ``shop`` looks after contractors that are new. ``only`` bounds the import
    to contractors its author may import for; ``None`` is the whole portal. ``today`` stands for each contractor's own.
    """
    with all_tenants():
        tables = _read(files)
        world = World(only=only, today=today)
        name_parties(world, tables, contractor.strip(), shop.strip())
        plans = [FilePlan(table) for table in tables]
        first = first_dates(tables)
        last_dates = _last_dates(world, plans)
        occurrences = Occurrences(world)
        for plan in plans:
            name = plan.table.kind.name
            if name == "contractors":
                plan_contractors(world, plan)
            elif name == "models":
                plan_models(world, plan)
            elif name == "units":
                plan_units(world, plan, first, last_dates)
                if plan.lands:
                    for entry in plan.entries:
                        occurrences.note(entry)
            else:
                plan_entries(world, plan, occurrences)
            plan.report_once()
        refuse_contradictions(world, plans)
    return ImportPlan(plans, world.parties)


def import_files(
    files: Mapping[str, bytes],
    *,
    contractor: str = "",
    shop: str = "",
    only: Collection[int] | None = None,
    today: dt.date | None = None,
    author: User | None = None,
    progress: Progress | None = None,
) -> ImportPlan:
    """Plan, write, and bring the answers of every contractor touched up to date; the plan returned is the report."""
    plan = plan_import(files, contractor=contractor, shop=shop, only=only, today=today)
    with all_tenants():
        touched = commit_plan(plan, author=author, progress=progress)
        with_units = set(Trimmer.objects.filter(contractor__in=touched).values_list("contractor", flat=True))
        parties = [p for p in plan.parties.values() if p.contractor.pk in with_units]
        refresh_contractors((p.contractor, p.today) for p in parties)
    return plan


def _read(files: Mapping[str, bytes]) -> list[Table]:
    tables = []
    for name, data in files.items():
        kind = kind_of_file(name)
        if kind is not None:
            tables.append(read_table(kind, read_sheet(name, data)))
    return sorted(tables, key=lambda table: (_ORDER[table.kind.name], table.file))


def _last_dates(world: World, plans: list[FilePlan]) -> dict[int, dt.date]:
    """The latest entry of each unit that the units file may retire."""
    retiring = [p for p in plans if p.table.kind.name == "units" and any(row.retired_on for row in p.table.rows)]
    last: dict[int, dt.date] = {}
    if retiring and world.contractor_ids:
        for kind, model in ENTRY_KINDS.items():
            if kind == "crew_hours":
                continue
            rows: Any = standing(model.objects.filter(contractor_id__in=world.contractor_ids), kind)
            for trimmer, day in rows.values_list("trimmer_id").annotate(last=Max("occurred_on")).order_by():
                last[trimmer] = max(last.get(trimmer, day), day)
    return last
