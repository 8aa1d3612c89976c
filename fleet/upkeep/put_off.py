"""Jobs somebody put off: which of those on a list stand aside for now, by whom and until when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from fleet.clock import day_at
from fleet.models import Postponement
from fleet.upkeep.ready import Job

# Rows that nobody may put off: each checks something that keeps people safe, and clears a hold when it fails.
SAFETY_TASKS = frozenset(
    {
        "head",  # cutting head, line and guard: what flies off or is thrown
        "stop_switch",  # whether the engine can be stopped, and stays at idle when the trigger is let go
        "clutch",  # whether the head stands still at idle
        "fuel_filter",  # the look along the fuel line: a leak beside a hot muffler
        "arrestor",  # whether the screen is there and whole: sparks in dry grass, and the law in many places
        "mounts",  # whether the handle holds: control of the head
    }
)


def standing_postponements(unit_ids: Iterable[int], as_of: dt.date) -> dict[tuple[int, str], Postponement]:
    """Postponements of these units that run on a day, by unit and task, in one query."""
    rows = (
        Postponement.objects.filter(trimmer__in=list(unit_ids), ended_at__isnull=True, until__gt=as_of)
        .select_related("author", "contractor")
        .order_by("recorded_at", "pk")
    )
    return {(row.trimmer_id, row.task): row for row in rows}


def may_postpone(task: str, on_hold: bool) -> bool:
    """Whether *Not now* is offered and taken at all."""
    return not on_hold and task not in SAFETY_TASKS


def stands_aside(job: Job, postponement: Postponement | None) -> bool:
    """Whether the job is put off: what keeps people safe never is, and doing the job ends what was said before."""
    if postponement is None or not may_postpone(job.task, job.flag.on_hold):
        return False
    said_on = day_at(postponement.contractor, postponement.recorded_at)
    return job.flag.last_done_on is None or job.flag.last_done_on < said_on
