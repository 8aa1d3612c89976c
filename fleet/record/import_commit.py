"""Writing a plan: each file in a transaction of its own, whole or not at all, with bulk inserts."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from django.db import DatabaseError, models, transaction
from django.db.models import F
from django.utils.translation import gettext as _

from fleet.models import ENTRY_KINDS, Arrangement, Contractor, Shop, Trimmer, User

from .import_catalog import write_models
from .import_parties import apply_settings
from .import_plan import ContractorChange, FilePlan, ImportPlan, ModelChange, PlannedEntry, UnitChange
from .import_world import Party, Unit
from .tables import BadCell

BATCH = 2_000

# Told (rows written, rows in all, file) as a long import goes on.
Progress = Callable[[int, int, str], None]


class _Landing:
    """One file's transaction: remembers what it saved first, to undo their keys should it be rolled back."""

    def __init__(self, source: str, author: User | None) -> None:
        self.source, self.author = source, author
        self.fresh: list[models.Model] = []
        self.touched: set[int] = set()
        # Contractors whose units' ledgers this file has moved on.
        self.moved: set[int] = set()

    def save_new(self, thing: models.Model) -> None:
        if thing.pk is None:
            thing.save(force_insert=True)
            self.fresh.append(thing)

    def forget(self) -> None:
        for thing in self.fresh:
            thing.pk = None
            thing._state.adding = True

    def party(self, party: Party) -> Contractor:
        """The contractor, created with its shop's arrangement where it is new."""
        if not party.saved:
            self.save_new(party.contractor)
            if party.shop is not None:
                self.arrange(party, party.shop)
        self.touched.add(party.contractor.pk)
        return party.contractor

    def arrange(self, party: Party, shop: Shop) -> None:
        self.save_new(shop)
        Arrangement.objects.get_or_create(contractor=party.contractor, shop=shop, from_date=party.today)


def commit_plan(
    plan: ImportPlan, *, author: User | None, source: str = "import", progress: Progress | None = None
) -> set[int]:
    """Write every file that lands; returns the contractors touched. A file refused by the database is reported."""
    total = sum(len(p.entries) + len(p.changes) for p in plan.files if p.lands)
    done = 0
    touched: set[int] = set()
    for part in plan.files:
        if not part.lands or not (part.changes or part.entries):
            continue
        landing = _Landing(source, author)
        started = done
        try:
            with transaction.atomic():
                _refuse_if_moved(plan, part)
                for step in _write(part, landing):
                    done += step
                    if progress is not None:
                        progress(done, total, part.table.file)
        except (DatabaseError, _NotThere):
            # Somebody else changed the same things between reading and writing, or a file this one needs did not land.
            landing.forget()
            done = started
            reason = _("The portal changed while this file was read. Nothing of it was taken; import it again.")
            part.table.bad.append(BadCell(part.table.file, 1, "", "", reason))
        else:
            touched |= landing.touched
            _note_versions(plan, landing.moved)
    return touched


def _refuse_if_moved(plan: ImportPlan, part: FilePlan) -> None:
    """Refuse to write what was planned on a ledger that has moved on since: an entry, a withdrawal, a new unit.

    Its contractors' rows stay locked until the file has landed, so that of two imports at once the second sees what
    the first one brought.
    """
    ids = {party.contractor.pk for party in plan.parties.values() if party.saved}
    list(Contractor.objects.select_for_update().filter(pk__in=ids).order_by("pk").values_list("pk"))
    units = [entry.unit for entry in part.entries if entry.unit is not None]
    units += [change.unit for change in part.changes if isinstance(change, UnitChange)]
    planned = {unit.trimmer.pk: unit.trimmer.ledger_version for unit in units if unit.saved}
    new = {(unit.party.contractor.pk, unit.trimmer.tag_key) for unit in units if not unit.saved}
    known = {unit.trimmer.pk for unit in _units(plan)}
    rows = Trimmer.objects.filter(contractor_id__in={unit.party.contractor.pk for unit in units if unit.party.saved})
    there: dict[int, int] = {}
    for pk, contractor, tag, version in rows.values_list("pk", "contractor_id", "tag_key", "ledger_version"):
        there[pk] = version
        if pk not in known and (contractor, tag) in new:
            raise _NotThere
    if any(there.get(pk) != version for pk, version in planned.items()):
        raise _NotThere


