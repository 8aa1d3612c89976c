"""Crew costs as rows: the same for the command, the file and anyone who reads JSON."""

from __future__ import annotations

from typing import Any

from fleet.upkeep.misuse import CrewCost, CrewCosts

COLUMNS = (
    "crew", "hours", "guard_off_hours", "failures", "spent", "excess_failures", "excess_low", "excess_high",
    "excess_cost", "excess_cost_low", "excess_cost_high", "cost_per_100_hours", "verdict",
)  # fmt: skip


def crew_cost_rows(found: CrewCosts) -> list[dict[str, Any]]:
    """One row a crew, by name; None where the record gives no figure."""
    return [_row(crew) for crew in found.crews]


def _row(crew: CrewCost) -> dict[str, Any]:
    excess = crew.excess
    figures = {} if excess is None else {
        "excess_failures": round(excess.failures, 2),
        "excess_low": round(excess.failures_low, 2),
        "excess_high": round(excess.failures_high, 2),
        "excess_cost": round(excess.cost, 2),
        "excess_cost_low": round(excess.cost_low, 2),
        "excess_cost_high": round(excess.cost_high, 2),
    }  # fmt: skip
    return {
        **dict.fromkeys(COLUMNS),
        "crew": crew.crew,
        "hours": round(crew.hours, 1),
        "guard_off_hours": _rounded(crew.guard_off_hours, 1),
        "failures": crew.failures,
        "spent": round(crew.spent, 2),
        **figures,
        "cost_per_100_hours": _rounded(crew.cost_per_100_hours, 2),
        "verdict": crew.verdict,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
