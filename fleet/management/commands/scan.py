"""Learn usage, keep snapshots, refresh flags."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import CommandParser

from fleet.clock import by_day
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
        asked = date_option(options["as_of"], "--as-of")
        days = by_day(contractors)
        reports = []
        for number, (today, theirs) in enumerate(days, start=1):
            as_of = asked or today
            # All fleets are learned from once, when the last of them is in.
            last = number == len(days)
            reports.append(
                scan(
                    theirs, as_of=as_of, today=today, learn=last, progress=progress_line("Scanning"),
                    processes=settings.SCAN_PROCESSES,
                )
            )  # fmt: skip
            if as_of == today:
                refresh_crew_costs(theirs, today=today)
                refresh_reviews(theirs, today=today)
        row = {
            "contractors": sum(r.contractors for r in reports),
            "units": sum(r.units for r in reports),
            "flags": sum(r.written.flags for r in reports),
            "added": sum(r.written.added for r in reports),
            "changed": sum(r.written.changed for r in reports),
            "removed": sum(r.written.removed for r in reports),
            "snapshots": sum(r.snapshots for r in reports),
            "learned": "yes" if any(r.learned for r in reports) else "no",
            "forecasts": sum(r.forecasts for r in reports),
            "seconds": round(sum(r.seconds for r in reports), 2),
        }
        print_rows(self.stdout.write, [row], list(row), options["format"], "")
