"""The nightly scan: learn each contractor's usage, keep it as a snapshot, and bring every flag up to it."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.db import transaction

from fleet.models import Contractor, Snapshot
from fleet.upkeep.histories import Histories, load_histories
from fleet.upkeep.refresh import SHARD, read_setting, refresh_in_shards, unit_ids_of
from fleet.upkeep.season import Season
from fleet.upkeep.stored import Written
from fleet.upkeep.usage import Usage
from fleet.upkeep.usage_learning import learn_usage

# Learning looks at this many units of a contractor at most; spreads do not change with more.
LEARN_FROM_UNITS = 2_000


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
    """Learn and refresh.

    A scan as of an earlier day keeps what could be learned then as a snapshot of that day and leaves today's flags to
    the latest snapshot, so that looking back never puts old answers on today's list. Snapshots that say the same as
    the one before are not kept.
    """
    started = time.perf_counter()
    kept = 0
    for done, contractor in enumerate(contractors):
        if refit:
            kept += _learn(contractor, as_of)
        if progress:
            progress(done, 2 * len(contractors))
    ids = unit_ids_of(c.pk for c in contractors)
    written = Written()
    if as_of >= today:
        for start in range(0, len(ids), SHARD):
            written += refresh_in_shards(ids[start : start + SHARD], "scan")
            if progress:
                share = (start + SHARD) / max(len(ids), 1)
                progress(len(contractors) + int(min(share, 1) * len(contractors)), 2 * len(contractors))
    return ScanReport(len(contractors), len(ids), written, kept, time.perf_counter() - started)


def _learn(contractor: Contractor, as_of: dt.date) -> int:
    ids = unit_ids_of([contractor.pk])[:LEARN_FROM_UNITS]
    usage = learned_usage(contractor, load_histories(ids, as_of))
    data = usage.as_data()
    before = Snapshot.objects.filter(contractor=contractor)
    same_time = before.filter(as_of__lte=as_of).order_by("-as_of", "-version").first()
    if same_time is not None and same_time.data == data:
        return 0
    with transaction.atomic():
        Contractor.objects.select_for_update().get(pk=contractor.pk)
        last = before.order_by("-version").values_list("version", flat=True).first() or 0
        Snapshot.objects.create(contractor=contractor, as_of=as_of, version=last + 1, data=data)
    return 1


def learned_usage(contractor: Contractor, h: Histories) -> Usage:
    """The contractor's usage as this ledger teaches it."""
    season = Season(contractor.season_opens, contractor.season_closes, contractor.working_days)
    if not h.n_units:
        return Usage(season=season)
    setting = read_setting(h, usages={contractor.pk: Usage(season=season)})
    usage = learn_usage(h, season, setting.burn, 0)
    rounded = {crew: round(rate, 5) for crew, rate in usage.crew_rates.items()}
    return Usage(
        season=usage.season,
        day_rate=round(usage.day_rate, 5),
        crew_rates=rounded,
        week_cv=round(usage.week_cv, 4),
        unit_cv=round(usage.unit_cv, 4),
        season_cv=round(usage.season_cv, 4),
        scale=usage.scale,
    )
