"""Reads the first sheet with anything on it of an .xlsx workbook into text cells.

A workbook is a zip of XML that strangers upload: its unpacked size is bounded before it is opened, document type
definitions are refused, and rows are streamed. Only stored results of formulas are read, nothing is computed.
"""

from __future__ import annotations

import datetime as dt
import io
import re
import warnings
import zipfile
from typing import Any

from django.utils.translation import gettext as _
from openpyxl import load_workbook

from .sheets import MAX_ROWS, Gathering, clean
from .workbook_weight import Definitions, TooMuch, Weight

MAX_UNPACKED = 256 * 1024 * 1024
MAX_PARTS = 2_000
_ERROR_VALUE = re.compile(r"^#(?:N/A|REF!|VALUE!|NAME\?|DIV/0!|NUM!|NULL!|SPILL!|CALC!)$")
_ONLY_ZEROS = re.compile(r"^0+$")


def read_workbook(gathering: Gathering, data: bytes) -> None:
    """Add the workbook's rows, or the reason why it cannot be read, to ``gathering``."""
    try:
        reason, formulas = _examine(data)
        if not reason:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")  # openpyxl warns of styles and print settings nobody needs here
                _read_rows(gathering, data, formulas)
    except Exception:
        # openpyxl meets damage with whatever the broken part provoked: key, value, type, zip and XML errors alike.
        gathering.lines.clear()
        reason = _("This workbook is damaged and cannot be read. Open it, save it again as .xlsx, and send that.")
    if reason:
        gathering.fault(1, reason)


def _examine(data: bytes) -> tuple[str, bool]:
    """Why the archive must not be opened, if so, and whether any sheet holds formulas."""
    formulas, weight = False, Weight()
    too_much = _("This workbook unpacks to more than can be read. Split it, or send it as .csv.")
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        parts = archive.infolist()
        if len(parts) > MAX_PARTS or sum(part.file_size for part in parts) > MAX_UNPACKED:
            return too_much, False
        names = {part.filename.lower() for part in parts}
        if "xl/workbook.xml" not in names:
            return _("This is not an .xlsx workbook. Save the spreadsheet as .xlsx or .csv."), False
        for part in parts:
            with archive.open(part) as stream:
                try:
                    weight.add(stream)
                except Definitions:
                    return _("This workbook holds definitions that are not read. Save it again as .xlsx."), False
                except TooMuch:
                    return too_much, False
            if formulas or not part.filename.lower().startswith("xl/worksheets/"):
                continue
            with archive.open(part) as stream:
                start, tail = stream.read(4096), b""
                while start and not formulas:
                    formulas = re.search(rb"<f[ />]", tail + start) is not None
                    tail = start[-4:]
                    start = stream.read(1 << 20)
    return "", formulas


def _read_rows(gathering: Gathering, data: bytes, formulas: bool) -> None:
    values = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
    written = load_workbook(io.BytesIO(data), read_only=True, data_only=False) if formulas else None
    for sheet in values.worksheets:
        sheet.reset_dimensions()  # some programs declare a size that is not so
        formula_rows = None
        if written is not None:
            twin = written[sheet.title]
            twin.reset_dimensions()
            formula_rows = twin.iter_rows()
        for number, cells in enumerate(sheet.iter_rows(), start=1):
            shadow = next(formula_rows, ()) if formula_rows is not None else ()
            row: list[str] = []
            for place, cell in enumerate(cells):
                if cell.value is None:
                    row.append("")
                    if place < len(shadow) and shadow[place].data_type == "f":
                        _formula_fault(gathering, number, place)
                else:
                    row.append(_text(cell))
                    if cell.data_type == "e" or _ERROR_VALUE.match(row[-1]):
                        _error_fault(gathering, number, place, row[-1])
            if not gathering.take(number, row):
                return
            if number > MAX_ROWS * 2:
                gathering.fault(number, _("The sheet is too long. Delete the empty rows below the last entry."))
                return
        if gathering.header:
            return


def _column_name(gathering: Gathering, place: int) -> str:
    return gathering.header[place] if place < len(gathering.header) else ""


def _formula_fault(gathering: Gathering, line: int, place: int) -> None:
    gathering.fault(
        line,
        _("This cell holds a formula without a stored result. Open the workbook, save it, and send it again."),
        column=_column_name(gathering, place),
    )


def _error_fault(gathering: Gathering, line: int, place: int, value: str) -> None:
    gathering.fault(
        line,
        _("This cell shows a spreadsheet error. Mend the formula or type the value."),
        column=_column_name(gathering, place),
        value=value,
    )


def _text(cell: Any) -> str:
    """A workbook's typed value in the one spelling that the column parsers read in every file."""
    value = cell.value
    if isinstance(value, str):
        return clean(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        text = str(value)
        # Tags kept as numbers but shown with leading zeros (format 000) are read as shown.
        shown = cell.number_format
        return text.zfill(len(shown)) if value >= 0 and shown and _ONLY_ZEROS.match(shown) else text
    if isinstance(value, float):
        if value != value or value in (float("inf"), float("-inf")):
            return str(value)
        # Twelve digits hide the binary tail of 0.1 + 0.2 and keep every figure a person typed.
        text = format(value, ".12g")
        return text if "e" not in text else format(value, ".6f").rstrip("0").rstrip(".")
    if isinstance(value, dt.datetime):
        return value.date().isoformat() if value.time() == dt.time() else value.isoformat(sep=" ", timespec="seconds")
    return clean(str(value))
