"""After many entries at once: learn and refresh whole contractors."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Callable, Iterable

from fleet.clock import today_at
from fleet.models import Contractor
from fleet.upkeep.scan import ScanReport, scan


def refresh_contractor(
    contractor: Contractor, today: dt.date | None = None, progress: Callable[[int, int], None] | None = None
) -> ScanReport:
    """Bring every unit of the contractor up to its ledger, as an import leaves it."""
    day = today or today_at(contractor)
    return scan([contractor], as_of=day, today=day, progress=progress)


def refresh_contractors(whose: Iterable[tuple[Contractor, dt.date]]) -> None:
    """The same for several, each with its own today: learning is over all fleets, so once for those of one day."""
    by_day: dict[dt.date, list[Contractor]] = defaultdict(list)
    for contractor, today in whose:
        by_day[today].append(contractor)
    for day, contractors in sorted(by_day.items()):
        scan(contractors, as_of=day, today=day)
