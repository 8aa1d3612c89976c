"""Damaged fleets: a good set of files, spoiled in every way a spreadsheet can be, and what must hold whatever comes.

Each case is made from its number alone. Damage to cells knows which rows it spoiled, so that the import can be held to
naming every one of them; damage to bytes only knows which file it spoiled. Harmless mess (other encodings, separators,
spellings) must land whole.

``python -m tests.fleet.record.malformed --count 10000`` runs many cases and prints what came of them.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field

from openpyxl import Workbook

TODAY = dt.date(2026, 6, 30)
START = dt.date(2026, 3, 2)


@dataclass
class Row:
    """One row of a file; ``wrong``: the import must name its line."""

    cells: list[str]
    wrong: bool = False
    blank_lines_above: int = 0


@dataclass
class File:
    """A file while it is still a table, and how it is to be written."""

    name: str
    header: list[str]
    rows: list[Row]
    delimiter: str = ","
    encoding: str = "utf-8"
    newline: str = "\n"
    above: str = ""
    xlsx: bool = False
    raw: list[Callable[[random.Random, bytes], bytes]] = field(default_factory=list)
    # The file must be refused, though nobody can say at which line.
    refused: bool = False
    # Bytes were changed at random: it may land or not.
    open: bool = False
    # Rows spoiled beyond the reach of the cells, where lines no longer tell.
    lines_known: bool = True

    def place(self, column: str) -> int:
        return self.header.index(column)

    def render(self, rng: random.Random) -> tuple[str, bytes, list[int]]:
        """File name, bytes, and the lines that must be named."""
        wrong: list[int] = []
        # Of rows alike in every cell one is named: they are one entry.
        seen: set[tuple[str, ...]] = set()
        for row in self.rows:
            row.wrong = row.wrong and tuple(row.cells) not in seen
            seen.add(tuple(row.cells))
        if self.xlsx:
            data = self._workbook(wrong)
        else:
            lines = self.above.count("\n") + 1
            text = io.StringIO()
            text.write(self.above)
            writer = csv.writer(text, delimiter=self.delimiter, lineterminator="\n")
            writer.writerow(self.header)
            for row in self.rows:
                text.write("\n" * row.blank_lines_above)
                lines += row.blank_lines_above + 1
                if row.wrong:
                    wrong.append(lines)
                writer.writerow(row.cells)
                lines += sum(cell.count("\n") for cell in row.cells)
            data = text.getvalue().replace("\n", self.newline).encode(self.encoding, "replace")
        for change in self.raw:
            data = change(rng, data)
        return f"{self.name}.{'xlsx' if self.xlsx else 'csv'}", data, wrong if self.lines_known else []

    def _workbook(self, wrong: list[int]) -> bytes:
        book = Workbook(write_only=True)
        sheet = book.create_sheet()
        sheet.append(self.header)
        for number, row in enumerate(self.rows, start=2):
            if row.wrong:
                wrong.append(number)
            # Control characters cannot stand in a workbook at all.
            sheet.append(["".join(c if c.isprintable() else "?" for c in cell) for cell in row.cells])
        data = io.BytesIO()
        book.save(data)
        return data.getvalue()


Fleet = dict[str, File]


def good_fleet(rng: random.Random) -> Fleet:
    """A small fleet without a fault: three units with some of everything."""
    tags = [f"T-{n}" for n in rng.sample(range(1, 99), 3)]
    crews = ["North", "South"]

    def day(number: int) -> str:
        return (START + dt.timedelta(days=number)).isoformat()

    def table(name: str, header: str, rows: list[list[object]]) -> File:
        return File(name, header.split(","), [Row([str(cell) for cell in row]) for row in rows])

    units = table(
        "units",
        "unit,crew,maker,model,serial,registered_on,hours_at_registration,guard,retired_on,retired_why",
        [
            [tag, rng.choice(crews), "Ostrel", rng.choice(["Wren", "Heron"]), f"OW{n}", START, 10 * n, "on", "", ""]
            for n, tag in enumerate(tags)
        ],
    )
    units.rows[2].cells[8:] = [day(100), "sold"]
    hours = [
        [tag, day(7 * week + n), 10 * n + 6 * week, "", "", "", "", ""]
        for n, tag in enumerate(tags)
        for week in range(1, 5)
    ]
    hours += [["", "", "", "", "", crew, day(7 * week), 30] for crew in crews for week in range(2)]
    hours.append([tags[0], day(50), "", 6, "", "", "", ""])
    fleet = [
        table("contractors", "contractor,shop,time_zone,season_opens", [["Quarry Hill Grounds", "Alder Street Small "
              "Engine", "America/Chicago", "03-15"]]),
        table("models", "maker,model,price,grease_hours,grease_months", [["Ostrel", "Wren", 329, 40, "none"],
                                                                        ["Ostrel", "Heron", 389, 50, 12]]),
        units,
        table("moves", "unit,date,crew", [[rng.choice(tags), day(20 + n), rng.choice(crews)] for n in range(3)]),
        table("hours", "unit,date,meter_hours,hours_run,litres,crew,week_of,crew_hours", hours),
        table("guard", "unit,date,guard,line,safety,seen_by", [
            [tag, day(3 * n + 5), rng.choice(["on", "off", "damaged"]), "long", "ok", "crew"]
            for tag in tags for n in range(2)
        ]),
        table("services", "unit,date,hours,task,as_found,done,minutes,parts_cost,warranty", [
            [tag, day(40), "", "grease", "ok", "serviced", 10, "2.50", "no"] for tag in tags
        ]),
        table("failures", "unit,date,hours,component,what,cause,found,parts_cost", [
            [tag, day(45), "", "gearbox", "grinds – señor's note", "wear", "in_use", "1234.50"] for tag in tags
        ]),
    ]  # fmt: skip
    return {file.name: file for file in fleet}


Damage = Callable[[random.Random, Fleet], None]
HARMLESS: dict[str, Damage] = {}
HARMFUL: dict[str, Damage] = {}
ENTRY_FILES = ("moves", "hours", "guard", "services", "failures")


def harmless(damage: Damage) -> Damage:
    HARMLESS[damage.__name__] = damage
    return damage


def harmful(damage: Damage) -> Damage:
    HARMFUL[damage.__name__] = damage
    return damage


@dataclass
class Case:
    """One damaged set of files and what is known of it."""

    number: int
    kinds: tuple[str, ...]
    fleet: Fleet
    files: dict[str, bytes]
    wrong: dict[str, list[int]]

    @property
    def must_land(self) -> bool:
        return all(kind in HARMLESS for kind in self.kinds)


def make_case(number: int) -> Case:
    """The case of this number: some harmless mess, and in three of five cases one or two kinds of real damage."""
    # Loading them registers the kinds of damage, cells before files.
    from . import malformed_cells, malformed_files  # noqa: F401

    rng = random.Random(f"malformed {number}")
    fleet = good_fleet(rng)
    kinds = rng.sample(sorted(HARMLESS), rng.choice((0, 1, 1, 2, 3)))
    if rng.random() < 0.6:
        kinds += rng.sample(sorted(HARMFUL), rng.choice((1, 1, 2)))
    # In the order they are written down: mess, then cells, then whole files.
    for kind, damage in {**HARMLESS, **HARMFUL}.items():
        if kind in kinds:
            damage(rng, fleet)
    files: dict[str, bytes] = {}
    wrong: dict[str, list[int]] = {}
    for file in fleet.values():
        name, data, lines = file.render(rng)
        files[name] = data
        wrong[name] = lines
    return Case(number, tuple(kinds), fleet, files, wrong)


def main() -> None:
    import argparse
    import os

    parser = argparse.ArgumentParser(description="Imports damaged fleets and checks what must hold.")
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args()
    os.environ["DATABASE_URL"] = "sqlite://:memory:"
    os.environ.setdefault("SECRET_KEY", "for this run only")
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    import django

    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    # Under its own name: run as a program this module would otherwise be there twice, with two lists of damage.
    from tests.fleet.record.malformed import HARMFUL, HARMLESS
    from tests.fleet.record.malformed_check import run_cases

    outcome = run_cases(options.first, options.count)
    print(outcome.table())
    missing = (HARMLESS.keys() | HARMFUL.keys()) - outcome.kinds.keys()
    if options.count >= 500 and missing:
        print("kinds of damage that did not occur:", ", ".join(sorted(missing)))
    if outcome.failures or outcome.whole < 0.3 * outcome.cases or (options.count >= 500 and missing):
        raise SystemExit(1)


def choose(rng: random.Random, fleet: Fleet, *names: str) -> File:
    """A file, of these or of any kind."""
    return fleet[rng.choice(names or tuple(fleet))]


def tally(kinds: Counter[str]) -> str:
    return "\n".join(f"  {kind:40} {count}" for kind, count in sorted(kinds.items()))


if __name__ == "__main__":
    main()
