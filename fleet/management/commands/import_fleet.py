"""Import a folder of spreadsheets."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import BAD_INPUT, NOTHING_DONE, PortalCommand, Problem, add_format, print_rows
from fleet.record.columns import FILES
from fleet.record.import_plan import ImportPlan
from fleet.record.importing import files_in, import_files, plan_import

BAD_COLUMNS = ("file", "line", "column", "value", "reason")


class Command(PortalCommand):
    help = (
        "Reads contractors, models, units, moves, hours, guard, services and failures files (.csv or .xlsx) from a "
        "folder. Each file lands whole or not at all; bad rows are listed; importing twice adds nothing."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("folder", metavar="DIR", type=Path)
        parser.add_argument("--contractor", metavar="NAME", default="", help="whose rows without a contractor are")
        parser.add_argument("--shop", metavar="NAME", default="", help="who looks after new contractors")
        parser.add_argument("--dry-run", action="store_true", help="say what would be added, and write nothing")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        folder: Path = options["folder"]
        if not folder.is_dir():
            raise Problem(f"There is no folder {str(folder)!r}.")
        try:
            files = files_in(folder)
        except OSError as error:
            raise Problem(f"The folder cannot be read: {error}") from error
        if not files:
            raise Problem(f"The folder holds none of these files, as .csv or .xlsx: {', '.join(FILES)}.")
        if options["dry_run"]:
            report = plan_import(files, contractor=options["contractor"], shop=options["shop"])
        else:
            report = import_files(
                files, contractor=options["contractor"], shop=options["shop"], progress=self._progress()
            )
        self._print(report, options["format"], options["dry_run"])
        if report.bad:
            sys.exit(BAD_INPUT)
        if not any(report.added.values()):
            sys.exit(NOTHING_DONE)

    def _progress(self) -> Any:
        """Shows the file and the share written on standard error, where a person is watching."""
        if not sys.stderr.isatty():
            return None

        def show(done: int, total: int, file: str) -> None:
            sys.stderr.write(f"\r{file}: {100 * done // max(total, 1)} % of all rows   ")
            if done >= total:
                sys.stderr.write("\n")

        return show

    def _print(self, report: ImportPlan, form: str, dry_run: bool) -> None:
        bad = [cell.as_dict() for cell in report.bad]
        if form == "json":
            self.stdout.write(json.dumps(report.as_dict(), indent=1, ensure_ascii=False))
            return
        if form == "csv":
            print_rows(self.stdout.write, bad, BAD_COLUMNS, "csv", "")
            return
        by_file: dict[str, int] = {}
        for cell in bad:
            by_file[cell["file"]] = by_file.get(cell["file"], 0) + 1
        rows = [
            {
                "file": file,
                "would be added" if dry_run else "added": added,
                "already there": report.repeated[file],
                "bad": by_file.get(file, 0),
                "columns not read": ", ".join(report.ignored_columns[file]),
            }
            for file, added in report.added.items()
        ]
        print_rows(self.stdout.write, rows, list(rows[0]), "table", "")
        if bad:
            self.stdout.write("")
            print_rows(self.stdout.write, bad, BAD_COLUMNS, "table", "")
