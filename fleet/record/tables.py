"""From a sheet to typed rows: which column is which, each cell parsed, everything that cannot be taken listed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

from django.utils.translation import gettext as _

from .cells import BadValue, MakeParser
from .sheets import Line, Sheet
from .words import is_no_answer, normalise

Row = TypeVar("Row")


@dataclass(frozen=True, slots=True)
class BadCell:
    """Why a row, and with it the file, was not taken. ``reason`` says what to do."""

    file: str
    line: int
    column: str
    value: str
    reason: str

    def as_dict(self) -> dict[str, Any]:
        return {
            "file": self.file,
            "line": self.line,
            "column": self.column,
            "value": self.value,
            "reason": self.reason,
        }


@dataclass(frozen=True)
class Column:
    """One column of a file: its name, the row's field it fills, and how its cells are read.

    ``needed``: the file must have it and no cell may be blank. ``others``: further names it is taken under where the
    file has no column of its own name. ``rare``: written on export only where some row fills it.
    """

    name: str
    make_parser: MakeParser
    needed: bool = False
    text: bool = False
    others: tuple[str, ...] = ()
    rare: bool = False


@dataclass(frozen=True)
class FileKind(Generic[Row]):
    """One of the files of the contract: its columns and the dataclass its rows become.

    ``missing`` may name a further column that is missing, given the names present; ``check`` may refuse a whole row
    by returning (column, reason).
    """

    name: str
    columns: tuple[Column, ...]
    build: Callable[..., Row]
    missing: Callable[[frozenset[str]], str] = lambda names: ""
    check: Callable[[Row], tuple[str, str] | None] = lambda row: None


@dataclass
class Table(Generic[Row]):
    """A file's rows as typed values, and what was wrong with the rest."""

    file: str
    kind: FileKind[Row]
    rows: list[Row] = field(default_factory=list)
    bad: list[BadCell] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)
    places: dict[str, int] = field(default_factory=dict)
    # Lines that became no row.
    refused: list[Line] = field(default_factory=list)

    def refused_cells(self, column: str) -> list[str]:
        """What the lines that became no row have in a column."""
        place = self.places.get(column)
        return [] if place is None else [line.cells[place] for line in self.refused if line.cells[place]]

    def cell(self, row: Any, column: str) -> str:
        """A cell as the file has it, for reporting."""
        place = self.places.get(column)
        return row.source.cells[place] if place is not None else ""

    def refuse(self, row: Any, column: str, reason: str) -> None:
        self.bad.append(BadCell(self.file, row.source.number, column, self.cell(row, column), reason))


def read_table(kind: FileKind[Row], sheet: Sheet) -> Table[Row]:
    """Read a sheet as one of the contract's files. Nothing raises: bad cells are listed in the table."""
    table = Table(sheet.name, kind)
    _place_columns(table, sheet)
    ignored_names = {name for place, name in enumerate(sheet.header) if place not in table.places.values()}
    for fault in sheet.faults:
        if fault.column not in ignored_names or not fault.column:
            table.bad.append(BadCell(sheet.name, fault.line, fault.column, fault.value, fault.reason))
    if not sheet.header:
        return table
    absent = [column.name for column in kind.columns if column.needed and column.name not in table.places]
    absent = absent or [name for name in (kind.missing(frozenset(table.places)),) if name]
    for name in absent:
        reason = _("The column %s is missing. The first row must name it.") % name
        table.bad.append(BadCell(sheet.name, 1, name, "", reason))
    if not absent and not any(bad.line == 1 for bad in table.bad):
        _read_rows(table, sheet)
    return table


def _place_columns(table: Table[Row], sheet: Sheet) -> None:
    """Find each column under its own name, else under another one; list doubles, and name the rest as ignored."""
    at: dict[str, list[int]] = {}
    for place, name in enumerate(sheet.header):
        at.setdefault(normalise(name), []).append(place)
    for column in table.kind.columns:
        spellings = [column.name, *column.others]
        found = next((at[normalise(spelling)] for spelling in spellings if normalise(spelling) in at), [])
        if len(found) > 1:
            reason = _("The column %s appears twice. Keep one of them.") % column.name
            table.bad.append(BadCell(sheet.name, 1, column.name, sheet.header[found[1]], reason))
        if found and found[0] not in table.places.values():
            table.places[column.name] = found[0]
    used = set(table.places.values())
    for place, name in enumerate(sheet.header):
        if place not in used and (name or any(line.cells[place] for line in sheet.lines)):
            table.ignored.append(name or _("(column %d, without a name)") % (place + 1))


def _read_rows(table: Table[Row], sheet: Sheet) -> None:
    kind = table.kind
    readers: list[tuple[Column, int, Callable[[str], Any], dict[str, Any]]] = [
        # Files repeat themselves: dates, tags and words are parsed once a spelling.
        (column, table.places[column.name], column.make_parser(sheet.decimal_comma), {})
        for column in kind.columns
        if column.name in table.places
    ]
    absent = {column.name: "" if column.text else None for column in kind.columns if column.name not in table.places}
    used = set(table.places.values())
    spare = [place for place in range(len(sheet.header)) if place not in used]
    for line in sheet.lines:
        values: dict[str, Any] = dict(absent)
        whole = True
        for column, place, parse, known in readers:
            text = line.cells[place]
            try:
                values[column.name] = known[text]
                continue
            except KeyError:
                pass
            reason, value = _read_cell(column, text, parse)
            if reason:
                whole = False
                table.bad.append(BadCell(table.file, line.number, column.name, text, reason))
            else:
                values[column.name] = value
                if len(known) < 100_000:
                    known[text] = value
        if whole:
            _build(table, line, values, spare)
        else:
            table.refused.append(line)


def _read_cell(column: Column, text: str, parse: Callable[[str], Any]) -> tuple[str, Any]:
    """The reason why a cell cannot be taken, or nothing, and its value."""
    blank = not text if column.text else is_no_answer(text)
    if blank:
        if column.needed:
            return _("This cell is blank. Fill it in."), None
        return "", "" if column.text else None
    try:
        return "", parse(text)
    except BadValue as error:
        return str(error), None


def _build(table: Table[Row], line: Line, values: dict[str, Any], spare: Sequence[int]) -> None:
    row = table.kind.build(source=line, ignored=tuple(line.cells[place] for place in spare), values=values)
    refused = table.kind.check(row)
    if refused:
        table.refuse(row, *refused)
        table.refused.append(line)
    else:
        table.rows.append(row)
