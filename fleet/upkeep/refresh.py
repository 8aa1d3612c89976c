"""Bring stored answers up to the ledger: for the units an entry touched, and, in shards, for everyone."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from django.db import connection, transaction
from django.db.models import OuterRef, Subquery
from numpy.typing import NDArray

from fleet.models import Contractor, Snapshot, Trimmer
from fleet.upkeep.due import Flags, compute_flags
from fleet.upkeep.fit_store import latest_fits, latest_number
from fleet.upkeep.guard_exposure import Exposure, guard_exposure, guard_looks
from fleet.upkeep.histories import Histories, _ids, load_histories
from fleet.upkeep.holds import standing_holds
from fleet.upkeep.intervals import Catalog
from fleet.upkeep.learned import LearnedSet, LearnedTables, learned_tables
from fleet.upkeep.season import Season
from fleet.upkeep.stored import Written, store_flags, store_states
from fleet.upkeep.timelines import Timelines, build_timelines
from fleet.upkeep.usage import Usage

# Units worked on at once: large enough that numpy's overhead is small, small enough for the memory goal.
SHARD = 1_000


def latest_snapshots(contractor_ids: Iterable[int], as_of: dt.date | None = None) -> dict[int, Snapshot]:
    """The latest snapshot of each contractor that has one, of then or before."""
    snapshots = Snapshot.objects.filter(contractor=OuterRef("pk"))
    if as_of is not None:
        snapshots = snapshots.filter(as_of__lte=as_of)
    latest = snapshots.order_by("-as_of", "-version").values("pk")[:1]
    ids = Contractor.objects.filter(pk__in=list(contractor_ids)).values_list(Subquery(latest), flat=True)
    return {s.contractor_id: s for s in Snapshot.objects.filter(pk__in=[pk for pk in ids if pk is not None])}


def latest_usages(contractor_ids: Iterable[int], as_of: dt.date | None = None) -> dict[int, Usage]:
    """Each contractor's usage as its latest snapshot (of then or before) learned it, or the prior."""
    ids = list(contractor_ids)
    snapshots = latest_snapshots(ids, as_of)
    rows = Contractor.objects.filter(pk__in=ids)
    return {
        c.pk: usage_of(c, s.data, s.version) if (s := snapshots.get(c.pk)) is not None else usage_of(c, None)
        for c in rows
    }


def usage_of(contractor: Contractor, data: dict | None, version: int = 0) -> Usage:
    """A snapshot's usage under the contractor's present season; the prior where there is no snapshot."""
    if data is None:
        season = Season(contractor.season_opens, contractor.season_closes, contractor.working_days)
        return Usage(season=season)
    return Usage.from_data(data, contractor.season_opens, contractor.season_closes, contractor.working_days, version)


@dataclass(frozen=True)
class Setting:
    """What a batch needs beside its ledger: usages, burn rates, interval tables and learned intervals by unit."""

    usages: list[Usage]
    usage_of: NDArray[np.int64]
    burn: NDArray[np.float64]
    tables: list
    table_of: NDArray[np.int64]
    order_by: list[str]
    learned: LearnedTables
    stagger: NDArray[np.bool_]
    fits: int | None


@dataclass(frozen=True)
class Answers:
    """What the ledger of some units says: their hours and exposures, and flags once they are asked for."""

    histories: Histories
    lines: Timelines
    exposure: Exposure
    setting: Setting

    @property
    def fits(self) -> int | None:
        """The number of the learning whose intervals are used."""
        return self.setting.fits

    @cached_property
    def flags(self) -> Flags:
        """When each task falls due."""
        h, core, setting = self.histories, self.lines.unit, self.setting
        return compute_flags(
            h,
            self.lines,
            setting.tables,
            setting.table_of[core],
            [setting.order_by[i] for i in core],
            standing_holds(h),
            setting.learned,
            self.exposure.recent,
            setting.stagger[core],
        )


