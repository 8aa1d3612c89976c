"""The Ready list on the command line."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import (
    PortalCommand,
    add_format,
    contractors_option,
    crew_option,
    date_option,
    print_rows,
)
from fleet.upkeep.lists import due_jobs
from fleet.upkeep.ready import Job
from fleet.upkeep.reasons import sentences

COLUMNS = (
    "unit", "contractor", "crew", "model", "task", "state", "hours_now", "hours_now_low", "hours_now_high",
    "last_done_hours", "interval_hours", "interval_basis", "manual_source", "due_hours", "due_on", "due_on_early",
    "due_on_late", "probability_by", "failures_behind", "reasons",
)  # fmt: skip
TABLE = ("unit", "crew", "model", "task", "state", "hours_now", "due_hours", "due_on", "probability_by", "reasons")


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


class Command(PortalCommand):
    help = "Lists what is due, for which unit, and why."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", metavar="NAME")
        parser.add_argument("--crew", metavar="NAME")
        parser.add_argument("--before", metavar="DATE", help="what must be done to last to this day")
        parser.add_argument("--as-of", metavar="DATE", help="as it stood on this day")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractors = contractors_option(options["contractor"])
        crew = crew_option(options["crew"], contractors)
        as_of = date_option(options["as_of"], "--as-of")
        before = date_option(options["before"], "--before")
        jobs = due_jobs(
            contractors,
            as_of=as_of or dt.date.today(),
            before=before,
            crew_id=None if crew is None else crew.pk,
            afresh=as_of is not None,
        )
        rows = [job_as_row(job) for job in jobs]
        columns = TABLE if options["format"] == "table" else COLUMNS
        print_rows(self.stdout.write, rows, columns, options["format"], "Nothing is due.")
