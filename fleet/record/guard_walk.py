"""The guard walk: guard, line and safety of units as seen on one day."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import GuardCheck, Trimmer
from fleet.record.writing import By, Refused, already_recorded, append, check_date, lock_units, refresh_touched
from fleet.vocabulary import GUARD_STATES, LINE_STATES, SAFETY_STATES


@dataclass(frozen=True)
class Seen:
    """What was seen of one unit; empty: not looked at."""

    unit: Trimmer
    guard: str = ""
    line: str = ""
    safety: str = ""


def record_walk(*, seen: Sequence[Seen], on: dt.date, by: By, today: dt.date) -> list[GuardCheck]:
    """Record what was seen, all units or none. Units nothing was seen of are passed over."""
    with transaction.atomic():
        units = lock_units(row.unit.pk for row in seen)
        entries: list[GuardCheck] = []
        looked_at: Counter[int] = Counter()
        for row in seen:
            if not (row.guard or row.line or row.safety):
                continue
            unit = units[row.unit.pk]
            mine = by.part(f"{unit.pk}-{looked_at[unit.pk]}")
            looked_at[unit.pk] += 1
            entry = GuardCheck(
                contractor_id=unit.contractor_id,
                trimmer=unit,
                occurred_on=on,
                guard=row.guard,
                line=row.line,
                safety=row.safety,
                seen_by=by.seen_as,
            )
            if already_recorded(entry, mine) is not None:
                continue
            for value, words in ((row.guard, GUARD_STATES), (row.line, LINE_STATES), (row.safety, SAFETY_STATES)):
                if value and value not in words:
                    raise Refused(_("Choose one of the answers offered."), "guard", unit=unit)
            check_date(unit, on, today)
            entries.append(append(entry, mine, {"trimmer": unit}))
        refresh_touched(entries, "guard")
    return entries
