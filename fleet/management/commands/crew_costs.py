"""The cost of misuse per crew on the command line."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from fleet.clock import today_at
from fleet.management.options import (
    PortalCommand,
    Problem,
    add_format,
    contractors_option,
    date_option,
    print_rows,
)
from fleet.upkeep.crew_cost_rows import COLUMNS, crew_cost_rows
from fleet.upkeep.crew_cost_store import spans_of
from fleet.upkeep.misuse import crew_costs


class Command(PortalCommand):
    help = "What running without guards costs, crew by crew, with how sure that is."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", metavar="NAME", required=True)
        parser.add_argument("--from", metavar="DATE", dest="first", help="from this day on (default: all on record)")
        parser.add_argument("--to", metavar="DATE", dest="last", help="to this day, itself counted (default: today)")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractor = contractors_option(options["contractor"])[0]
        today = today_at(contractor)
        first, last = date_option(options["first"], "--from"), date_option(options["last"], "--to") or today
        spans = spans_of(contractor, today)
        if first is None:
            first = min(spans[0].first, last) if spans else last
        if first > last:
            raise Problem(f"--from: {first} is later than {last}. Turn the two days round.")
        rows = crew_cost_rows(crew_costs(contractor, first=first, last=last, as_of=today))
        print_rows(self.stdout.write, rows, COLUMNS, options["format"], "No crew has hours on record there.")
