"""The nightly scan: learn each contractor's usage and all fleets' wear, keep both, and bring every flag up to them."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, partial
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from django.db import transaction
from django.db.models import Count
from numpy.typing import NDArray

from fleet.models import Contractor, FitSnapshot, Snapshot, Trimmer
from fleet.side_by_side import side_by_side
from fleet.upkeep.fit_store import latest_fits, put_in_force
from fleet.upkeep.forecasts import record_forecasts
from fleet.upkeep.guard_exposure import crews_of, guard_exposure, guard_looks, learn_habits
from fleet.upkeep.histories import Histories, load_histories
from fleet.upkeep.learned import LearnedSet
from fleet.upkeep.refit import Packed, Refit, refit
from fleet.upkeep.refresh import (
    SHARD,
    Answers,
    answer,
    latest_snapshots,
    read_setting,
    refresh_in_shards,
    store_unless_moved,
    unit_ids_of,
    usage_of,
)
from fleet.upkeep.sample_packs import fitted_share
from fleet.upkeep.sample_store import Taken, keep_samples, take
from fleet.upkeep.season import Season
from fleet.upkeep.shelf import Shelf, store_from_shelf
from fleet.upkeep.stored import Written
from fleet.upkeep.timelines import build_timelines
from fleet.upkeep.usage import Usage
from fleet.upkeep.usage_learning import learn_usage

# A contractor with more units than this is learned from so many of them (spreads do not change with more) and refreshed
# in shards of its own.
LARGE = 4 * SHARD


@dataclass(frozen=True)
class ScanReport:
    """What a scan did. ``learned``: whether the fits were made anew; ``forecasts``: statements kept."""

    contractors: int
    units: int
    written: Written
    snapshots: int
    learned: bool
    forecasts: int
    seconds: float


def scan(
    contractors: Sequence[Contractor],
    *,
    as_of: dt.date,
    today: dt.date,
    learn: bool = True,
    progress: Callable[[int, int], None] | None = None,
    processes: int = 1,
) -> ScanReport:
    """Learn and refresh, a few contractors at a time, each ledger read once.

    Flags are first brought up to the fits that stand; samples taken on the way go into new fits, and units whose
    intervals moved by these are done again. A scan as of an earlier day keeps what could be learned then as a snapshot
    of that day and leaves today's flags to the latest snapshot, so that looking back never puts old answers on today's
    list, nor keeps a statement that nobody made on that day. What says the same as before is not kept.

    Before anything was ever learned, flags wait for the first learning. With ``processes``, groups of contractors and
    the fits are worked on side by side where that can be (see ``fleet.side_by_side``).
    """
    started = time.perf_counter()
    looking_back = as_of < today
    # What was learned on a day long gone rests on every fleet's record of that day.
    everyone = list(Contractor.objects.order_by("pk")) if looking_back and learn else list(contractors)
    # Entries go by the latest learning, whatever day it is where its units are.
    before = latest_fits(as_of if looking_back else None)
    units = Trimmer.objects.count()
    with TemporaryDirectory() as folder:
        shelf = Shelf(Path(folder))
        first = learn and not looking_back and before is None and shelf.has_room(units)
        night = _Night(
            as_of, looking_back, frozenset(c.pk for c in contractors), before, fitted_share(units),
            shelf if first else None,
        )  # fmt: skip
        groups = list(_groups(everyone))
        found, done = [_Group()] * len(groups), 0
        for place, said in side_by_side(night.bring_up, groups, processes):
            found[place] = said
            done += len(groups[place])
            if progress:
                progress(done, len(everyone))
        written = sum((g.written for g in found), Written())
        shelved = [path for g in found for path in g.shelved]
        packs = [pack for g in found for pack in g.packs] if looking_back else None
        try:
            fresh = refit(as_of=as_of, packs=packs, processes=processes) if learn else None
        except Exception:
            # A learning that fails leaves nobody without flags.
            _store_shelved(shelved, before, processes)
            raise
        written += _store_shelved(shelved, before if fresh is None else fresh.snapshot, processes)
        if fresh is not None and not looking_back:
            written += _refresh_moved(fresh, frozenset(c.pk for c in contractors) if first else frozenset())
    said_of_days = 0 if looking_back else record_forecasts(contractors, as_of=as_of)
    return ScanReport(
        contractors=len(contractors),
        units=sum(g.units for g in found),
        written=written,
        snapshots=sum(g.snapshots for g in found),
        learned=bool(fresh and fresh.learned),
        forecasts=said_of_days,
        seconds=time.perf_counter() - started,
    )


@dataclass(frozen=True)
class _Group:
    """What a scan did for some contractors: units and snapshots, samples of a day gone by, answers not yet stored."""

    units: int = 0
    written: Written = field(default_factory=Written)
    snapshots: int = 0
    packs: Sequence[Packed] = ()
    shelved: Sequence[Path] = ()


@dataclass(frozen=True)
class _Night:
    """What a scan does for one group of contractors after another, each on its own."""

    as_of: dt.date
    looking_back: bool
    asked: frozenset[int]
    fits: FitSnapshot | None
    share: float
    # Where answers wait for the first learning; None: they are stored at the intervals that stand.
    shelf: Shelf | None

    @cached_property
    def learned(self) -> LearnedSet:
        return LearnedSet(self.fits)

    def bring_up(self, group: Sequence[Contractor]) -> _Group:
        """Learn these contractors' usage, keep it and their samples, and bring their flags up to it."""
        until = self.as_of if self.looking_back else None
        ids = unit_ids_of(c.pk for c in group)
        mine = [c for c in group if c.pk in self.asked]
        h = load_histories(ids[:LARGE], until)
        usages, found = _learn(group, h, self.learned)
        kept, written, shelved = _keep(mine, usages, self.as_of), Written(), list[Path]()
        taken: list[Taken] = []
        for start in (0, *range(LARGE, len(ids), SHARD)):
            part = ids[:LARGE] if not start else ids[start : start + SHARD]
            if start:
                h = load_histories(part, until)
                found = answer(h, read_setting(h, usages=usages, learned=self.learned))
            if found is None:
                continue
            taken += take(found, self.share)
            if self.shelf is not None:
                shelved.append(self.shelf.put(part, found, usages))
            elif not self.looking_back:
                written += store_unless_moved(part, found, "scan")
        packs = _kept_samples(taken, group, self.looking_back)
        return _Group(len(ids) if mine else 0, written, kept, packs, shelved)


