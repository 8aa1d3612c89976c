"""Fill an empty portal from a backup."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.archive import NotRestorable, restore
from fleet.management.options import PortalCommand, Problem, add_format, print_rows


class Command(PortalCommand):
    # The database may be all new, or stand at an older version.
    requires_migrations_checks = False
    help = "Fills an empty portal from a file that backup wrote, by this version or an older one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        if not path.is_file():
            raise Problem(f"There is no file {str(path)!r}.")
        try:
            made = restore(path)
        except NotRestorable as error:
            raise Problem(str(error)) from error
        rows = [{"table": table, "rows": count} for table, count in made.rows.items() if count]
        print_rows(self.stdout.write, rows, ("table", "rows"), options["format"], "The backup is of an empty portal.")
        if options["format"] == "table":
            self.stdout.write(f"{made.files} pictures and files. As it stood on {made.made_at}.")
