"""Mornings that the shop could spend at a contractor's yard, for the season plan to choose from.

Rough on purpose, like the plan's other figures: one a week for each contractor at most, on the day with most minutes
left; as many units as half of the day's minutes hold, twenty at most; the road costs its minutes of labor. Common
practice, no source claimed.
"""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence

from fleet.models import Contractor
from shop import planning
from shop.models import DropOff, SeasonPlan
from shop.vocabulary import AT_YARD, CANCELLED

USUAL_TRAVEL = 40
MOST_UNITS = 20
# For fewer units nobody drives out.
FEWEST_UNITS = 4


def travel_to(shop_id: int, contractor_ids: Iterable[int], otherwise: int) -> dict[int, int]:
    """Minutes on the road to each contractor's yard, both ways: the last visit's, else the figure given."""
    ids = list(contractor_ids)
    seen = DropOff.objects.at_shops([shop_id]).filter(contractor__in=ids, place=AT_YARD, travel_minutes__gt=0)
    rows = seen.exclude(state=CANCELLED).order_by("day", "pk").values_list("contractor_id", "travel_minutes")
    return {**dict.fromkeys(ids, otherwise), **dict(rows)}


def yard_mornings(
    plan: SeasonPlan,
    contractors: Iterable[Contractor],
    wanted: Iterable[planning.DueUnit],
    days: Sequence[planning.BenchDay],
    walk_in_share: float,
) -> list[planning.YardMorning]:
    """None where the plan was asked for without minutes on the road."""
    if plan.yard_minutes is None:
        return []
    units: Counter[str] = Counter()
    minutes: Counter[str] = Counter()
    for unit in wanted:
        if unit.yard:
            owner = unit.crew.partition(":")[0]
            units[owner] += 1
            minutes[owner] += round(unit.minutes)
    worth = [c for c in contractors if units[str(c.pk)] >= FEWEST_UNITS]
    travel = travel_to(plan.shop_id, (c.pk for c in worth), plan.yard_minutes)
    found = []
    for contractor in worth:
        key, road = str(contractor.pk), travel[contractor.pk]
        usual = max(minutes[key] / units[key], 1.0)
        best: dict[tuple[int, int], tuple[float, dt.date, int]] = {}
        for day in days:
            left = day.minutes * (1 - walk_in_share) - day.promised - road
            most = min(MOST_UNITS, int((day.minutes / 2 - road) // usual))
            week = day.on.isocalendar()[:2]
            if day.closed or most < FEWEST_UNITS or contractor.working_days[day.on.weekday()] != "1":
                continue
            if left > 0 and (week not in best or left > best[week][0]):
                best[week] = (left, day.on, most)
        found += [
            planning.YardMorning(
                contractor=key,
                on=on,
                travel_minutes=float(road),
                cost=road / 60 * float(contractor.labour_rate),
                most_units=most,
            )
            for _left, on, most in best.values()
        ]
    return found
