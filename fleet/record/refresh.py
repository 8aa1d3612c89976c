"""After many entries at once: learn and refresh a whole contractor."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable

from fleet.clock import today_at
from fleet.models import Contractor
from fleet.upkeep.scan import ScanReport, scan


def refresh_contractor(
    contractor: Contractor, today: dt.date | None = None, progress: Callable[[int, int], None] | None = None
) -> ScanReport:
    """Bring every unit of the contractor up to its ledger, as an import leaves it."""
    day = today or today_at(contractor)
    return scan([contractor], as_of=day, today=day, progress=progress)
