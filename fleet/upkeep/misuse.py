"""What running without guards costs, crew by crew: the ledger's rows as ``excess_failures`` wants them, and its answer.

A period's answer rests on the entries of that period alone. Nothing here ranks crews: each figure has its range, and a
verdict that stays *cannot tell* until the record says more.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor, Crew
from fleet.reliability import excess_failures
from fleet.reliability.misuse import ExcessFailures
from fleet.upkeep.crew_looks import found_off
from fleet.upkeep.histories import COMPONENT_CODE, NO_CREW, Columns
from fleet.upkeep.line_hours import hours_long
from fleet.upkeep.misuse_money import Avoidable, avoidable_spend
from fleet.upkeep.misuse_rows import TRACE, Period, period_of
from fleet.upkeep.walk_check import WalkCheck, check_walks
from fleet.upkeep.warranty import sheets_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Parts that a missing guard can hurt: the line runs long, the engine labors, the drive line takes it.
HURT_BY_GUARDS_OFF = ("gearbox", "drive_shaft", "clutch", "exhaust")
HURT_CODES = np.array([COMPONENT_CODE[key] for key in HURT_BY_GUARDS_OFF])
CANNOT_TELL = "cannot_tell"
LEVEL = 0.9


@dataclass(frozen=True)
class Ratio:
    """How many times as often a part fails with the guard off, with the limits of the level."""

    at: float
    low: float
    high: float


@dataclass(frozen=True)
class Excess:
    """Failures, and money, that guards left off have cost one crew."""

    failures: float
    failures_low: float
    failures_high: float
    cost: float
    cost_low: float
    cost_high: float


@dataclass(frozen=True)
class CrewCost:
    """One crew's period; None where the record gives no estimate."""

    crew_id: int
    crew: str
    hours: float
    guard_off_hours: float | None
    line_long_hours: float | None
    failures: int
    hurt_failures: int
    repairs: float
    days_down: float
    down: float
    services: float
    excess: Excess | None
    verdict: str
    walks: WalkCheck

    @property
    def spent(self) -> float:
        """What failures cost: parts and labor of repairs, and the days without the unit. Planned service is apart."""
        return self.repairs + self.down

    @property
    def cost_per_100_hours(self) -> float | None:
        return 100 * self.spent / self.hours if self.hours > 0 else None


@dataclass(frozen=True)
class CrewCosts:
    """A contractor's answer for a period."""

    first: dt.date
    last: dt.date
    crews: list[CrewCost]
    units: int = 0
    hurt_failures: int = 0
    cost_per_failure: float | None = None
    within_crews: Ratio | None = None
    across_crews: Ratio | None = None
    hours_needed: float | None = None
    no_crew_hours: float = 0.0
    no_crew_spent: float = 0.0
    avoidable: list[Avoidable] = field(default_factory=list)
    warranty_lost: float = 0.0
    warranty_lost_failures: int = 0

    @property
    def hours(self) -> float:
        return sum(c.hours for c in self.crews)


def crew_costs(contractor: Contractor, *, first: dt.date, last: dt.date, as_of: dt.date) -> CrewCosts:
    """The answer for one contractor and the days from ``first`` to ``last``, seen as of a day."""
    period = period_of(contractor, first=first, last=last, as_of=as_of)
    names = dict(Crew.objects.filter(contractor=contractor).order_by("name", "pk").values_list("pk", "name"))
    ids = [pk for pk in names if pk in _seen(period)]
    number = {pk: i for i, pk in enumerate(ids)}
    per_crew = _Tallies(period, number)
    hurt = np.isin(period.failures["component"], HURT_CODES)
    each = _cost_each(period.failures, hurt)
    guard = _estimate(period, number, each, per_crew.spent)
    line = _line_hours(period, number)
    alone = None
    if guard is not None:
        alone = _estimate(period, dict.fromkeys(ids, 0), each, np.array([per_crew.spent.sum()]))
    within = _ratio(guard)
    walks = check_walks(period.checks, period.failures, hurt, number, None if within is None else within.high)
    crews = [
        CrewCost(
            crew_id=pk,
            crew=names[pk],
            hours=float(per_crew.hours[i]),
            guard_off_hours=None if guard is None else float(guard.guard_off_hours[i]),
            line_long_hours=None if line is None else float(line[i]),
            failures=int(per_crew.failures[i]),
            hurt_failures=int(per_crew.count(period.failures, hurt)[i]),
            repairs=float(per_crew.repairs[i]),
            days_down=float(per_crew.days_down[i]),
            down=float(per_crew.down[i]),
            services=float(per_crew.services[i]),
            excess=_excess(guard, i),
            verdict=CANNOT_TELL if guard is None else guard.verdict[i],
            walks=walks[i],
        )
        for i, pk in enumerate(ids)
    ]
    sheets = sheets_of(contractor, np.unique(period.failures["model"]))
    avoidable, lost = avoidable_spend(period.failures, period.services, sheets, hurt)
    nobody = period.stays["crew"] == NO_CREW
    return CrewCosts(
        first=first,
        last=last,
        crews=crews,
        units=len(np.unique(period.stays["unit"][~nobody])),
        hurt_failures=int(per_crew.count(period.failures, hurt).sum()),
        cost_per_failure=each,
        within_crews=within,
        across_crews=_ratio(alone),
        hours_needed=None if guard is None or not np.isfinite(guard.hours_needed).any() else
        float(np.nanmax(guard.hours_needed)),
        no_crew_hours=float((period.stays["end"] - period.stays["entry"])[nobody].sum()),
        no_crew_spent=float(sum(t["bill"][t["crew"] == NO_CREW].sum() for t in (period.services, period.failures))),
        avoidable=avoidable,
        warranty_lost=lost.amount,
        warranty_lost_failures=lost.failures,
    )  # fmt: skip


