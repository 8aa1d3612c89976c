"""Options that commands share, read the same way everywhere: a name or date that is not there ends with code 2."""

from __future__ import annotations

import argparse
import csv
import datetime as dt
import io
import json
import sys
from collections.abc import Callable, Sequence
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.models import Contractor, Crew
from fleet.models.tenancy import all_tenants

BAD_INPUT = 2
NOTHING_DONE = 1


class Problem(CommandError):
    """Bad input: says what is wrong and what to do, exit code 2."""

    def __init__(self, message: str) -> None:
        super().__init__(message, returncode=BAD_INPUT)


class PortalCommand(BaseCommand):
    """A command that works over all tenants, as whoever runs the machine may; prints a table, CSV or JSON."""

    requires_migrations_checks = True

    def execute(self, *args: Any, **options: Any) -> str | None:
        with all_tenants():
            return super().execute(*args, **options)

    def create_parser(self, prog_name: str, subcommand: str, **kwargs: Any) -> CommandParser:
        parser = super().create_parser(prog_name, subcommand, **kwargs)
        parser.formatter_class = argparse.HelpFormatter
        return parser


def add_format(parser: CommandParser) -> None:
    """``--format table|csv|json``."""
    parser.add_argument("--format", choices=["table", "csv", "json"], default="table")


def date_option(text: str | None, name: str) -> dt.date | None:
    """An ISO or US date given as an option."""
    if text is None:
        return None
    for pattern in ("%Y-%m-%d", "%m/%d/%Y"):
        try:
            return dt.datetime.strptime(text.strip(), pattern).date()
        except ValueError:
            continue
    raise Problem(f"{name}: {text!r} is not a date. Write it as 2027-04-26.")


def contractors_option(name: str | None) -> list[Contractor]:
    """The named contractor, or all."""
    if name is None:
        return list(Contractor.objects.order_by("name"))
    wanted = " ".join(name.split()).casefold()
    found = [c for c in Contractor.objects.order_by("name") if c.name.casefold() == wanted]
    if not found:
        known = ", ".join(Contractor.objects.order_by("name").values_list("name", flat=True)[:10])
        raise Problem(f"There is no contractor {name!r}. Known: {known or 'none yet'}.")
    return found


def crew_option(name: str | None, contractors: Sequence[Contractor]) -> Crew | None:
    """The named crew of these contractors; ambiguous names ask for ``--contractor``."""
    if name is None:
        return None
    wanted = " ".join(name.split()).casefold()
    found = [c for c in Crew.objects.filter(contractor__in=contractors) if c.name.casefold() == wanted]
    if not found:
        raise Problem(f"There is no crew {name!r} there.")
    if len(found) > 1:
        raise Problem(f"More than one contractor has a crew {name!r}. Add --contractor NAME.")
    return found[0]


def print_rows(
    write: Callable[[str], Any], rows: Sequence[dict[str, Any]], columns: Sequence[str], form: str, empty: str
) -> None:
    """Rows as a table, CSV or JSON on standard output."""
    if form == "json":
        write(json.dumps(rows, indent=1, default=str))
    elif form == "csv":
        text = io.StringIO()
        writer = csv.DictWriter(text, columns, extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows({k: _flat(v) for k, v in row.items()} for row in rows)
        write(text.getvalue().rstrip("\n"))
    elif not rows:
        write(empty)
    else:
        cells = [[str(c) for c in columns], *([_flat(row.get(c)) for c in columns] for row in rows)]
        widths = [max(len(line[i]) for line in cells) for i in range(len(columns))]
        for line in cells:
            write("  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip())


def _flat(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return " ".join(str(v) for v in value)
    if isinstance(value, float):
        # Shares need a second place: 0.02 is not nothing.
        return f"{value:.1f}" if value == 0 or abs(value) >= 1 else f"{value:.2f}"
    return str(value)


def progress_line(label: str) -> Callable[[int, int], None] | None:
    """Writes progress on standard error where a person is watching."""
    if not sys.stderr.isatty():
        return None

    def show(done: int, total: int) -> None:
        sys.stderr.write(f"\r{label}: {100 * done // max(total, 1)} %")
        if done >= total:
            sys.stderr.write("\n")

    return show
