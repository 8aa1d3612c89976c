"""CSV as a download that a spreadsheet opens without running anything that a person typed."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.http import HttpResponse
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

# A cell that begins so is taken for a formula; an apostrophe before it makes it text (and is taken off on import).
_FORMULA = re.compile(r"^'*[=+\-@\t\r]")


def safe_cell(value: Any) -> str:
    """A value as text that no spreadsheet takes for a formula; figures stay figures."""
    if value is None:
        return ""
    if isinstance(value, list | tuple):
        return safe_cell(" ".join(str(part) for part in value))
    if isinstance(value, int | float):
        return str(value)
    text = str(value)
    return f"'{text}" if _FORMULA.match(text) else text


def csv_download(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> HttpResponse:
    """A file of these columns; the mark at its start tells spreadsheets that it is UTF-8."""
    response = HttpResponse(content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    response.write("\ufeff")
    writer = csv.writer(response, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([safe_cell(row.get(column)) for column in columns])
    return response


def xlsx_download(name: str, sheet: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> HttpResponse:
    """The same as a workbook of one sheet; text is written as text, whatever it begins with."""
    book = Workbook(write_only=True)
    page = book.create_sheet(sheet[:31])
    page.append(list(columns))
    for row in rows:
        page.append([_cell(page, row.get(column)) for column in columns])
    content = io.BytesIO()
    book.save(content)
    response = HttpResponse(content.getvalue(), content_type=WORKBOOK)
    response["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _cell(page: Any, value: Any) -> Any:
    if value is None or isinstance(value, int | float):
        return value
    cell = WriteOnlyCell(page, ILLEGAL_CHARACTERS_RE.sub("", str(value)))
    cell.data_type = "s"
    return cell
