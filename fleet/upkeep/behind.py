"""What stands behind a flag's interval: looked up from the latest learning when flags are read.

Counts change with every night's scan; kept with each flag they would have every flag of a model written anew.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from fleet.models import FitSnapshot
from fleet.upkeep.fit_records import MANUAL, MODEL, POOLED, IntervalRecord, OwnCounts
from fleet.upkeep.ready import Flag, Reason, UnitHours
from fleet.upkeep.records_kept import kept_records
from fleet.upkeep.who_sees import ENOUGH_CONTRACTORS, own_counts

Row = tuple[UnitHours, Flag]
Own = Mapping[tuple[int, str], Mapping[int, OwnCounts]]


def with_records(rows: Sequence[Row], snapshot: FitSnapshot | None, *, all_counts: bool = False) -> list[Row]:
    """The rows with their failures and reasons; two queries at most.

    ``all_counts`` is for whoever runs the portal; everyone else sees as ``fleet.upkeep.who_sees`` says.
    """
    keys = {(unit.model, flag.task, flag.setting) for unit, flag in rows if flag.setting}
    if not keys or snapshot is None:
        return list(rows)
    records = kept_records(snapshot, keys)
    few = any(r.pooled_contractors < ENOUGH_CONTRACTORS for r in records.values())
    own: Own = own_counts({unit.contractor for unit, _flag in rows}) if few and not all_counts else {}
    return [
        (unit, flag if not flag.setting else _told(unit, flag, record, own, all_counts) if record else _waiting(flag))
        for unit, flag in rows
        for record in [records.get((unit.model, flag.task, flag.setting))]
    ]


def _waiting(flag: Flag) -> Flag:
    """Its figures were changed since the last learning: the manual stands until the next."""
    return replace(flag, why=[("learned_tonight", {})])


def _told(unit: UnitHours, flag: Flag, record: IntervalRecord, own: Own, all_counts: bool) -> Flag:
    choice = record.at(unit.guard_off)
    basis = flag.interval_basis if flag.interval_basis in (MANUAL, POOLED, MODEL) else choice.basis
    pooled = basis == POOLED
    mine = own.get((unit.model, record.component), {}).get(unit.contractor, OwnCounts())
    contractors = record.pooled_contractors if pooled else record.contractors
    whole = all_counts or contractors >= ENOUGH_CONTRACTORS or (contractors == 1 and mine.rows > 0)
    failures = record.pooled_failures if pooled else record.failures
    if not whole:
        failures = 0 if pooled else mine.events
    values = {
        "component": record.component,
        "failures": failures,
        "whole": whole,
        "manual": record.manual_hours,
        "source": record.manual_source,
        "hours": choice.interval_hours,
        "chance": choice.probability,
        "chance_manual": choice.probability_manual,
        "cheaper": choice.cheaper,
    }
    why: list[Reason] = [(f"learned_{basis}", values)]
    if basis != MANUAL and choice.limited_by_risk:
        why.append(("learned_risk", {"limit": record.risk_limit}))
    if basis == MODEL and record.drawn is not None and record.drawn >= 0.1:
        why.append(("learned_borrowed", {"share": record.drawn}))
    usual = record.at(0.0).interval_hours
    if choice.interval_hours < usual - 0.05:
        why.append(("learned_guard", {"share": unit.guard_off, "hours": choice.interval_hours, "on": usual}))
    return replace(flag, failures_behind=failures, why=why)