def _store_shelved(shelved: Sequence[Path], fits: FitSnapshot | None, processes: int) -> Written:
    """Store what waited for the learning, at its intervals."""
    parts = side_by_side(partial(store_from_shelf, learned=LearnedSet(fits)), shelved, processes)
    return sum((written for _place, written in parts), Written())


def learn_and_refresh(*, as_of: dt.date) -> Written:
    """Learn from the samples that scans kept, and bring units up to it whose intervals moved."""
    return _refresh_moved(refit(as_of=as_of))


def _refresh_moved(fresh: Refit, done: frozenset[int] = frozenset()) -> Written:
    """Bring up to a learning whose intervals moved by it; cut short, the next learning starts it again.

    Contractors in ``done`` have been.
    """
    again = Written()
    moved = frozenset(pair for pair in fresh.moved if pair[0] not in done)
    if moved:
        again = refresh_in_shards(_units_of(moved), "scan", LearnedSet(fresh.snapshot))
    if fresh.snapshot is not None and fresh.snapshot.in_force_since is None:
        put_in_force(fresh.snapshot)
    # They were counted when they were scanned.
    return replace(again, flags=0)


def _groups(contractors: Sequence[Contractor]) -> Iterator[list[Contractor]]:
    """Contractors together while their units stay within a shard."""
    counts = dict(
        Trimmer.objects.filter(contractor__in=[c.pk for c in contractors])
        .values_list("contractor_id")
        .annotate(n=Count("pk"))
    )
    group: list[Contractor] = []
    size = 0
    for contractor in contractors:
        n = counts.get(contractor.pk, 0)
        if group and size + n > SHARD:
            yield group
            group, size = [], 0
        group.append(contractor)
        size += n
    if group:
        yield group


def _units_of(pairs: frozenset[tuple[int, int]]) -> list[int]:
    """Units of these (contractor, model), contractor by contractor."""
    rows = Trimmer.objects.filter(contractor__in={c for c, _m in pairs}).order_by("contractor_id", "pk")
    return [pk for pk, c, m in rows.values_list("pk", "contractor_id", "model_id") if (c, m) in pairs]


def _kept_samples(taken: Sequence[Taken], group: Sequence[Contractor], looking_back: bool) -> list[Packed]:
    """Keep a group's samples for the fits; those of an earlier day go along in memory."""
    if looking_back:
        return [Packed(t.contractor, t.rows, t.content_key) for t in taken]
    keep_samples(taken, [c.pk for c in group])
    return []


def _learn(group: Sequence[Contractor], h: Histories, learned: LearnedSet) -> tuple[dict[int, Usage], Answers | None]:
    """Usages of these contractors as this ledger teaches them, and the answers under them (None without a unit)."""
    prior = {c.pk: usage_of(c, None) for c in group}
    if not h.n_units:
        return prior, None
    setting = read_setting(h, usages=prior, learned=learned)
    usages = {c.pk: _learned(c, h, setting.burn) for c in group}
    contractors = np.unique(h.units["contractor"]).tolist()
    lines = build_timelines(h, [usages[c] for c in contractors], setting.usage_of, setting.burn)
    looks, crews = guard_looks(h, lines)
    habits = learn_habits(looks, crews)
    for contractor, mine in crews_of(h).items():
        guards = {crew: habits[crew] for crew in mine if crew in habits}
        usages[contractor] = replace(usages[contractor], guards=guards)
    exposure = guard_exposure(h, lines, looks, crews, [u.guards for u in usages.values()])
    return usages, Answers(h, lines, exposure, setting)


def _keep(group: Sequence[Contractor], usages: dict[int, Usage], as_of: dt.date) -> int:
    """Keep a snapshot of each contractor whose usage came out differently; returns how many."""
    before = latest_snapshots([c.pk for c in group], as_of)
    kept = 0
    for contractor in group:
        data = usages[contractor.pk].as_data()
        last = before.get(contractor.pk)
        if last is not None and last.data == data:
            continue
        with transaction.atomic():
            Contractor.objects.select_for_update().get(pk=contractor.pk)
            versions = Snapshot.objects.filter(contractor=contractor).order_by("-version")
            newest = versions.values_list("version", flat=True).first() or 0
            Snapshot.objects.create(contractor=contractor, as_of=as_of, version=newest + 1, data=data)
        kept += 1
    return kept


def _learned(contractor: Contractor, h: Histories, burn: NDArray[np.float64]) -> Usage:
    """The contractor's usage as its part of this ledger teaches it."""
    season = Season(contractor.season_opens, contractor.season_closes, contractor.working_days)
    mine = h.units["contractor"] == contractor.pk
    if not mine.any():
        return Usage(season=season)
    usage = learn_usage(h.only(mine), season, burn[mine], 0)
    return replace(
        usage,
        day_rate=round(usage.day_rate, 5),
        crew_rates={crew: round(rate, 5) for crew, rate in usage.crew_rates.items()},
        week_cv=round(usage.week_cv, 4),
        unit_cv=round(usage.unit_cv, 4),
        season_cv=round(usage.season_cv, 4),
    )
