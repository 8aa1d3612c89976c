"""Back the whole portal up into one file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.archive import NotRestorable, back_up
from fleet.management.options import PortalCommand, Problem, add_format, print_rows


class Command(PortalCommand):
    requires_migrations_checks = False
    help = "Writes every table and picture into one file, from which restore fills an empty portal."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", type=Path)
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        if path.is_dir():
            raise Problem(f"{str(path)!r} is a folder. Name a file in it.")
        try:
            made = back_up(path)
        except NotRestorable as error:
            raise Problem(str(error)) from error
        except OSError as error:
            raise Problem(f"The file cannot be written: {error}") from error
        rows = [{"table": table, "rows": count} for table, count in made.rows.items() if count]
        print_rows(self.stdout.write, rows, ("table", "rows"), options["format"], "The portal is empty.")
        if options["format"] == "table":
            self.stdout.write(
                f"{made.files} pictures and files. Keep it as safe as the portal itself: it holds everything."
            )