def _seen(period: Period) -> set[int]:
    """Crews with any hours or money in the period."""
    used = period.stays["end"] - period.stays["entry"] > 2 * TRACE
    return {*period.stays["crew"][used].tolist(), *period.services["crew"].tolist(), *period.failures["crew"].tolist()}


class _Tallies:
    """Sums for each crew, in the order of ``number``."""

    def __init__(self, period: Period, number: dict[int, int]) -> None:
        self._number = number
        stays, services, failures = period.stays, period.services, period.failures
        self.hours = self._sum(stays["crew"], stays["end"] - stays["entry"] - TRACE)
        self.services = self._sum(services["crew"], services["bill"])
        self.repairs = self._sum(failures["crew"], failures["bill"])
        self.days_down = self._sum(failures["crew"], failures["days_down"])
        self.failures = self.count(failures, np.ones(len(failures["crew"]), dtype=bool))
        self.down = self._sum(failures["crew"], failures["down"])
        self.spent = self.repairs + self.down

    def _sum(self, crew: Ints, amount: Floats) -> Floats:
        place = _numbers(crew, self._number)
        mine = place >= 0
        return np.bincount(place[mine], weights=amount[mine], minlength=len(self._number)).astype(float)

    def count(self, table: Columns, mask: NDArray[np.bool_]) -> Ints:
        return np.rint(self._sum(table["crew"], mask.astype(float))).astype(np.int64)


def _numbers(crew: Ints, number: dict[int, int]) -> Ints:
    """Places of crews in the answer; -1 for those that are in none."""
    known, place = np.unique(crew, return_inverse=True)
    return np.array([number.get(int(pk), -1) for pk in known], dtype=np.int64)[place.reshape(-1)]


def _cost_each(failures: Columns, hurt: NDArray[np.bool_]) -> float | None:
    """What one of these failures costs this contractor on average: parts, labor and the days without the unit."""
    mine = hurt & (failures["stay"] >= 0)
    return float((failures["bill"] + failures["down"])[mine].mean()) if mine.any() else None


def _estimate(period: Period, number: dict[int, int], each: float | None, spent: Floats) -> ExcessFailures | None:
    """The estimate over these crews, or None where no such failure has happened: then there is nothing to compare."""
    stays, failures, looks = period.stays, period.failures, period.guard
    place = _numbers(stays["crew"], number)
    used = place >= 0
    if each is None or not used.any():
        return None
    units = np.unique(stays["unit"][used])
    seen = np.isin(looks["unit"], units)
    row = failures["stay"]
    counted = np.isin(failures["component"], HURT_CODES) & (row >= 0)
    counted[counted] = used[row[counted]]
    if not counted.any():
        return None
    row = row[counted]
    hour = np.clip(failures["hour"][counted], stays["entry"][row] + TRACE / 2, stays["end"][row])
    return excess_failures(
        unit=stays["unit"][used],
        crew=place[used],
        entry=stays["entry"][used],
        end=stays["end"][used],
        look_unit=looks["unit"][seen],
        look_hour=looks["hour"][seen],
        look_found=looks["found"][seen],
        look_left=looks["left"][seen],
        failure_unit=failures["unit"][counted],
        failure_hour=hour,
        failure_off=found_off(failures["guard"])[counted],
        failure_cost=each,
        spent=spent,
        crews=len(set(number.values())),
        level=LEVEL,
    )


def _line_hours(period: Period, number: dict[int, int]) -> Floats | None:
    place = _numbers(period.stays["crew"], number)
    used = place >= 0
    stays = {name: values[used] for name, values in period.stays.items()}
    return hours_long(stays, place[used], period.line, len(number))


def _ratio(found: ExcessFailures | None) -> Ratio | None:
    return None if found is None else Ratio(found.ratio, found.ratio_low, found.ratio_high)


def _excess(found: ExcessFailures | None, i: int) -> Excess | None:
    if found is None:
        return None
    return Excess(
        float(found.excess[i]),
        float(found.excess_low[i]),
        float(found.excess_high[i]),
        float(found.excess_cost[i]),
        float(found.excess_cost_low[i]),
        float(found.excess_cost_high[i]),
    )
