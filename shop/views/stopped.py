"""What stops a unit, for the head of every page on which hands go to it: recalls, faults that can hurt, holds."""

from __future__ import annotations

import datetime as dt
from typing import Any

from fleet.access import Access
from fleet.models import Trimmer
from fleet.upkeep.standing_flags import hold_words_of
from fleet.upkeep.stops import stops_for


def stopped(access: Access, unit: Trimmer | None, today: dt.date) -> dict[str, Any]:
    """What ``shop/_stopped.html`` shows: of a unit whose history this person may see; other kit has none."""
    if unit is None or not access.can("work_bench", unit.contractor_id):
        return {"stops": [], "holds": []}
    return {
        "stopped_unit": unit,
        "stops": stops_for([(unit.pk, unit.model_id)], today).get(unit.pk, []),
        "holds": hold_words_of([unit]),
        "closes_recall": access.can("close_recall", unit.contractor_id),
    }
