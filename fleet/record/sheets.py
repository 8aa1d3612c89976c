"""Bytes of a spreadsheet -> its header and its rows as text, each with the line number a text editor shows.

Nothing here knows what the columns mean. Whatever is handed in, the answer is a :class:`Sheet`: what could not be
read is listed in its ``faults`` and never raises. Cells of both kinds of file come out as text, so that one set of
parsers serves both: a workbook's dates as ISO dates, its numbers with a decimal point, its ticks as yes and no.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from django.utils.translation import gettext as _

MAX_BYTES = 64 * 1024 * 1024
MAX_ROWS = 500_000
MAX_COLUMNS = 300
MAX_CELL = 20_000
MAX_FAULTS = 1_000

COMMA, SEMICOLON, TAB = ",", ";", "\t"

_ZIP = b"PK\x03\x04"
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
_SEPARATOR_LINE = re.compile(r'^"?sep=(.)"?\r?\n?$', re.IGNORECASE)
# What spreadsheets leave around values besides ordinary spaces: no-break and zero-width spaces, stray byte order marks.
_INVISIBLE = re.compile("[\u200b\u200c\u200d\u2060\ufeff]")


@dataclass(frozen=True, slots=True)
class Fault:
    """A place in a file that could not be read, with a sentence saying what to do."""

    line: int
    column: str
    value: str
    reason: str


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a file: where it stands, and its cells, as many as the header has."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """A file as read: header names cleaned of stray spaces, rows, and whatever could not be read."""

    name: str
    header: tuple[str, ...] = ()
    lines: tuple[Line, ...] = ()
    faults: tuple[Fault, ...] = ()
    decimal_comma: bool = False


@dataclass
class Gathering:
    """Collects rows of one file while it is being read; both readers share its rules."""

    name: str
    decimal_comma: bool = False
    header: tuple[str, ...] = ()
    lines: list[Line] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    short_rows: int = 0
    # In a workbook cells cannot spill over: what stands beside the named columns is a column without a name.
    workbook: bool = False
    width: int = 0

    def fault(self, line: int, reason: str, *, column: str = "", value: str = "") -> None:
        if len(self.faults) < MAX_FAULTS:
            self.faults.append(Fault(line, column, value[:200], reason))

    def take(self, number: int, cells: list[str]) -> bool:
        """Take one row, blank ones included; false once the file has grown past what is read."""
        if not any(cells):
            return True
        if self.workbook:
            while not cells[-1]:
                cells.pop()
        if not self.header:
            if len(cells) > MAX_COLUMNS:
                self.fault(number, _("The file has more than %d columns. Send only the columns needed.") % MAX_COLUMNS)
                return False
            self.header = tuple(cells)
            return True
        width = len(self.header)
        if len(cells) < width:
            self.short_rows += 1
            cells = cells + [""] * (width - len(cells))
        elif len(cells) > width and self.workbook:
            cells = cells[:MAX_COLUMNS]
            self.width = max(self.width, len(cells))
        elif len(cells) > width:
            extra = [cell for cell in cells[width:] if cell]
            if extra:
                self.fault(
                    number,
                    _(
                        "This row has more cells than the header. Put quotes around a value that holds the "
                        "separator, such as a number with a thousands comma."
                    ),
                    value=extra[0],
                )
                return True
            cells = cells[:width]
        if max(map(len, cells)) > MAX_CELL:
            place = next(i for i, cell in enumerate(cells) if len(cell) > MAX_CELL)
            self.fault(
                number,
                _("This cell is longer than %d characters. Shorten it.") % MAX_CELL,
                column=self.header[place] if place < width else "",
                value=cells[place],
            )
            return True
        if len(self.lines) >= MAX_ROWS:
            self.fault(number, _("The file has more than %d rows. Split it into several files.") % MAX_ROWS)
            return False
        self.lines.append(Line(number, tuple(cells)))
        return True

    def sheet(self) -> Sheet:
        if not self.header and not self.faults:
            self.fault(1, _("The file is empty. Its first row must name the columns."))
        header, lines = self.header, self.lines
        if header and self.width > len(header):
            header = header + ("",) * (self.width - len(header))
            lines = [Line(at.number, at.cells + ("",) * (self.width - len(at.cells))) for at in lines]
        return Sheet(self.name, header, tuple(lines), tuple(self.faults), self.decimal_comma)


def read_sheet(name: str, data: bytes) -> Sheet:
    """Read a ``.csv`` or ``.xlsx`` file by its content; whatever is wrong with it is listed, nothing raises."""
    gathering = Gathering(name)
    if len(data) > MAX_BYTES:
        limit = MAX_BYTES // (1024 * 1024)
        gathering.fault(1, _("The file is larger than %d MB. Split it into several files.") % limit)
    elif data.startswith(_ZIP):
        from .workbook import read_workbook  # openpyxl is slow to load and most files are text

        gathering.workbook = True
        read_workbook(gathering, data)
    elif data.startswith(_OLD_WORKBOOK):
        gathering.fault(1, _("This is a workbook in an old format. Save it as .xlsx or .csv."))
    elif name.lower().endswith(".xlsx"):
        gathering.fault(1, _("This is not a workbook. Save it again as .xlsx, or give a text file the ending .csv."))
    else:
        _read_text(gathering, data)
    return gathering.sheet()


def clean(cell: str) -> str:
    """A cell without stray spaces: none at either end, one where there were several, no invisible ones."""
    if cell.isascii() and not cell.startswith(" ") and not cell.endswith(" ") and cell.isprintable():
        return cell if "  " not in cell else " ".join(cell.split())
    return " ".join(_INVISIBLE.sub("", cell).split())


def decode(data: bytes) -> str:
    """Text of a file in UTF-8, UTF-16 or, failing both, Windows-1252; :class:`UnicodeDecodeError` where it is none."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return data.decode("utf-32")
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16")
    start = data[:2000]
    # Text in UTF-16 without its mark: every other byte of plain English is zero.
    if len(start) > 3 and start[1::2].count(0) * 2 > len(start) * 0.8:
        return data.decode("utf-16-le")
    if len(start) > 3 and start[0::2].count(0) * 2 > len(start) * 0.8:
        return data.decode("utf-16-be")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252")


