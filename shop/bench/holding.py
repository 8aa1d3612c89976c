"""What the bench finds that can hurt holds the unit at once, and lets it go again when the finding is taken back."""

from __future__ import annotations

import datetime as dt
from typing import Any

from fleet.clock import day_at
from fleet.models import GuardCheck, Trimmer
from fleet.record.corrections import withdraw
from fleet.record.faults import FAULTS, report_fault
from fleet.record.standing import standing
from fleet.record.writing import By
from shop.models import DropOffLine
from shop.models.checks import BenchAnswer


def hold_unit(unit: Trimmer, fault: str, by: By, today: dt.date) -> dict[str, Any]:
    """Hold it; returns the ledger's row of the hold, for the answer that made it."""
    entry = report_fault(unit=unit, fault=fault, on=today, by=by.part("hold"), today=today)
    return {"entry_kind": "guard", "entry_id": entry.pk}


def release_unit(answer: BenchAnswer, why: str, by: By) -> None:
    """Withdraw the hold that an answer made."""
    withdraw(kind=answer.entry_kind, entry_id=answer.entry_id or 0, why=why, by=by.part("taken-back"))


def told_already(line: DropOffLine, unit: Trimmer, hold: str) -> bool:
    """Whether this visit has put the same finding into the ledger: at the counter, or by an earlier check."""
    since = day_at(line.drop_off.shop, line.arrived_at) if line.arrived_at is not None else line.drop_off.day
    fault = FAULTS[hold]
    rows = GuardCheck.objects.filter(trimmer=unit, seen_by="shop", occurred_on__gte=since - dt.timedelta(days=1))
    found = rows.filter(guard=fault.guard) if fault.guard else rows.filter(safety=fault.safety)
    return bool(standing(found, "guard").exists())
