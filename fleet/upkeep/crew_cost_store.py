"""Crew costs kept for the page: a row a season and one for the whole record, worked out where something moved."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from django.db import transaction
from django.db.models import Count, Max, Min, Sum

from fleet.models import CatalogChange, Contractor, CrewCost, ModelTerms, Snapshot, Trimmer
from fleet.upkeep.days import month_day_in
from fleet.upkeep.misuse import CrewCost as Line
from fleet.upkeep.misuse import CrewCosts, Excess, Ratio, crew_costs
from fleet.upkeep.misuse_money import Avoidable
from fleet.upkeep.walk_check import WalkCheck

WHOLE_RECORD = 0
# So many seasons back are kept one by one; older ones are in the whole record.
SEASONS_KEPT = 5


@dataclass(frozen=True)
class Span:
    """Days of a season, its winter with it, so that no work falls between two; season 0 is the whole record."""

    season: int
    first: dt.date
    last: dt.date


def spans_of(contractor: Contractor, today: dt.date) -> list[Span]:
    """The whole record, then its seasons, latest first; nothing where no unit was registered yet."""
    units = Trimmer.objects.filter(contractor=contractor, registered_on__lte=today)
    first = units.aggregate(first=Min("registered_on"))["first"]
    if first is None:
        return []
    spans = [Span(WHOLE_RECORD, first, today)]
    for year in range(today.year, first.year - 2, -1):
        opens = month_day_in(year, contractor.season_opens)
        last = month_day_in(year + 1, contractor.season_opens) - dt.timedelta(days=1)
        if opens <= today and last >= first:
            spans.append(Span(year, opens, last))
    return spans[: SEASONS_KEPT + 1]


def refresh_crew_costs(contractors: Iterable[Contractor], *, today: dt.date) -> int:
    """Work out again what moved since it was last worked out; returns how many answers were."""
    done = 0
    for contractor in contractors:
        spans = spans_of(contractor, today)
        mark = mark_of(contractor)
        kept = {row.season: row for row in CrewCost.objects.filter(contractor=contractor)}
        for span in spans:
            row = kept.pop(span.season, None)
            if row is not None and row.mark == mark:
                CrewCost.objects.filter(pk=row.pk).update(as_of=today)
                continue
            found = crew_costs(contractor, first=span.first, last=span.last, as_of=today)
            said = {"as_of": today, "mark": mark, "data": as_data(found)}
            with transaction.atomic():
                CrewCost.objects.update_or_create(contractor=contractor, season=span.season, defaults=said)
            done += 1
        CrewCost.objects.filter(pk__in=[row.pk for row in kept.values()]).delete()
    return done


def stored(contractor: Contractor) -> dict[int, CrewCost]:
    """What is kept, by season, without reading the answers themselves."""
    rows = CrewCost.objects.filter(contractor=contractor).defer("data").order_by("-season")
    return {row.season: row for row in rows}


def mark_of(contractor: Contractor) -> str:
    """Moves with every entry of the contractor's units, its settings, the catalog and what a scan learned."""
    units = Trimmer.objects.filter(contractor=contractor).aggregate(n=Count("pk"), version=Sum("ledger_version"))
    rests_on = (
        units,
        ModelTerms.objects.aggregate(n=Count("pk")),
        CatalogChange.objects.aggregate(last=Max("pk")),
        Snapshot.objects.filter(contractor=contractor).aggregate(last=Max("version")),
        contractor.labour_rate,
        contractor.downtime_per_day,
        contractor.spare_on_trailer,
        contractor.season_opens,
        contractor.season_closes,
        contractor.working_days,
    )
    return hashlib.sha256(repr(rests_on).encode()).hexdigest()


def as_data(found: CrewCosts) -> dict[str, Any]:
    """For the row's JSON."""
    return {**asdict(found), "first": found.first.isoformat(), "last": found.last.isoformat()}


def season_name(contractor: Contractor, season: int) -> str:
    """2026, or 2026/27 where the season runs over New Year."""
    over = contractor.season_closes < contractor.season_opens
    return f"{season}/{(season + 1) % 100:02d}" if over else str(season)


def from_data(data: dict[str, Any], names: dict[int, str]) -> CrewCosts:
    """From the row's JSON, with the crews' present names."""

    def ratio(value: dict[str, float] | None) -> Ratio | None:
        return None if value is None else Ratio(**value)

    crews = [
        Line(
            **{
                **line,
                "crew": names.get(line["crew_id"], line["crew"]),
                "excess": None if line["excess"] is None else Excess(**line["excess"]),
                "walks": WalkCheck(**line["walks"]),
            }
        )
        for line in data["crews"]
    ]
    return CrewCosts(
        **{
            **data,
            "first": dt.date.fromisoformat(data["first"]),
            "last": dt.date.fromisoformat(data["last"]),
            "crews": crews,
            "within_crews": ratio(data["within_crews"]),
            "across_crews": ratio(data["across_crews"]),
            "avoidable": [Avoidable(**line) for line in data["avoidable"]],
        }
    )
