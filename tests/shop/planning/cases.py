"""Seeded spring rushes for the bench plan: all invented, of the size of one shop with three contractors."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from shop.planning import BenchDay, Crew, DueUnit, PlanTerms

FIRST = date(2027, 3, 1)  # a Monday
TERMS = PlanTerms()


@dataclass(frozen=True)
class Case:
    units: tuple[DueUnit, ...]
    crews: tuple[Crew, ...]
    days: tuple[BenchDay, ...]
    load: float


def spring(seed: int, units: int = 200, days: int = 30, crews: int = 25, load: float | None = None) -> Case:
    """Units of ``crews`` crews falling due mostly in the first half of ``days`` bench days, at 80 to 110 % load.

    Money is of the order that a shop rate of 90 an hour, a day's downtime of 60 and failures of some 150 to 400 give.
    """
    rng = np.random.default_rng(seed)
    load = float(rng.uniform(0.8, 1.1)) if load is None else load
    weight = rng.uniform(0.6, 1.6, crews)
    of_crew = np.sort(rng.choice(crews, units, p=weight / weight.sum()))
    size = np.bincount(of_crew, minlength=crews)
    trip = rng.uniform(10, 35, 3)
    made = tuple(
        Crew(
            key=f"crew {g:02d}",
            contractor=f"contractor {g % 3}",
            spares=round(size[g] * rng.uniform(0.15, 0.35)),
            away_limit=max(2, int(np.ceil(size[g] * 0.5))),
            away_per_day=60.0,
            trip=float(trip[g % 3]),
        )
        for g in range(crews)
    )
    minutes = rng.choice(
        [15, 20, 25, 30, 45, 60, 75, 90, 120], units, p=[0.1, 0.1, 0.15, 0.2, 0.2, 0.1, 0.08, 0.04, 0.03]
    )
    calendar = [FIRST + timedelta(days=n) for n in range(days * 2) if (FIRST + timedelta(days=n)).weekday() < 5][:days]
    holidays = set(rng.choice(days, max(1, days // 15), replace=False).tolist())
    share = rng.uniform(0.7, 1.3, days)
    share[list(holidays)] = 0.0
    free = share / share.sum() * minutes.sum() / load
    bench = tuple(
        BenchDay(on, float(int(free[i] / (1 - TERMS.walk_in_share))), closed=i in holidays)
        for i, on in enumerate(calendar)
    )
    span = (calendar[-1] - calendar[0]).days
    due = np.clip(rng.normal(span * 0.35, span * 0.25, units), -14, span * 1.2)
    spread = rng.uniform(1, 9, units)
    hold = rng.random(units) < 0.05
    made_units = []
    for i in range(units):
        median = FIRST + timedelta(days=int(due[i]))
        early, late = timedelta(days=int(spread[i])), timedelta(days=int(spread[i] * rng.uniform(1, 2)))
        if hold[i]:
            median, early, late = FIRST, timedelta(0), timedelta(0)
        made_units.append(
            DueUnit(
                key=f"unit {i:03d}",
                crew=made[of_crew[i]].key,
                minutes=float(minutes[i]),
                due_early=median - early,
                due=median,
                due_late=median + late,
                late_per_day=60.0 if hold[i] else float(rng.gamma(2, 2.5)),
                early_per_day=float(rng.uniform(0.3, 3)),
            )
        )
    return Case(tuple(made_units), made, bench, load)
