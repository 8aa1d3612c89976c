"""Season budget: what the twelve months from the next opening are expected to cost, and how sure that is.

Pure: what was learned of repairs, the advice on each unit and the season's calendar go in. Days without a unit are no
bill, so they are not in it.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.days import add_months, day_of
from fleet.upkeep.repair_basis import SEASONS, Basis
from fleet.upkeep.repair_record import RepairRecord
from fleet.upkeep.review import REPLACE, UnitAdvice
from fleet.upkeep.usage import Usage

Floats = NDArray[np.float64]

MONTHS = 12
# Half the width of an 80 % band in standard deviations.
BAND = 1.2816
# Bills of single repairs differ: their variance as a share of the squared mean (parts from a few dollars to a shaft).
BILL_CV2 = 1.0


@dataclass(frozen=True)
class Month:
    """One month: expected bills with the band of their sum, and what the same month cost a year before."""

    month: str
    repairs: float
    services: float
    replacements: float
    low: float
    high: float
    was_repairs: float
    was_services: float
    was_bought: float

    @property
    def expected(self) -> float:
        return self.repairs + self.services + self.replacements

    @property
    def was(self) -> float:
        return self.was_repairs + self.was_services + self.was_bought


@dataclass(frozen=True)
class Budget:
    """Twelve months; the band of the whole is narrower than the sum of the months', as they even out."""

    opens: str
    months: list[Month] = field(default_factory=list)
    low: float = 0.0
    high: float = 0.0
    replaced: int = 0

    def total(self, name: str) -> float:
        """Sum of a column over the months."""
        return float(sum(getattr(month, name) for month in self.months))


def budget_of(
    basis: Basis,
    advice: Sequence[UnitAdvice],
    record: RepairRecord,
    *,
    decided: Mapping[int, str],
    bought: Iterable[tuple[dt.date, float]],
    usage: Usage,
    as_of: dt.date,
) -> Budget:
    """The budget for the season after a day. ``decided`` overrules advice by unit; ``bought`` has purchases paid.

    New units are paid in the season's first month, with what the old ones fetch taken off.
    """
    opens = usage.season.next_opening(as_of)
    starts = [add_months(opens.replace(day=1), k) for k in range(MONTHS + 1)]
    share = _shares(usage, starts)
    draws = np.zeros(len(basis.shape))
    spread = 0.0
    service_hours = 0.0
    price = 0.0
    replaced = 0
    for one in advice:
        choice = decided.get(one.facts.unit, one.advice)
        mean, bill, dispersion, hours = _unit(basis, one, choice == REPLACE)
        draws += mean * bill
        expected = float(mean.mean())
        spread += bill**2 * (expected * (1 + BILL_CV2) + dispersion * expected**2)
        service_hours += hours
        if choice == REPLACE and one.replacement is not None:
            replaced += 1
            price += (basis.models[one.replacement].price or 0.0) - _resale(basis, one)
    repairs = float(draws.mean())
    services = service_hours * (basis.service_parts_per_hour + basis.service_labor_per_hour * basis.labour_rate)
    # Shared by all months: how well repairs are known, and seasons that are busier or quieter than usual.
    common = float(draws.var()) + (usage.season_cv * (repairs + services)) ** 2
    was = _last_year(record, bought, starts)
    months = []
    for k in range(MONTHS):
        at = share[k] * (repairs + services) + (price if k == 0 else 0.0)
        wide = BAND * np.sqrt(share[k] * spread + share[k] ** 2 * common)
        months.append(
            Month(
                month=starts[k].isoformat()[:7],
                repairs=share[k] * repairs,
                services=share[k] * services,
                replacements=price if k == 0 else 0.0,
                low=max(at - wide, 0.0),
                high=at + wide,
                was_repairs=was[0][k],
                was_services=was[1][k],
                was_bought=was[2][k],
            )
        )
    wide = BAND * float(np.sqrt(spread + common))
    total = repairs + services + price
    return Budget(opens.isoformat(), months, max(total - wide, 0.0), total + wide, replaced)


def _unit(basis: Basis, one: UnitAdvice, replaced: bool) -> tuple[Floats, float, float, float]:
    """Expected repairs (one a draw), what one of them costs, variance of the unit's factor, hours of the season."""
    facts = one.facts
    hours = facts.hours_ahead
    phi = basis.dispersion
    if replaced and one.replacement is not None:
        kind, start, factor, left, age = one.replacement, 0.0, 1.0, phi, 0
    else:
        kind, start, age = facts.model, facts.hours, facts.age
        factor, left = 1.0, 0.0
        if phi > 1e-9:
            so_far = float(basis.expected(kind, np.array([facts.watched_from]), np.array([facts.hours])).mean())
            factor = (1 / phi + facts.repairs) / (1 / phi + so_far)
            left = 1 / (1 / phi + facts.repairs)
    mean = basis.expected(kind, np.array([start]), np.array([start + hours]))[:, 0] * factor
    model = basis.models[kind]
    covered = model.covered[age] if age < SEASONS else 0.0
    bill = (1 - covered * basis.paid_share) * (model.parts + model.labor_hours * basis.labour_rate)
    return mean, bill, left, hours


def _resale(basis: Basis, one: UnitAdvice) -> float:
    model = basis.models[one.facts.model]
    return (model.price or 0.0) * model.kept_each_season**one.facts.age


def _shares(usage: Usage, starts: Sequence[dt.date]) -> Floats:
    """Each month's share of the season's work."""
    worth = usage.season.worth(day_of(starts[0]), (starts[-1] - starts[0]).days)
    edges = [(day - starts[0]).days for day in starts]
    by_month = np.array([worth[a:b].sum() for a, b in pairwise(edges)])
    total = float(by_month.sum())
    return np.asarray(by_month / total if total > 0 else np.full(MONTHS, 1 / MONTHS), dtype=np.float64)


def _last_year(
    record: RepairRecord, bought: Iterable[tuple[dt.date, float]], starts: Sequence[dt.date]
) -> list[list[float]]:
    """Repairs, services and purchases in the same twelve months a year before."""
    edges = np.array([day_of(add_months(day, -MONTHS)) for day in starts])

    def summed(days: NDArray[np.int64], bills: Floats) -> list[float]:
        place = np.searchsorted(edges, days, side="right") - 1
        inside = (place >= 0) & (place < MONTHS)
        return np.bincount(place[inside], weights=bills[inside], minlength=MONTHS).tolist()

    paid = list(bought)
    days = np.array([day_of(day) for day, _price in paid], dtype=np.int64)
    return [
        summed(record.event_day, record.event_bill),
        summed(record.service_day, record.service_bill),
        summed(days, np.array([price for _day, price in paid], dtype=float)),
    ]
