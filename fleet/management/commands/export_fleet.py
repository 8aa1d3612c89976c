"""Export the fleet as the files that import_fleet reads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import PortalCommand, Problem, add_format, contractors_option, print_rows
from fleet.record.exporting import write_files


class Command(PortalCommand):
    help = "Writes the fleet into a folder, as files that import_fleet reads."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="DIR", type=Path)
        parser.add_argument("--contractor", metavar="NAME", help="one contractor's fleet only")
        parser.add_argument("--xlsx", action="store_true", help="workbooks instead of text files")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        contractors = contractors_option(options["contractor"])
        folder: Path = options["folder"]
        if folder.exists() and not folder.is_dir():
            raise Problem(f"{str(folder)!r} is not a folder.")
        try:
            written = write_files(folder, contractors, xlsx=options["xlsx"])
        except OSError as error:
            raise Problem(f"The folder cannot be written: {error}") from error
        rows = [{"file": file, "rows": count} for file, count in written.items()]
        print_rows(self.stdout.write, rows, ("file", "rows"), options["format"], "")
