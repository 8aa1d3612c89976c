"""Who may see the counts behind a fit: those whose own they are, and everyone once three contractors are behind them.

With fewer, a contractor that knows its own counts could work out the other's.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fleet.models import FleetSample
from fleet.upkeep.fit_records import FitRecord, OwnCounts

ENOUGH_CONTRACTORS = 3


@dataclass(frozen=True)
class SeenCounts:
    """Counts as one person may see them.

    ``whole``: they are all of the record behind the fit; else only the person's own part, and others' stay unsaid.
    """

    events: int
    rows: int
    hours: float
    whole: bool


def own_counts(contractor_ids: Iterable[int]) -> dict[tuple[int, str], dict[int, OwnCounts]]:
    """Own counts of these contractors by (model, component) and contractor; one query, within the tenant scope."""
    found: dict[tuple[int, str], dict[int, OwnCounts]] = {}
    rows = FleetSample.objects.filter(contractor__in=list(contractor_ids)).values_list("contractor_id", "counts")
    for contractor, counts in rows:
        for model, components in counts.items():
            for component, (events, spells, hours) in components.items():
                found.setdefault((int(model), component), {})[contractor] = OwnCounts(events, spells, hours)
    return found


def seen_counts(fit: FitRecord, own: Mapping[int, OwnCounts]) -> SeenCounts:
    """The counts of a fit for a person whose contractors' own parts are ``own``."""
    behind = [c for c in own.values() if c.rows]
    if fit.contractors >= ENOUGH_CONTRACTORS or len(behind) >= fit.contractors:
        return SeenCounts(fit.events, fit.rows, fit.hours, whole=True)
    return SeenCounts(
        sum(c.events for c in behind), sum(c.rows for c in behind), sum(c.hours for c in behind), whole=False
    )


def sees_all(contractors_behind: Iterable[int], own: Iterable[int]) -> bool:
    """Whether figures of these contractors together give nobody away to somebody who sees ``own``."""
    behind = set(contractors_behind)
    return len(behind) >= ENOUGH_CONTRACTORS or behind <= set(own)
