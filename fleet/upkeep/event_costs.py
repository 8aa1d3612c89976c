"""What a service and a failure cost: the ledger's own averages, shrunk to common practice.

Minutes and parts are learned over all fleets; the labor rate and the price of a day without the unit are each
contractor's own. Amounts of common practice have no source claimed: flat-rate minutes as shops time their own jobs, and
parts for a machine of about 350 new.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.db import connection

from fleet.models import Contractor
from fleet.upkeep.fit_records import CostBasis
from fleet.vocabulary import AS_FOUND_EVENTS

# Task: minutes and parts. Component: minutes, parts and days down.
PRACTICE_SERVICE: dict[str, tuple[float, float]] = {
    "grease": (5, 1), "arrestor": (10, 4), "port": (30, 4), "air_filter": (3, 5), "fuel_filter": (15, 6),
    "plug": (5, 5), "mounts": (8, 0), "stop_switch": (5, 0), "clutch": (12, 0), "head": (5, 0),
}  # fmt: skip
PRACTICE_REPAIR: dict[str, tuple[float, float, float]] = {
    "head": (5, 25, 0.5), "guard": (8, 22, 0.5), "gearbox": (20, 75, 2), "drive_shaft": (25, 40, 2),
    "clutch": (25, 38, 2), "exhaust": (30, 20, 2), "cylinder": (75, 130, 3), "crank": (90, 55, 3),
    "intake": (30, 16, 2), "carburetor": (25, 45, 2), "fuel": (20, 13, 2), "ignition": (20, 40, 2),
    "stop_switch": (20, 12, 2), "starter": (15, 22, 1), "mounts": (20, 25, 1), "throttle": (25, 16, 2),
    "cooling": (25, 30, 2),
}  # fmt: skip
# Common practice counts for so many jobs.
PRACTICE_JOBS = 10


@dataclass(frozen=True)
class Work:
    """Mean minutes, parts and days down of one kind of job, and how many jobs of the ledger's are in it."""

    minutes: float
    parts: float
    downtime_days: float
    jobs: int


@dataclass(frozen=True)
class Figures:
    """What of a contractor's settings an interval rests on."""

    labour_rate: Decimal
    downtime_per_day: Decimal
    spare_on_trailer: bool
    risk_limit: Decimal
    gate: Decimal

    @classmethod
    def of(cls, contractor: Contractor) -> Figures:
        return cls(
            contractor.labour_rate, contractor.downtime_per_day, contractor.spare_on_trailer, contractor.risk_limit,
            contractor.confidence_gate,
        )  # fmt: skip

    def cost(self, work: Work) -> CostBasis:
        """In the contractor's money. With a spare on the trailer a day without the unit costs nothing."""
        down = 0.0 if self.spare_on_trailer else work.downtime_days * float(self.downtime_per_day)
        total = work.minutes / 60 * float(self.labour_rate) + work.parts + down
        return CostBasis(round(max(total, 0.01), 2), work.minutes, work.parts, work.downtime_days, work.jobs)


@dataclass(frozen=True)
class JobCosts:
    """Services by task and failures by component."""

    services: Mapping[str, Work]
    failures: Mapping[str, Work]


def read_job_costs(as_of: dt.date) -> JobCosts:
    """Averages over the whole ledger up to a day, less what was withdrawn; two queries.

    A round of a task counts where it found nothing failed, a failure where it stopped the job.
    """
    events = ", ".join(f"'{word}'" for word in sorted(AS_FOUND_EVENTS))
    services = _averages(
        "fleet_service", "service", "task", f"done <> 'looked' AND as_found NOT IN ({events})", None, as_of
    )
    looks = _averages("fleet_service", "service", "task", f"as_found NOT IN ({events})", None, as_of)
    failures = _averages("fleet_failure", "failure", "component", "found = 'in_use'", "downtime_days", as_of)
    by_look = {"mounts", "stop_switch", "clutch", "head"}
    return JobCosts(
        services={
            task: _shrunk((looks if task in by_look else services).get(task), (minutes, parts, 0.0))
            for task, (minutes, parts) in PRACTICE_SERVICE.items()
        },
        failures={part: _shrunk(failures.get(part), practice) for part, practice in PRACTICE_REPAIR.items()},
    )


Sums = tuple[int, float, int, float, int, float]


def _averages(table: str, kind: str, by: str, where: str, days: str | None, as_of: dt.date) -> dict[str, Sums]:
    """Number and sum of minutes, parts and days down, by task or component."""
    down = days or "CAST(NULL AS REAL)"
    with connection.cursor() as cursor:
        # Table, columns and words are ours; nothing a person typed is in this text.
        cursor.execute(
            f"SELECT {by}, COUNT(minutes), COALESCE(SUM(minutes), 0), COUNT(parts_cost), "  # noqa: S608
            f"COALESCE(SUM(parts_cost), 0), COUNT({down}), COALESCE(SUM({down}), 0) FROM {table} e "
            f"WHERE {where} AND occurred_on <= %s AND NOT EXISTS "
            "(SELECT 1 FROM fleet_withdrawal w WHERE w.kind = %s AND w.entry_id = e.id) "
            f"GROUP BY {by}",
            [as_of, kind],
        )
        return {key: tuple(float(v) for v in sums) for key, *sums in cursor.fetchall()}  # type: ignore[misc]


def _shrunk(sums: Sums | None, practice: tuple[float, float, float]) -> Work:
    """Rounded so that one more job among many changes nothing."""
    n = sums or (0, 0.0, 0, 0.0, 0, 0.0)
    minutes, parts, days = (
        float(f"{(n[2 * k + 1] + PRACTICE_JOBS * practice[k]) / (n[2 * k] + PRACTICE_JOBS):.3g}") for k in range(3)
    )
    return Work(minutes, parts, days, int(max(n[0], n[2])))
