"""All files of an export as the sheets of one workbook."""

from __future__ import annotations

import io
from collections.abc import Iterable

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell

from fleet.models import Contractor
from fleet.record.exporting import export_files


def one_workbook(contractors: Iterable[Contractor]) -> bytes:
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
                    cell = WriteOnlyCell(sheet, value=value)
                    cell.data_type = "s"
                    cells.append(cell)
                else:
                    cells.append(value)
            sheet.append(cells)
        source.close()
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
