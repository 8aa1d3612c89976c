"""A workbook with a document type definition is refused before anything in it is expanded, however it is hidden."""

from __future__ import annotations

import io
import zipfile

import pytest
from openpyxl import Workbook

from fleet.record.sheets import read_sheet

BOMB = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;">]>'


def bare() -> bytes:
    made = Workbook()
    made.active.append(["unit", "date", "hours_run"])
    made.active.append(["T1", "2025-05-01", 3])
    data = io.BytesIO()
    made.save(data)
    return data.getvalue()


def rebuilt(change, rename=None) -> bytes:
    """The workbook with its sheet's XML changed, and lying under another name where one is given."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(bare())) as old, zipfile.ZipFile(out, "w") as new:
        for part in old.namelist():
            data = old.read(part)
            if part == "xl/worksheets/sheet1.xml":
                data = change(data.decode())
            elif rename:
                data = data.replace(b"sheet1.xml", rename.encode())
            new.writestr(part.replace("sheet1.xml", rename) if rename else part, data)
    return out.getvalue()


def with_bomb(xml: str, before: str = "") -> str:
    at = xml.index("<worksheet")
    return xml[:at] + before + BOMB + xml[at:]


@pytest.mark.parametrize(
    ("change", "rename"),
    [
        (lambda xml: with_bomb(xml).encode(), None),
        (lambda xml: with_bomb(xml, f"<!--{'x' * 9_000}-->").encode(), None),
        (lambda xml: ('<?xml version="1.0" encoding="utf-16"?>' + with_bomb(xml)).encode("utf-16"), None),
        (lambda xml: with_bomb(xml).encode(), "sheet1.dat"),
    ],
    ids=["plain", "behind a long comment", "in another encoding", "under another name"],
)
def test_definitions_are_refused(change, rename):
    sheet = read_sheet("hours.xlsx", rebuilt(change, rename))
    assert not sheet.lines
    assert "definitions that are not read" in sheet.faults[0].reason


def test_the_same_workbook_without_them_is_read():
    assert len(read_sheet("hours.xlsx", rebuilt(str.encode)).lines) == 1
