"""Jobs somebody put off: which of those on a list stand aside for now, by whom and until when."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.utils import timezone

from fleet.models import Postponement
from fleet.upkeep.ready import Job


def standing_postponements(unit_ids: Iterable[int], as_of: dt.date) -> dict[tuple[int, str], Postponement]:
    """Postponements of these units that run on a day, by unit and task, in one query."""
    rows = (
        Postponement.objects.filter(trimmer__in=list(unit_ids), ended_at__isnull=True, until__gt=as_of)
        .select_related("author")
        .order_by("recorded_at", "pk")
    )
    return {(row.trimmer_id, row.task): row for row in rows}


def stands_aside(job: Job, postponement: Postponement | None) -> bool:
    """Whether the job is put off: a hold never is, and doing the job since ends what was said before."""
    if postponement is None or job.flag.on_hold:
        return False
    said_on = timezone.localdate(postponement.recorded_at)
    return job.flag.last_done_on is None or job.flag.last_done_on < said_on
