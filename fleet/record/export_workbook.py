"""All files of an export as the sheets of one workbook."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell

from fleet.models import Contractor
from fleet.record.export_papers import HEADER, NAME, notices_done_rows
from fleet.record.exporting import export_files


def _as_text(sheet: Any, value: str) -> Any:
    cell = WriteOnlyCell(sheet, value=value)
    cell.data_type = "s"
    return cell


def one_workbook(contractors: Sequence[Contractor]) -> bytes:
    """A workbook with a sheet for each file; texts stay texts, whatever they begin with."""
    book = Workbook(write_only=True)
    for name, content, _rows in export_files(contractors, xlsx=True):
        sheet = book.create_sheet(name.removesuffix(".xlsx"))
        sheet.freeze_panes = "A2"
        source = load_workbook(io.BytesIO(content), read_only=True)
        for row in source.worksheets[0].iter_rows(values_only=True):
            cells: list[object] = []
            for value in row:
                if isinstance(value, str):
                    cells.append(_as_text(sheet, value))
                else:
                    cells.append(value)
            sheet.append(cells)
        source.close()
    if rows := notices_done_rows(contractors):
        sheet = book.create_sheet(NAME)
        sheet.freeze_panes = "A2"
        for texts in (HEADER, *rows):
            sheet.append([_as_text(sheet, value) for value in texts])
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
