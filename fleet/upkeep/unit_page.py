"""What a unit's page tells: who and what it is, its hours, all its jobs, its components."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from fleet.models import NoticeDone, PurchasePaper, Trimmer, UnitFactsFilled, UnitPhoto, UnitState
from fleet.upkeep.components import ComponentAge, component_ages
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.lists import stored_rows
from fleet.upkeep.put_off import standing_postponements, stands_aside
from fleet.upkeep.ready import Job, jobs_on, sort_key
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop, stops_for


@dataclass(frozen=True)
class UnitAnswer:
    """Everything about one unit as of a day."""

    unit: Trimmer
    state: UnitState | None
    jobs: list[Job]
    put_off: set[str]
    seasons: dict[int, Season]
    components: list[ComponentAge]
    stops: list[Stop]
    photos: list[UnitPhoto]
    # The owner's and the office's alone.
    purchase_papers: list[PurchasePaper]
    notices_done: list[NoticeDone]
    facts_filled: list[UnitFactsFilled]

    @property
    def widest(self) -> Job | None:
        """The job whose hours carry all the doubt there is: doubt from before a job was last done is left out of it."""
        return max(self.jobs, key=lambda j: j.hours_now_high - j.hours_now_low, default=None)

    @property
    def hours_now(self) -> float | None:
        """Best estimate of the unit's engine hours today; a retired unit's last ones."""
        if self.jobs:
            return self.jobs[0].hours_now
        return None if self.state is None else self.state.hours


def unit_answer(unit: Trimmer, as_of: dt.date) -> UnitAnswer:
    """Read and work out all of it, in a constant number of queries."""
    seasons = seasons_of([unit.contractor])
    jobs = sorted(jobs_on(stored_rows([unit.contractor_id], unit_id=unit.pk), seasons, as_of), key=sort_key)
    state = UnitState.objects.filter(pk=unit.pk).select_related("crew").first()
    said = standing_postponements([unit.pk], as_of)
    now = jobs[0].hours_now if jobs else (state.hours if state is not None else 0.0)
    return UnitAnswer(
        unit=unit,
        state=state,
        jobs=jobs,
        put_off={job.task for job in jobs if stands_aside(job, said.get((unit.pk, job.task)))},
        seasons=seasons,
        components=component_ages(unit.pk, now),
        stops=stops_for([(unit.pk, unit.model_id)], as_of).get(unit.pk, []),
        notices_done=list(
            NoticeDone.objects.filter(trimmer=unit).select_related("notice", "author", "taken_back_by").order_by("-pk")
        ),
        facts_filled=list(UnitFactsFilled.objects.filter(trimmer=unit).select_related("author").order_by("-pk")),
        purchase_papers=list(PurchasePaper.objects.filter(trimmer=unit).select_related("added_by").order_by("pk")),
        photos=list(UnitPhoto.objects.filter(trimmer=unit).select_related("added_by").order_by("-added_at", "-pk")),
    )
