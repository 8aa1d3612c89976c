"""Taking samples for the fits from a batch's answers, contractor by contractor, and keeping them between scans."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from django.db import transaction

from fleet.models import FleetSample
from fleet.upkeep.refresh import Answers
from fleet.upkeep.sample_packs import count, join, pack
from fleet.upkeep.samples import take_samples

Counts = dict[str, dict[str, tuple[int, int, float]]]


@dataclass(frozen=True)
class Taken:
    """One contractor's packed rows with their digest and its own counts."""

    contractor: int
    rows: bytes
    content_key: str
    counts: Counts


def take(found: Answers, share: float) -> list[Taken]:
    """Samples of every contractor with a unit in the batch."""
    h, lines = found.histories, found.lines
    spells = take_samples(h, lines)
    owner = h.units["contractor"][lines.unit]
    taken = []
    for contractor in np.unique(owner).tolist():
        mine = owner == contractor
        rows, key = pack(spells, found.exposure, h, lines, mine, share)
        taken.append(Taken(contractor, rows, key, count(spells, mine)))
    return taken


def keep_samples(taken: Sequence[Taken], contractors: Iterable[int]) -> None:
    """Bring the stored samples of these contractors up to ``taken``; those without a unit lose theirs."""
    by_contractor: dict[int, list[Taken]] = {}
    for one in taken:
        by_contractor.setdefault(one.contractor, []).append(one)
    asked = list(contractors)
    with transaction.atomic():
        rows = FleetSample.objects.filter(contractor__in=asked)
        old = dict(rows.values_list("contractor_id", "content_key"))
        new = [_joined(parts) for pk, parts in by_contractor.items() if pk in asked]
        FleetSample.objects.bulk_create(
            [
                FleetSample(contractor_id=t.contractor, content_key=t.content_key, rows=t.rows, counts=t.counts)
                for t in new
                if old.get(t.contractor) != t.content_key
            ],
            update_conflicts=True,
            unique_fields=["contractor"],
            update_fields=["content_key", "rows", "counts"],
        )
        gone = set(old) - set(by_contractor)
        if gone:
            rows.filter(contractor__in=gone).delete()


def _joined(parts: Sequence[Taken]) -> Taken:
    """A large contractor's batches as one."""
    if len(parts) == 1:
        return parts[0]
    counts: Counts = {}
    for part in parts:
        for model, components in part.counts.items():
            mine = counts.setdefault(model, {})
            for component, (events, rows, hours) in components.items():
                e, n, t = mine.get(component, (0, 0, 0.0))
                mine[component] = (e + events, n + rows, round(t + hours, 1))
    key = hashlib.sha256("|".join(p.content_key for p in parts).encode()).hexdigest()
    return Taken(parts[0].contractor, join([p.rows for p in parts]), key, counts)
