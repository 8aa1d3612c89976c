"""What a plan is compared with: first come, first served, and every plan there is, at costs worked out here again."""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, timedelta

import numpy as np
from scipy.stats import norm

from shop.planning import BenchDay, BenchPlan, Crew, DueUnit, PlanTerms

Days = Mapping[str, date | None]


def free_minutes(days: Sequence[BenchDay], terms: PlanTerms) -> dict[date, float]:
    return {d.on: float(int(d.minutes * (1 - terms.walk_in_share))) - d.promised for d in days if not d.closed}


def away_dates(on: date, open_days: Sequence[date], terms: PlanTerms) -> list[date]:
    """Dates until the unit can be fetched: the bench day ``turnaround_days`` after the drop-off."""
    later = [d for d in open_days if d > on]
    day = max([on, *open_days])
    while len(later) < terms.turnaround_days:
        day += timedelta(days=1)
        if day.weekday() < 5:
            later.append(day)
    return [on + timedelta(days=n) for n in range((later[terms.turnaround_days - 1] - on).days)]


def as_placed(plan: BenchPlan) -> dict[str, date | None]:
    return {**{p.unit: p.on for p in plan.placed}, **{u.unit: None for u in plan.unplaced}}


def within_limits(
    placed: Days, units: Sequence[DueUnit], crews: Sequence[Crew], days: Sequence[BenchDay], terms: PlanTerms
) -> bool:
    """No day over its minutes, none closed, no crew with too many away."""
    free = free_minutes(days, terms)
    by_key = {u.key: u for u in units}
    used: Counter[date] = Counter()
    away: Counter[tuple[str, date]] = Counter()
    for key, on in placed.items():
        if on is None:
            continue
        if on not in free:
            return False
        used[on] += by_key[key].minutes
        away.update((by_key[key].crew, t) for t in away_dates(on, list(free), terms))
    limit = {c.key: c.away_limit for c in crews}
    return all(n <= limit[crew] for (crew, _), n in away.items()) and all(n <= free[d] + 1e-9 for d, n in used.items())


def cost_of(
    placed: Days, units: Sequence[DueUnit], crews: Sequence[Crew], days: Sequence[BenchDay], terms: PlanTerms
) -> float:
    """The plan's cost, each unit's waiting by numerical integration over its due day."""
    by_crew = {c.key: c for c in crews}
    by_key = {u.key: u for u in units}
    open_days = [d.on for d in days if not d.closed]
    after = max(d.on for d in days) + timedelta(days=terms.carry_days)
    total = sum(waiting_of(by_key[k], on or after) for k, on in placed.items())
    total += sum(by_crew[by_key[k].crew].trip for k, on in placed.items() if on is None)
    total += sum(by_crew[crew].trip for crew, _ in {(by_key[k].crew, on) for k, on in placed.items() if on})
    away: Counter[tuple[str, date]] = Counter()
    for key, on in placed.items():
        if on is not None:
            away.update((by_key[key].crew, t) for t in away_dates(on, open_days, terms))
    for (crew, day), n in away.items():
        if day.weekday() in by_crew[crew].working_days:
            total += by_crew[crew].away_per_day * max(n - by_crew[crew].spares, 0)
    return total


def waiting_of(unit: DueUnit, on: date, points: int = 4001) -> float:
    chance = (np.arange(points) + 0.5) / points
    z = norm.ppf(chance)
    band = norm.ppf(0.9)
    left, right = ((unit.due - unit.due_early).days / band, (unit.due_late - unit.due).days / band)
    due = np.where(z < 0, max(left, 0.05) * z, max(right, 0.05) * z)
    late = (on - unit.due).days - due
    return float(np.mean(np.where(late > 0, unit.late_per_day * late, -unit.early_per_day * late)))


def first_come(
    units: Sequence[DueUnit], crews: Sequence[Crew], days: Sequence[BenchDay], terms: PlanTerms
) -> dict[str, date | None]:
    """Crew bosses ask when a unit is due within a week, and get the first day that can take it."""
    free = free_minutes(days, terms)
    open_days = sorted(free)
    limit = {c.key: c.away_limit for c in crews}
    away: Counter[tuple[str, date]] = Counter()
    placed: dict[str, date | None] = {}
    for unit in sorted(units, key=lambda u: (max(u.due - timedelta(days=7), open_days[0]), u.crew, u.key)):
        asked = unit.due - timedelta(days=7)
        placed[unit.key] = None
        for day in open_days:
            dates = away_dates(day, open_days, terms)
            room = all(away[(unit.crew, t)] < limit[unit.crew] for t in dates)
            if day >= asked and free[day] >= unit.minutes and room:
                free[day] -= unit.minutes
                away.update((unit.crew, t) for t in dates)
                placed[unit.key] = day
                break
    return placed


def simulated_risk(
    placed: Days, units: Sequence[DueUnit], days: Sequence[BenchDay], terms: PlanTerms, seed: int
) -> float:
    """Mean cost of waiting past due over 400 drawn histories of due days."""
    rng = np.random.default_rng(seed)
    after = max(d.on for d in days) + timedelta(days=terms.carry_days)
    total = 0.0
    for unit in sorted(units, key=lambda u: u.key):
        z = rng.standard_normal(400)
        side = np.where(z < 0, (unit.due - unit.due_early).days, (unit.due_late - unit.due).days) / norm.ppf(0.9)
        late = ((placed[unit.key] or after) - unit.due).days - side * z
        total += unit.late_per_day * float(np.mean(np.maximum(late, 0)))
    return total


def least_cost(units: Sequence[DueUnit], crews: Sequence[Crew], days: Sequence[BenchDay], terms: PlanTerms) -> float:
    """Every plan there is, tried."""
    choices = [*(d.on for d in days if not d.closed), None]
    best = float("inf")
    for combination in itertools.product(choices, repeat=len(units)):
        placed = dict(zip((u.key for u in units), combination, strict=True))
        if within_limits(placed, units, crews, days, terms):
            best = min(best, cost_of(placed, units, crews, days, terms))
    return best
