"""Workbooks: typed cells come out as text, damage and bombs are refused before they cost anything."""

import datetime as dt
import io
import zipfile

import pytest
from openpyxl import Workbook

from fleet.record import workbook
from fleet.record.sheets import read_sheet


def book(*sheets):
    made = Workbook()
    made.remove(made.active)
    for number, content in enumerate(sheets):
        sheet = made.create_sheet(f"s{number}")
        for row in content:
            sheet.append(row)
    data = io.BytesIO()
    made.save(data)
    return data.getvalue()


def read(data, name="hours.xlsx"):
    return read_sheet(name, data)


def test_typed_cells_become_text():
    sheet = read(
        book(
            [
                ["unit", "date", "hours", "flag", "what"],
                ["T1", dt.date(2025, 5, 1), 12.5, True, "  two  words "],
                [101, dt.datetime(2025, 5, 1, 14, 30), 0.1 + 0.2, False, None],
                ["T3", "5/1/2025", 1e-7, None, 12.0],
            ]
        )
    )
    assert not sheet.faults
    assert [line.cells for line in sheet.lines] == [
        ("T1", "2025-05-01", "12.5", "yes", "two words"),
        ("101", "2025-05-01 14:30:00", "0.3", "no", ""),
        ("T3", "5/1/2025", "0", "", "12"),
    ]


def test_lines_are_the_sheets_rows():
    sheet = read(book([[], ["unit"], [], ["T1"], [None], ["T2"]]))
    assert [line.number for line in sheet.lines] == [4, 6]


def test_the_first_sheet_with_anything_on_it_is_read():
    assert read(book([], [["unit"], ["T1"]], [["other"]])).header == ("unit",)


def test_what_stands_beside_the_named_columns_is_a_column_without_a_name():
    sheet = read(book([["unit", "hours"], ["T1", 5], ["T2", 6, None, "see note"]]))
    assert sheet.header == ("unit", "hours", "", "")
    assert [line.cells for line in sheet.lines] == [("T1", "5", "", ""), ("T2", "6", "", "see note")]


def test_tags_shown_with_leading_zeros_keep_them():
    made = Workbook()
    made.active.append(["unit"])
    made.active.append([7])
    made.active["A2"].number_format = "000"
    data = io.BytesIO()
    made.save(data)
    assert read(data.getvalue()).lines[0].cells == ("007",)


def test_a_formula_without_a_stored_result_is_refused():
    ((fault),) = read(book([["unit", "hours"], ["T1", "=1+1"]])).faults
    assert (fault.line, fault.column) == (2, "hours")
    assert "formula" in fault.reason


def test_an_error_value_is_refused():
    ((fault),) = read(book([["unit", "hours"], ["T1", "#DIV/0!"]])).faults
    assert (fault.line, fault.column, fault.value) == (2, "hours", "#DIV/0!")


def test_a_workbook_under_the_name_of_a_text_file_is_read_by_its_content():
    assert read(book([["unit"], ["T1"]]), "units.csv").lines[0].cells == ("T1",)


def repack(data, change):
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for part in old.infolist():
            content = change(part.filename, old.read(part))
            if content is not None:
                new.writestr(part.filename, content)
    return out.getvalue()


GOOD = book([["unit", "hours"], ["T1", 5]])


@pytest.mark.parametrize(
    "data",
    [
        GOOD[: len(GOOD) // 2],
        GOOD[:200] + bytes(100) + GOOD[300:],
        repack(GOOD, lambda name, content: None if "sheet1" in name else content),
        repack(GOOD, lambda name, content: content[: len(content) // 2] if "sheet" in name else content),
        repack(GOOD, lambda name, content: None if name == "xl/workbook.xml" else content),
        repack(GOOD, lambda name, content: content.replace(b'r="A2"', b'r="ZZZZZ2"')),
    ],
    ids=["cut off", "overwritten", "sheet gone", "sheet cut off", "no workbook", "impossible cell"],
)
def test_damaged_workbooks(data):
    sheet = read(data)
    assert sheet.faults
    assert not sheet.lines


def test_a_bomb_is_refused_before_it_is_unpacked(monkeypatch):
    monkeypatch.setattr(workbook, "MAX_UNPACKED", 100_000)
    bomb = repack(GOOD, lambda name, content: content + b" " * 2_000_000 if "sheet1" in name else content)
    assert len(bomb) < 20_000
    ((fault),) = read(bomb).faults
    assert "unpacks" in fault.reason


def test_document_types_are_refused():
    def change(name, content):
        if "sheet1" not in name:
            return content
        entity = b'<!DOCTYPE x [<!ENTITY a "aaaa">]>'
        return content.replace(b"<worksheet", entity + b"<worksheet", 1)

    ((fault),) = read(repack(GOOD, change)).faults
    assert "definitions" in fault.reason


def test_rows_numbered_into_the_sky_end_somewhere(monkeypatch):
    monkeypatch.setattr(workbook, "MAX_ROWS", 1000)
    sheet = read(repack(GOOD, lambda name, content: content.replace(b'<row r="2"', b'<row r="999999999"')))
    assert "too long" in sheet.faults[-1].reason
