"""Units in sight by tag, serial or model, with the sign of their worst job."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from fleet.models import Trimmer
from fleet.upkeep.lists import stored_rows
from fleet.upkeep.ready import Job, by_unit, jobs_on
from fleet.upkeep.refresh import latest_usages
from fleet.upkeep.stops import Stop, stops_for
from fleet.vocabulary import HOLD

IN_USE, RETIRED, ALL = "in_use", "retired", "all"
SHOWN = (IN_USE, RETIRED, ALL)


@dataclass(frozen=True)
class ListedUnit:
    """A unit with its worst job (None: nothing is due on it, or it is retired) and what else stops it."""

    unit: Trimmer
    worst: Job | None
    stops: list[Stop] = field(default_factory=list)

    @property
    def state(self) -> str:
        """The state its sign shows; empty where there is none."""
        if self.stops:
            return HOLD
        return self.worst.state if self.worst is not None else ""


def find_units(contractor_ids: Iterable[int], search: str = "", shown: str = IN_USE) -> QuerySet[Trimmer]:
    """Units of these contractors; every word of the search must stand in tag, serial, maker or model."""
    units = Trimmer.objects.filter(contractor__in=list(contractor_ids))
    if shown == IN_USE:
        units = units.filter(retired_on__isnull=True)
    elif shown == RETIRED:
        units = units.filter(retired_on__isnull=False)
    for word in search.split()[:6]:
        units = units.filter(
            Q(tag__icontains=word)
            | Q(serial__icontains=word)
            | Q(model__maker__icontains=word)
            | Q(model__name__icontains=word)
        )
    return units.select_related("model", "contractor", "state__crew").order_by("contractor__name", "tag_key", "pk")


def with_signs(units: Sequence[Trimmer], as_of: dt.date) -> list[ListedUnit]:
    """The same units with what is worst on each, in five queries at most, whatever their number."""
    in_use = [unit for unit in units if unit.retired_on is None]
    contractors = {unit.contractor_id for unit in in_use}
    worst: dict[int, Job] = {}
    if in_use:
        usages = latest_usages(contractors)
        seasons = {pk: usage.season for pk, usage in usages.items()}
        rows = stored_rows(contractors, unit_ids=[unit.pk for unit in in_use])
        worst = {line.unit.unit: line.jobs[0] for line in by_unit(jobs_on(rows, seasons, as_of))}
    stops = stops_for(((unit.pk, unit.model_id) for unit in in_use), as_of)
    return [ListedUnit(unit, worst.get(unit.pk), stops.get(unit.pk, [])) for unit in units]
