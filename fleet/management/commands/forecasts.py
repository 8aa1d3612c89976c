"""What was said would happen, and what did, counted by kind and probability."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any

from django.core.management.base import CommandParser

from fleet.clock import by_day
from fleet.management.options import PortalCommand, add_format, contractors_option, date_option, print_rows
from fleet.upkeep.outcomes import Count, counts, settle_forecasts


class Command(PortalCommand):
    help = "Counts what was said would fall due or fail, and what did."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", metavar="NAME")
        parser.add_argument("--as-of", metavar="DATE", help="use statements and entries up to this day only")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractors = contractors_option(options["contractor"])
        days = by_day(contractors, date_option(options["as_of"], "--as-of"))
        settled = [s for day, theirs in days for s in settle_forecasts([c.pk for c in theirs], as_of=day)]
        rows = [asdict(c) for c in counts(settled)]
        columns = [f.name for f in fields(Count)]
        print_rows(self.stdout.write, rows, columns, options["format"], "Nothing was said yet. Run a scan first.")
