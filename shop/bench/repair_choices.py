"""Ways to put one fault right on a line, with this bench's minutes, what parts have cost, and what came back."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db.models import Avg, Count, DateField, Exists, ExpressionWrapper, F, OuterRef, Q

from fleet.models import Failure, Trimmer, UnitReview
from fleet.record.standing import standing
from shop.bench.minutes import minutes_of
from shop.models import LineJob
from shop.repair_options import ADJUST, ADJUST_MINUTES, ASSEMBLY, HAS_ASSEMBLY, REPAIR, REPLACE, Way, comeback_chance
from shop.vocabulary import repair_job

# A repair that fails again within these days has come back: common practice, no source.
COMEBACK_DAYS = 60


@dataclass(frozen=True)
class Seen:
    """What is known of repairs of one component, by what was done: (done, came back), mean parts, mean days out."""

    counts: dict[str, tuple[int, int]]
    parts: dict[str, float]
    days: dict[str, float]


def repairs_seen(component: str, today: dt.date) -> Seen:
    """Over the units in sight, repairs old enough to have come back, and how many did; three queries."""
    rows = standing(Failure.objects.filter(component=component, done__in=("repaired", "replaced")), "failure")
    again = standing(
        Failure.objects.filter(
            trimmer=OuterRef("trimmer"),
            component=component,
            occurred_on__gt=OuterRef("occurred_on"),
            occurred_on__lte=ExpressionWrapper(
                OuterRef("occurred_on") + dt.timedelta(days=COMEBACK_DAYS), output_field=DateField()
            ),
        ),
        "failure",
    )
    old = rows.filter(occurred_on__lte=today - dt.timedelta(days=COMEBACK_DAYS)).annotate(back=Exists(again))
    counted = old.values("done").annotate(n=Count("pk"), came=Count("pk", filter=Q(back=True))).order_by()
    counts = {row["done"]: (row["n"], row["came"]) for row in counted}
    priced = rows.filter(parts_cost__gt=0).values("done").annotate(mean=Avg(F("parts_cost"))).order_by()
    out = rows.filter(downtime_days__isnull=False).values("done").annotate(mean=Avg(F("downtime_days"))).order_by()
    parts, days = ({row["done"]: float(row["mean"]) for row in found} for found in (priced, out))
    return Seen(counts, parts, days)


def ways_for(job: LineJob, component: str, seen: Seen, given: dict[str, Decimal | None]) -> list[Way]:
    """The ways open for a component; ``given``: parts prices and minutes typed over ours, by ``parts-KEY``."""
    minutes = minutes_of(job.line.shop)
    ours: list[tuple[str, float, float]] = []
    if component in ADJUST_MINUTES:
        ours.append((ADJUST, ADJUST_MINUTES[component], 0.0))
    replaced = minutes.of(repair_job(component, "replaced"))
    ours.append((REPAIR, minutes.of(repair_job(component, "repaired")), seen.parts.get("repaired", 0.0)))
    ours.append((REPLACE, replaced, seen.parts.get("replaced", 0.0)))
    if component in HAS_ASSEMBLY:
        ours.append((ASSEMBLY, replaced, seen.parts.get("replaced", 0.0)))
    return [
        Way(
            key,
            _number(given.get(f"minutes-{key}"), taken),
            _number(given.get(f"parts-{key}"), parts),
            comeback_chance(component, key, seen.counts),
            seen.days.get("repaired" if key in (ADJUST, REPAIR) else "replaced", 0.0),
        )
        for key, taken, parts in ours
    ]


def review_of(unit: Trimmer) -> UnitReview | None:
    """The latest advice on the unit, with its spend limit and half the price of a new one."""
    found: UnitReview | None = UnitReview.objects.filter(trimmer=unit.pk).first()
    return found


def _number(given: Decimal | None, otherwise: float) -> float:
    return otherwise if given is None else float(given)
