"""A crew's units as its daily pages list them: who they are, about how many hours, the usual week, what stands."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from django.db.models import QuerySet

from fleet.models import Contractor, DueFlag, GuardCheck, Trimmer, UnitState, Withdrawal
from fleet.upkeep.days import day_of
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop, stops_for
from fleet.vocabulary import HOLD, STATES


@dataclass(frozen=True)
class CrewUnit:
    """One unit with its stored hours carried to a day."""

    unit: Trimmer
    state: UnitState
    hours: float
    usual_week: float
    on_hold: bool = False
    last_seen: GuardCheck | None = None
    stops: list[Stop] = field(default_factory=list)

    @property
    def stop_words(self) -> str:
        """The words of its stop sign; empty where it may be started."""
        if self.stops:
            return self.stops[0].sign
        return str(STATES[HOLD]) if self.on_hold else ""


def crew_units(
    contractors: Sequence[Contractor],
    seasons: Mapping[int, Season],
    today: dt.date,
    *,
    crew_id: int | None = None,
    unit_id: int | None = None,
    walk: bool = False,
) -> list[CrewUnit]:
    """Units in use, by tag, in five queries at most; with ``walk``, also what the last walk saw, in one more."""
    states: QuerySet[UnitState] = UnitState.objects.filter(contractor__in=[c.pk for c in contractors], in_use=True)
    if unit_id is not None:
        states = states.filter(pk=unit_id)
    elif crew_id is not None:
        states = states.filter(crew=crew_id)
    rows = list(
        states.select_related("trimmer__model", "trimmer__contractor", "crew").order_by("trimmer__tag_key", "pk")
    )
    ids = [row.pk for row in rows]
    held = set(DueFlag.objects.filter(trimmer__in=ids, on_hold=True).values_list("trimmer_id", flat=True))
    stops = stops_for(((row.pk, row.trimmer.model_id) for row in rows), today)
    seen = _last_walk(ids, today) if walk else {}
    found = []
    for row in rows:
        season = seasons[row.contractor_id]
        since = max(day_of(today) - day_of(row.known_until), 0)
        run = float(season.worth(day_of(row.known_until) + 1, since).sum()) * row.day_rate
        found.append(
            CrewUnit(
                unit=row.trimmer,
                state=row,
                hours=row.hours + run,
                usual_week=row.day_rate * season.days_per_week,
                on_hold=row.pk in held,
                last_seen=seen.get(row.pk),
                stops=stops.get(row.pk, []),
            )
        )
    return found


def _last_walk(unit_ids: Sequence[int], today: dt.date) -> dict[int, GuardCheck]:
    """The latest standing look at each unit's guard."""
    gone = Withdrawal.objects.filter(kind="guard").values("entry_id")
    since = today - dt.timedelta(days=400)
    rows = (
        GuardCheck.objects.filter(trimmer__in=unit_ids, occurred_on__gte=since)
        .exclude(guard="")
        .exclude(pk__in=gone)
        .order_by("occurred_on", "pk")
        .only("trimmer_id", "occurred_on", "guard")
    )
    return {row.trimmer_id: row for row in rows}


def units_in_use(contractors: Sequence[Contractor], crew_id: int | None = None) -> list[Trimmer]:
    """Units in use, by tag, with their models, in one query."""
    rows = Trimmer.objects.filter(contractor__in=[c.pk for c in contractors], retired_on__isnull=True)
    if crew_id is not None:
        rows = rows.filter(state__crew=crew_id)
    return list(rows.select_related("model", "contractor").order_by("tag_key", "pk"))


def count_in_use(contractors: Sequence[Contractor]) -> int:
    """How many units these contractors have in use."""
    return UnitState.objects.filter(contractor__in=[c.pk for c in contractors], in_use=True).count()
