"""The nightly scan: learn each contractor's usage and all fleets' wear, keep both, and bring every flag up to them."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from django.db import transaction
from django.db.models import Count
from numpy.typing import NDArray

from fleet.models import Contractor, Snapshot, Trimmer
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
    answer_on,
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
) -> ScanReport:
    """Learn and refresh, a few contractors at a time, each ledger read once.

    Flags are first brought up to the fits that stand; samples taken on the way go into new fits, and units whose
    intervals moved by these are done again. A scan as of an earlier day keeps what could be learned then as a snapshot
    of that day and leaves today's flags to the latest snapshot, so that looking back never puts old answers on today's
    list, nor keeps a statement that nobody made on that day. What says the same as before is not kept.
    """
    started = time.perf_counter()
    looking_back = as_of < today
    asked = {c.pk for c in contractors}
    # What was learned on a day long gone rests on every fleet's record of that day.
    everyone = list(Contractor.objects.order_by("pk")) if looking_back and learn else list(contractors)
    # Entries go by the latest learning, whatever day it is where its units are.
    learned = LearnedSet(latest_fits(as_of if looking_back else None))
    share = fitted_share(Trimmer.objects.count())
    kept, n_units, written, done = 0, 0, Written(), 0
    packs: list[Packed] = []
    for group in _groups(everyone):
        ids = unit_ids_of(c.pk for c in group)
        mine = [c for c in group if c.pk in asked]
        n_units += len(ids) if mine else 0
        h = load_histories(ids[:LARGE], as_of if looking_back else None)
        usages, found = _learn(group, h, learned)
        kept += _keep(mine, usages, as_of)
        taken = [] if found is None else take(found, share)
        if found is not None and not looking_back:
            written += store_unless_moved(ids[:LARGE], found, "scan")
        for start in range(LARGE, len(ids), SHARD):
            rest = ids[start : start + SHARD]
            h = load_histories(rest, as_of if looking_back else None)
            answers = answer(h, read_setting(h, usages=usages, learned=learned))
            taken = [*taken, *take(answers, share)]
            if not looking_back:
                written += store_unless_moved(rest, answers, "scan")
        packs += _kept_samples(taken, group, looking_back)
        done += len(group)
        if progress:
            progress(done, len(everyone))
    fresh = refit(as_of=as_of, packs=packs if looking_back else None) if learn else None
    if fresh is not None and not looking_back:
        written += _refresh_moved(fresh)
    said = 0 if looking_back else record_forecasts(contractors, as_of=as_of)
    return ScanReport(
        len(contractors), n_units, written, kept, bool(fresh and fresh.learned), said, time.perf_counter() - started
    )


def learn_and_refresh(*, as_of: dt.date) -> Written:
    """Learn from the samples that scans kept, and bring units up to it whose intervals moved."""
    return _refresh_moved(refit(as_of=as_of))


def _refresh_moved(fresh: Refit) -> Written:
    """Bring up to a learning whose intervals moved by it; cut short, the next learning starts it again."""
    again = Written()
    if fresh.moved:
        again = refresh_in_shards(_units_of(fresh.moved), "scan", LearnedSet(fresh.snapshot))
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
    return usages, answer_on(h, setting, lines, exposure)


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
