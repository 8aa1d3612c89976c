"""The Ready list on the command line."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from fleet.clock import by_day
from fleet.management.options import (
    PortalCommand,
    add_format,
    contractors_option,
    crew_option,
    date_option,
    print_rows,
)
from fleet.upkeep.job_rows import COLUMNS, job_as_row
from fleet.upkeep.lists import due_jobs
from fleet.upkeep.ready import sort_key

TABLE = ("unit", "crew", "model", "task", "state", "hours_now", "due_hours", "due_on", "probability_by", "reasons")


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
        jobs = [
            job
            for day, theirs in by_day(contractors, as_of)
            for job in due_jobs(
                theirs,
                as_of=day,
                before=before,
                crew_id=None if crew is None else crew.pk,
                afresh=as_of is not None,
            )
        ]
        rows = [job_as_row(job) for job in sorted(jobs, key=sort_key)]
        columns = TABLE if options["format"] == "table" else COLUMNS
        print_rows(self.stdout.write, rows, columns, options["format"], "Nothing is due.")
