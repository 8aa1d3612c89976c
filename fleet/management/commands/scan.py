"""Learn usage, keep snapshots, refresh flags."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import (
    PortalCommand,
    add_format,
    contractors_option,
    date_option,
    print_rows,
    progress_line,
)
from fleet.upkeep.crew_cost_store import refresh_crew_costs
from fleet.upkeep.review_store import refresh_reviews
from fleet.upkeep.scan import scan


class Command(PortalCommand):
    help = "Learns usage from the ledger and refreshes what is due for every unit."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--as-of", metavar="DATE", help="use entries up to this day only")
        parser.add_argument("--contractor", metavar="NAME")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractors = contractors_option(options["contractor"])
        today = dt.date.today()
        as_of = date_option(options["as_of"], "--as-of") or today
        report = scan(contractors, as_of=as_of, today=today, progress=progress_line("Scanning"))
        if as_of == today:
            refresh_crew_costs(contractors, today=today)
            refresh_reviews(contractors, today=today)
        row = {
            "contractors": report.contractors,
            "units": report.units,
            "flags": report.written.flags,
            "added": report.written.added,
            "changed": report.written.changed,
            "removed": report.written.removed,
            "snapshots": report.snapshots,
            "learned": "yes" if report.learned else "no",
            "forecasts": report.forecasts,
            "seconds": round(report.seconds, 2),
        }
        print_rows(self.stdout.write, [row], list(row), options["format"], "")
