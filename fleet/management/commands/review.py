"""Keep or replace on the command line."""

from __future__ import annotations

import json
from typing import Any

from django.core.management.base import CommandParser

from fleet.clock import today_at
from fleet.management.options import PortalCommand, add_format, contractors_option, date_option, print_rows
from fleet.upkeep.review_rows import UNIT_COLUMNS, model_row, unit_row
from fleet.upkeep.review_store import names_of, review


class Command(PortalCommand):
    help = "Which units to keep, what their repair is worth, and what each replacement age of a model costs."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--contractor", metavar="NAME", required=True)
        parser.add_argument("--as-of", metavar="DATE", help="as it stood on this day")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractor = contractors_option(options["contractor"])[0]
        as_of = date_option(options["as_of"], "--as-of") or today_at(contractor)
        found = review(contractor, as_of=as_of)
        names = names_of(advice.facts.unit for advice in found.units)
        units = sorted((unit_row(advice, names) for advice in found.units), key=lambda row: row["unit"])
        models = [model_row(model) for model in found.models]
        if options["format"] == "json":
            self.stdout.write(json.dumps({"units": units, "models": models}, indent=1))
            return
        columns = UNIT_COLUMNS[:-1] if options["format"] == "table" else UNIT_COLUMNS
        print_rows(self.stdout.write, units, columns, options["format"], "No unit is in use there.")
        if options["format"] == "table" and models:
            self.stdout.write("\nCost per hour of replacing after 1, 2, ... seasons")
            print_rows(self.stdout.write, models, tuple(models[0]), "table", "")