def _read_text(gathering: Gathering, data: bytes) -> None:
    try:
        text = decode(data)
    except UnicodeDecodeError:
        gathering.fault(1, _("This is not a text file. Save the spreadsheet as CSV (UTF-8) or as .xlsx."))
        return
    # newline="" keeps the line ends and splits where a text editor does, unlike str.splitlines.
    lines = list(io.StringIO(text, newline=""))
    first = 0
    delimiter = ""
    if lines and (told := _SEPARATOR_LINE.match(lines[0])):
        delimiter, first = told.group(1), 1
    if delimiter not in (COMMA, SEMICOLON, TAB):
        delimiter = _guess_delimiter(lines[first:])
    gathering.decimal_comma = delimiter == SEMICOLON
    for number, cells, height in _records(gathering, lines, first, delimiter):
        if height > 1 and _swallows_rows(lines[number - 1 : number - 1 + height], cells, gathering.header, delimiter):
            _quote_fault(gathering, number, lines[number - 1])
        elif not gathering.take(number, [clean(cell) for cell in cells]):
            return
    _refuse_cut_off_end(gathering, lines, delimiter)


def _guess_delimiter(lines: list[str]) -> str:
    """The separator that the header uses most, outside quotes; a header of one column has none."""
    header = next((line for line in lines if line.strip(' ,;\t\r\n"\ufeff')), "")
    unquoted = re.sub(r'"[^"]*"', "", header)
    return max((COMMA, SEMICOLON, TAB), key=unquoted.count)


def _records(
    gathering: Gathering, lines: list[str], first: int, delimiter: str
) -> Iterator[tuple[int, list[str], int]]:
    """Rows with the line each starts on and how many lines it takes.

    Quotes that do not pair are listed, and reading goes on below them.
    """
    position = first
    while position < len(lines):
        rest = map(lines.__getitem__, range(position, len(lines)))
        reader = csv.reader(rest, delimiter=delimiter, strict=True, skipinitialspace=True)
        start = position
        try:
            for cells in reader:
                end = position + reader.line_num
                yield start + 1, cells, end - start
                start = end
            return
        except csv.Error as error:
            end = max(position + reader.line_num, start + 1)
            mended = _without_spaces_after_quotes(lines[start:end], delimiter)
            if mended is not None:
                yield start + 1, mended, end - start
            else:
                _quote_fault(gathering, start + 1, lines[start])
                # An opening quote that never closes swallows the rest: go on right below it, where rows are whole.
                if end >= len(lines) or "limit" in str(error):
                    end = start + 1
            if len(gathering.faults) >= MAX_FAULTS:
                return
            position = end


def _swallows_rows(lines: list[str], cells: list[str], header: tuple[str, ...], delimiter: str) -> bool:
    """Whether a value over several lines is rows between two stray quotation marks, which must not vanish silently."""
    if len(cells) < len(header):
        return True
    whole_rows = [line.count(delimiter) >= len(header) - 1 for line in lines]
    return len(header) > 2 and (all(whole_rows) or any(whole_rows[1:-1]))


def _without_spaces_after_quotes(lines: list[str], delimiter: str) -> list[str] | None:
    """The row's cells if stray spaces behind closing quotes were all that was wrong with it."""
    text = re.sub(rf'"[ \u00a0]+(?={re.escape(delimiter)}|\r|\n|$)', '"', "".join(lines))
    try:
        rows = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True))
    except csv.Error:
        return None
    return rows[0] if len(rows) == 1 else None


def _quote_fault(gathering: Gathering, line: int, text: str) -> None:
    gathering.fault(
        line,
        _("The quotation marks on this line do not pair. Write a quotation mark inside a value twice."),
        value=text.strip(),
    )


def _refuse_cut_off_end(gathering: Gathering, lines: list[str], delimiter: str) -> None:
    """Refuse a last row that stops short of the header without a line end, when no other row does: a cut-off file."""
    if not gathering.lines or gathering.short_rows != 1 or lines[-1].endswith(("\n", "\r")):
        return
    last = gathering.lines[-1]
    if last.number == len(lines) and lines[-1].count(delimiter) < len(gathering.header) - 1:
        gathering.lines.pop()
        gathering.fault(
            last.number,
            _("The file ends in the middle of this row. Save it again and send the whole file."),
            value=lines[-1].strip(),
        )