def _note_versions(plan: ImportPlan, contractors: set[int]) -> None:
    """Keep count of how far the import itself has moved its units on."""
    for unit in _units(plan):
        if unit.saved and unit.party.contractor.pk in contractors:
            unit.trimmer.ledger_version += 1


def _units(plan: ImportPlan) -> Iterable[Unit]:
    return (unit for party in plan.parties.values() for wearers in party.units.values() for unit in wearers)


class _NotThere(Exception):
    """A row names a unit whose own file did not land after all."""


def _write(part: FilePlan, landing: _Landing) -> Iterable[int]:
    """Write one file's changes and entries; yields the number of rows written at each step."""
    units: list[UnitChange] = []
    models: list[ModelChange] = []
    for change in part.changes:
        if isinstance(change, ContractorChange):
            _write_contractor(change, landing)
        elif isinstance(change, ModelChange):
            landing.save_new(change.model)
            landing.party(change.party)
            models.append(change)
        else:
            units.append(change)
    if models:
        write_models(models, landing.author)
    yield len(part.changes) - len(units)
    yield from _write_units(units, landing)
    yield from _write_entries(part.entries, landing)


def _write_contractor(change: ContractorChange, landing: _Landing) -> None:
    party = change.party
    apply_settings(party.contractor, change)
    if party.saved:
        if change.settings:
            party.contractor.save(update_fields=[*change.settings])
        if change.shop is not None:
            landing.arrange(party, change.shop)
    landing.party(party)


def _write_units(changes: list[UnitChange], landing: _Landing) -> Iterable[int]:
    new = [change.unit for change in changes if not change.unit.saved]
    for unit in new:
        landing.save_new(unit.trimmer.model)
        unit.trimmer.model = unit.trimmer.model  # takes over the key just given
        unit.trimmer.contractor = landing.party(unit.party)
    for start in range(0, len(new), BATCH):
        batch = [unit.trimmer for unit in new[start : start + BATCH]]
        Trimmer.objects.bulk_create(batch)
        landing.fresh += batch
        yield len(batch)
    for change in changes:
        if change.fields:
            landing.party(change.unit.party)
            Trimmer.objects.filter(pk=change.unit.trimmer.pk).update(**change.fields)
            yield 1


def _write_entries(entries: list[PlannedEntry], landing: _Landing) -> Iterable[int]:
    by_kind: dict[str, list[PlannedEntry]] = {}
    for entry in entries:
        by_kind.setdefault(entry.kind, []).append(entry)
        if entry.crew is not None and entry.crew.pk is None:
            entry.crew.contractor = landing.party(entry.party)
            landing.save_new(entry.crew)
    contractors = {id(e.party): landing.party(e.party).pk for e in entries}
    for kind, planned in by_kind.items():
        model: Any = ENTRY_KINDS[kind]
        for start in range(0, len(planned), BATCH):
            rows = []
            for entry in planned[start : start + BATCH]:
                owner = _owner(entry)
                rows.append(
                    model(
                        contractor_id=contractors[id(entry.party)],
                        author=landing.author,
                        source=landing.source,
                        content_key=entry.key,
                        **owner,
                        **entry.values,
                    )
                )
            model.objects.bulk_create(rows)
            yield len(rows)
    if entries:
        landing.moved |= set(contractors.values())
        # Hours are shared within crews, so any entry may move any unit of its contractor.
        Trimmer.objects.filter(contractor_id__in=set(contractors.values())).update(
            ledger_version=F("ledger_version") + 1
        )


def _owner(entry: PlannedEntry) -> dict[str, int | None]:
    owner: dict[str, int | None] = {}
    if entry.unit is not None:
        if entry.unit.trimmer.pk is None:
            raise _NotThere
        owner["trimmer_id"] = entry.unit.trimmer.pk
    if entry.kind in ("move", "crew_hours"):
        owner["crew_id"] = entry.crew.pk if entry.crew is not None else None
    return owner
