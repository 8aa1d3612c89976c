"""What stops a unit, for the head of every page on which hands go to it: recalls, faults that can hurt, holds."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Any

from fleet.access import Access
from fleet.models import DueFlag, Trimmer
from fleet.upkeep.standing_flags import hold_words_of
from fleet.upkeep.stops import stops_for
from fleet.vocabulary import HOLD, STATES


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


def signs_of(
    access: Access, units: Iterable[Trimmer | None], today: dt.date, action: str = "work_bench"
) -> dict[int, str]:
    """The words of the stop sign of each unit that rests, for lists; five queries at most, whatever their number."""
    models = {u.pk: u.model_id for u in units if u is not None and access.can(action, u.contractor_id)}
    held = DueFlag.objects.filter(trimmer__in=models, on_hold=True).values_list("trimmer_id", flat=True)
    signs = dict.fromkeys(held, str(STATES[HOLD]))
    return signs | {unit: stops[0].sign for unit, stops in stops_for(models.items(), today).items() if stops}
