"""What an import must know of the portal before it reads a row: loaded once, in a handful of queries.

Parties are contractors, in the portal or to be created; a :class:`Unit` wraps a trimmer in the same way. Objects that
are not saved yet stand beside saved ones, so that files read later can name what files read earlier bring.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from typing import Any

from fleet.clock import today_in
from fleet.models import (
    ENTRY_KINDS,
    Assignment,
    Contractor,
    Crew,
    Failure,
    HoursEntry,
    Service,
    Shop,
    Trimmer,
    TrimmerModel,
    Withdrawal,
)
from fleet.upkeep.catalog import PORTAL, Holder, models_known_to, models_with_figures
from fleet.upkeep.intervals import shops_of

from .readings import METER, REPLACED, TOTAL, OwnEntry, Reading
from .words import model_key, name_key


@dataclass(eq=False, slots=True)
class Unit:
    """A trimmer, saved or about to be; compared by identity, since a tag may be worn by one after another."""

    trimmer: Trimmer
    party: Party

    @property
    def saved(self) -> bool:
        return self.trimmer.pk is not None


@dataclass(eq=False)
class Party:
    """A contractor, saved or about to be, with its crews and units."""

    contractor: Contractor
    today: dt.date
    shop: Shop | None = None
    crews: dict[str, Crew] = field(default_factory=dict)
    units: dict[str, list[Unit]] = field(default_factory=dict)
    # Named only by a contractors file with bad rows: nothing can be recorded for it yet.
    refused: bool = False

    @property
    def saved(self) -> bool:
        return self.contractor.pk is not None

    def crew(self, name: str) -> Crew:
        """The crew of this name; a new one is created when the first file that names it lands."""
        key = name_key(name)
        crew = self.crews.get(key)
        if crew is None:
            crew = self.crews[key] = Crew(contractor=self.contractor, name=name, name_key=key)
        return crew

    def add_unit(self, trimmer: Trimmer) -> Unit:
        unit = Unit(trimmer, self)
        wearers = self.units.setdefault(trimmer.tag_key, [])
        wearers.append(unit)
        wearers.sort(key=lambda u: u.trimmer.registered_on)
        return unit

    def wearers(self, tag: str) -> list[Unit]:
        """Units that wear or wore this tag, in order of registration."""
        return self.units.get(name_key(tag), [])


@dataclass(slots=True)
class LedgerOfUnits:
    """What stands in the ledger that new hours must agree with, by trimmer."""

    readings: dict[int, list[Reading]] = field(default_factory=dict)
    own_entries: dict[int, list[OwnEntry]] = field(default_factory=dict)


class World:
    """The portal as one import sees it. ``only`` bounds it to these contractors; ``None`` is the whole portal."""

    def __init__(self, *, only: Collection[int] | None = None, today: dt.date | None = None) -> None:
        self.only = frozenset(only) if only is not None else None
        self._today = today
        contractors = Contractor.objects.order_by("pk")
        if self.only is not None:
            contractors = contractors.filter(pk__in=self.only)
        self._contractors = {name_key(c.name): c for c in contractors}
        self.parties: dict[str, Party] = {}
        self.default: Party | None = None
        self._shops: dict[str, Shop] = {}
        self.models = {m.key: m for m in TrimmerModel.objects.order_by("pk")}
        # Keys of models that this import's own files name by their maker.
        self._told: set[str] = set()
        self._in_sight: frozenset[int] | None = None
        self.refused_tags: set[str] = set()
        self._keys: dict[str, set[tuple[int, int]]] = {}
        self._withdrawn: dict[str, set[int]] | None = None
        self._assignments: dict[int, list[tuple[dt.date, int, int | None]]] | None = None

    def day_in(self, zone: str) -> dt.date:
        return self._today or today_in(zone)

    def knows(self, name: str) -> bool:
        return name_key(name) in self._contractors

    def only_contractor(self) -> str:
        """The name of the portal's one contractor, or nothing."""
        return next(iter(self._contractors.values())).name if len(self._contractors) == 1 else ""

    def contractor_count(self) -> int:
        return len(self._contractors)

    def load(self, names: Iterable[str], shop: str) -> None:
        """Make parties of these contractors, with crews and units of those that are in the portal."""
        for name in names:
            key = name_key(name)
            if key in self.parties:
                continue
            known = self._contractors.get(key)
            contractor = known or Contractor(name=name)
            self.parties[key] = Party(contractor, self.day_in(contractor.time_zone))
        by_id = {p.contractor.pk: p for p in self.parties.values() if p.saved}
        for crew in Crew.objects.filter(contractor_id__in=by_id):
            by_id[crew.contractor_id].crews[crew.name_key] = crew
        for trimmer in Trimmer.objects.filter(contractor_id__in=by_id).select_related("model"):
            by_id[trimmer.contractor_id].add_unit(trimmer)
        by_shop = {s.pk: s for s in Shop.objects.order_by("pk")}
        self._shops = {name_key(s.name): s for s in by_shop.values()}
        for contractor_id, shop_id in shops_of(by_id).items():
            by_id[contractor_id].shop = by_shop[shop_id]
        default = next(iter(by_shop.values())) if len(by_shop) == 1 and not shop else self.shop(shop or "Shop")
        for party in self.parties.values():
            if party.shop is None:
                party.shop = default

    def shop(self, name: str) -> Shop:
        """The shop of this name, else one to be created."""
        return self._shops.setdefault(name_key(name), Shop(name=name))

    def model(self, maker: str, name: str) -> TrimmerModel:
        """The model of this maker and name, else one to be created."""
        key = model_key(maker, name)
        self._told.add(key)
        model = self.models.get(key)
        if model is None:
            model = self.models[key] = TrimmerModel(maker=maker, name=name, key=key)
        return model

    def models_named(self, name: str) -> list[TrimmerModel]:
        """Models of this name that the import's author knows of: what only others have is not told by guessing."""
        wanted = name_key(name)
        named = [m for m in self.models.values() if name_key(m.name) == wanted]
        if self.only is None:
            return named
        if self._in_sight is None:
            shops = [p.shop.pk for p in self.parties.values() if p.shop is not None and p.shop.pk]
            known = models_known_to(self.only, Holder(PORTAL)) | models_with_figures(self.only, shops)
            self._in_sight = frozenset(known)
        return [m for m in named if m.pk in self._in_sight or m.key in self._told]

    @property
    def contractor_ids(self) -> list[int]:
        return [p.contractor.pk for p in self.parties.values() if p.saved]

    def keys(self, kind: str) -> set[tuple[int, int]]:
        """(unit or crew, content key) of every entry of this kind, withdrawn ones included."""
        if kind not in self._keys:
            owner = "crew_id" if kind == "crew_hours" else "trimmer_id"
            rows = ENTRY_KINDS[kind].objects.filter(contractor_id__in=self.contractor_ids)
            self._keys[kind] = set(rows.values_list(owner, "content_key"))
        return self._keys[kind]

    def withdrawn(self, kind: str) -> set[int]:
        if self._withdrawn is None:
            self._withdrawn = {}
            rows = Withdrawal.objects.filter(contractor_id__in=self.contractor_ids)
            for entry_kind, entry_id in rows.values_list("kind", "entry_id"):
                self._withdrawn.setdefault(entry_kind, set()).add(entry_id)
        return self._withdrawn.get(kind, set())

    def _live(self, model: Any, kind: str, *fields: str, **given: Any) -> Iterable[Any]:
        """Rows (entry id, then fields) of one kind that stand."""
        gone = self.withdrawn(kind)
        rows = model.objects.filter(contractor_id__in=self.contractor_ids, **given).order_by("occurred_on", "pk")
        for row in rows.values_list("pk", *fields).iterator(chunk_size=5000):
            if row[0] not in gone:
                yield row

    def assignments(self) -> dict[int, list[tuple[dt.date, int, int | None]]]:
        """Standing moves by trimmer: (date, entry, crew), in order."""
        if self._assignments is None:
            self._assignments = {}
            for pk, trimmer, day, crew in self._live(Assignment, "move", "trimmer_id", "occurred_on", "crew_id"):
                self._assignments.setdefault(trimmer, []).append((day, pk, crew))
        return self._assignments

    def ledger(self) -> LedgerOfUnits:
        """Standing readings and hours entries of all loaded units."""
        found = LedgerOfUnits()
        fields = ("trimmer_id", "occurred_on", "meter_hours", "hours_run", "meter_replaced")
        for _pk, trimmer, day, meter, run, replaced in self._live(HoursEntry, "hours", *fields):
            found.own_entries.setdefault(trimmer, []).append(OwnEntry(day, run, True))
            if meter is not None:
                kind = REPLACED if replaced else METER
                found.readings.setdefault(trimmer, []).append(Reading(day, kind, meter, True))
        for model, kind in ((Service, "service"), (Failure, "failure")):
            rows = self._live(model, kind, "trimmer_id", "occurred_on", "hours", hours__isnull=False)
            for _pk, trimmer, day, hours in rows:
                found.readings.setdefault(trimmer, []).append(Reading(day, TOTAL, hours, True))
        return found
