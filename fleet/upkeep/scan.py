"""The nightly scan: learn each contractor's usage, keep it as a snapshot, and bring every flag up to it."""

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
from fleet.upkeep.histories import Histories, load_histories
from fleet.upkeep.refresh import (
    SHARD,
    latest_snapshots,
    read_setting,
    refresh_in_shards,
    store_unless_moved,
    unit_ids_of,
    usage_of,
)
from fleet.upkeep.season import Season
from fleet.upkeep.stored import Written
from fleet.upkeep.usage import Usage
from fleet.upkeep.usage_learning import learn_usage

# A contractor with more units than this is learned from so many of them (spreads do not change with more) and refreshed
# in shards of its own.
LARGE = 4 * SHARD


@dataclass(frozen=True)
class ScanReport:
    """What a scan did."""

    contractors: int
    units: int
    written: Written
    snapshots: int
    seconds: float


def scan(
    contractors: Sequence[Contractor],
    *,
    as_of: dt.date,
    today: dt.date,
    refit: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> ScanReport:
    """Learn and refresh, a few contractors at a time, each ledger read once.

    A scan as of an earlier day keeps what could be learned then as a snapshot of that day and leaves today's flags to
    the latest snapshot, so that looking back never puts old answers on today's list. A snapshot that says the same as
    the one before is not kept.
    """
    started = time.perf_counter()
    kept, n_units, written = 0, 0, Written()
    looking_back = as_of < today
    done = 0
    for group in _groups(contractors):
        ids = unit_ids_of(c.pk for c in group)
        n_units += len(ids)
        large = len(ids) > LARGE
        h = load_histories(ids[:LARGE], as_of if looking_back else None)
        if refit:
            kept += _learn(group, h, as_of)
        if ids and not looking_back:
            written += refresh_in_shards(ids, "scan") if large else store_unless_moved(ids, h, "scan")
        done += len(group)
        if progress:
            progress(done, len(contractors))
    return ScanReport(len(contractors), n_units, written, kept, time.perf_counter() - started)


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


def _learn(group: Sequence[Contractor], h: Histories, as_of: dt.date) -> int:
    """Keep a snapshot of each contractor whose usage came out differently; returns how many."""
    before = latest_snapshots([c.pk for c in group], as_of)
    setting = read_setting(h, usages={c.pk: usage_of(c, None) for c in group})
    kept = 0
    for contractor in group:
        data = _learned(contractor, h, setting.burn).as_data()
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
