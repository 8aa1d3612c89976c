"""The Ready list as rows for files and commands, with the keys of its JSON."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any

from fleet.upkeep.lines import UnitLine
from fleet.upkeep.ready import Job
from fleet.upkeep.reasons import sentences
from fleet.vocabulary import HOLD

COLUMNS = (
    "unit", "contractor", "crew", "model", "task", "state", "hours_now", "hours_now_low", "hours_now_high",
    "last_done_hours", "interval_hours", "interval_basis", "manual_source", "due_hours", "due_on", "due_on_early",
    "due_on_late", "probability_by", "failures_behind", "reasons",
)  # fmt: skip
# The screen's file says on every row what stops its unit; the command's columns are settled.
LIST_COLUMNS = (*COLUMNS, "stop")


def _hours(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _date(value: dt.date | None) -> str | None:
    return None if value is None else value.isoformat()


def job_as_row(job: Job) -> dict[str, Any]:
    """One job with the keys of the Ready list's JSON."""
    unit, flag = job.unit, job.flag
    return {
        "unit": unit.tag,
        "contractor": unit.contractor_name,
        "crew": unit.crew_name or None,
        "model": unit.model_name,
        "task": flag.task,
        "state": job.state,
        "hours_now": _hours(job.hours_now),
        "hours_now_low": _hours(job.hours_now_low),
        "hours_now_high": _hours(job.hours_now_high),
        "last_done_hours": _hours(flag.last_done_hours),
        "interval_hours": _hours(flag.interval_hours),
        "interval_basis": flag.interval_basis,
        "manual_source": flag.manual_source,
        "due_hours": _hours(flag.due_hours),
        "due_on": _date(job.due_on),
        "due_on_early": _date(job.due_on_early),
        "due_on_late": _date(job.due_on_late),
        "probability_by": round(job.probability_by, 3),
        "failures_behind": flag.failures_behind,
        "reasons": sentences(job),
    }


def lines_as_rows(lines: Iterable[UnitLine]) -> Iterator[dict[str, Any]]:
    """The list's lines as rows: what stops a unit first, as a row of its own, then its jobs, each saying so too."""
    for line in lines:
        unit, told = line.unit, " ".join(stop.sentence() for stop in line.stops)
        whose = {
            "unit": unit.tag,
            "contractor": unit.contractor_name,
            "crew": unit.crew_name or None,
            "model": unit.model_name,
        }
        for stop in line.stops:
            yield {**whose, "task": stop.kind, "state": HOLD, "reasons": [stop.sentence()], "stop": told}
        for job in line.jobs:
            yield {**job_as_row(job), "stop": told}