def read_setting(
    h: Histories,
    as_of: dt.date | None = None,
    usages: dict[int, Usage] | None = None,
    learned: LearnedSet | None = None,
) -> Setting:
    """Look up usages, intervals and fuel figures for the units of ``h``, in a constant number of queries."""
    contractors = h.units["contractor"]
    ids = np.unique(contractors)
    by_contractor = usages if usages is not None else latest_usages(ids.tolist(), as_of)
    pairs, pair_of = np.unique(np.stack([contractors, h.units["model"]], axis=1), axis=0, return_inverse=True)
    pair_list = [(int(c), int(m)) for c, m in pairs]
    catalog = Catalog(pair_list)
    burn = np.array([catalog.terms(c, m).burn for c, m in pair_list], dtype=float)
    rows = Contractor.objects.in_bulk(ids.tolist())
    pair_of = pair_of.reshape(-1)
    known = learned if learned is not None else LearnedSet(latest_fits(as_of))
    return Setting(
        usages=[by_contractor[int(c)] for c in ids],
        usage_of=np.searchsorted(ids, contractors),
        burn=burn[pair_of] if len(pair_of) else np.zeros(0),
        tables=[catalog.intervals(c, m) for c, m in pair_list],
        table_of=pair_of,
        order_by=[rows[int(c)].order_by for c in contractors],
        learned=learned_tables(pair_list, catalog, rows, known),
        stagger=np.array([rows[int(c)].stagger for c in contractors], dtype=bool),
        fits=None if known.snapshot is None else known.snapshot.pk,
    )


def answer(h: Histories, setting: Setting) -> Answers:
    """The pure part: arrays in, hours and flags out."""
    lines = build_timelines(h, setting.usages, setting.usage_of, setting.burn)
    looks, crews = guard_looks(h, lines)
    return Answers(h, lines, guard_exposure(h, lines, looks, crews, [u.guards for u in setting.usages]), setting)


def answers_for(unit_ids: Sequence[int], as_of: dt.date | None = None) -> Answers:
    """Load and answer; with a date, as the ledger stood then and with what was learned then or before."""
    h = load_histories(unit_ids, as_of)
    return answer(h, read_setting(h, as_of))


def refresh_units(unit_ids: Sequence[int], moved_by: str, learned: LearnedSet | None = None) -> Written:
    """Recompute and store the answers of these units. Inside the caller's transaction, their rows locked."""
    if not len(unit_ids):
        return Written()
    h = load_histories(unit_ids)
    found = answer(h, read_setting(h, learned=learned))
    return _store(found, found.flags, moved_by)


def refresh_in_shards(
    unit_ids: Sequence[int], moved_by: str, learned: LearnedSet | None = None, shard: int = SHARD
) -> Written:
    """As ``refresh_units`` for any number of units: each shard in a transaction of its own."""
    total = Written()
    for start in range(0, len(unit_ids), shard):
        ids = unit_ids[start : start + shard]
        h = load_histories(ids)
        total += store_unless_moved(ids, answer(h, read_setting(h, learned=learned)), moved_by)
    return total


def store_unless_moved(unit_ids: Sequence[int], found: Answers, moved_by: str) -> Written:
    """Store what was worked out outside the write lock; a shard that got an entry meanwhile is done again inside.

    Whether it did is told by the units' ledger versions. So is one worked out at intervals that another scan's
    learning has since taken the place of.
    """
    h, flags = found.histories, found.flags
    with transaction.atomic():
        now = dict(_versions(unit_ids))
        seen = zip(h.units["id"].tolist(), h.units["version"].tolist(), h.core.tolist(), strict=True)
        moved = any(core and now.get(unit) != version for unit, version, core in seen)
        if moved or found.fits != latest_number():
            return refresh_units(unit_ids, moved_by)
        return _store(found, flags, moved_by)


def _store(found: Answers, flags: Flags, moved_by: str) -> Written:
    store_states(found.lines, found.exposure.recent, found.histories)
    return store_flags(flags, found.histories, moved_by)


def _versions(ids: Sequence[int]) -> list[tuple[int, int]]:
    """The units' ledger versions, their rows locked: contractors first, then units by id, as every writer does."""
    contractors = Trimmer.objects.filter(pk__in=ids).values("contractor")
    list(Contractor.objects.select_for_update().filter(pk__in=contractors).order_by("pk").values_list("pk"))
    lock = " FOR UPDATE" if connection.features.has_select_for_update else ""
    with connection.cursor() as cursor:
        cursor.execute(
            f"SELECT id, ledger_version FROM fleet_trimmer WHERE id IN ({_ids(ids)}) ORDER BY id{lock}"  # noqa: S608
        )
        return list(cursor.fetchall())


def unit_ids_of(contractor_ids: Iterable[int] | None = None) -> list[int]:
    """Ids of units, retired ones too, contractor by contractor so that crews stay in one shard."""
    units = Trimmer.objects.all()
    if contractor_ids is not None:
        units = units.filter(contractor__in=list(contractor_ids))
    return list(units.order_by("contractor_id", "pk").values_list("pk", flat=True))
