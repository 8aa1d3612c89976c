"""Text files: encodings, separators, line numbers, quotes, and every way a file can be broken."""

import pytest

from fleet.record import sheets
from fleet.record.sheets import read_sheet


def rows(data, name="hours.csv"):
    sheet = read_sheet(name, data if isinstance(data, bytes) else data.encode())
    assert not sheet.faults, sheet.faults
    return sheet.header, [(line.number, *line.cells) for line in sheet.lines]


PLAIN = "unit,what\nT1,Größe ½\n"


@pytest.mark.parametrize(
    "data",
    [
        PLAIN.encode(),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.encode("cp1252"),
        PLAIN.encode("utf-16-le"),
        b"\xfe\xff" + PLAIN.encode("utf-16-be"),
        PLAIN.encode("utf-32"),
    ],
    ids=["utf-8", "utf-8 with mark", "utf-16", "windows-1252", "utf-16 without mark", "utf-16 big", "utf-32"],
)
def test_encodings(data):
    assert rows(data) == (("unit", "what"), [(2, "T1", "Größe ½")])


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_separators(separator):
    sheet = read_sheet("units.csv", f"unit{separator}crew\nT1{separator}North\n".encode())
    assert sheet.header == ("unit", "crew")
    assert sheet.lines[0].cells == ("T1", "North")
    assert sheet.decimal_comma is (separator == ";")


def test_a_line_that_names_the_separator():
    assert rows("sep=;\nunit;crew\nT1;a,b\n") == (("unit", "crew"), [(3, "T1", "a,b")])


def test_lines_are_numbered_as_a_text_editor_does():
    text = '\r\n\nunit,what\r\nT1,"first\nsecond"\n\n,,\nT2,x\rT3,y\x0bz\n'
    assert rows(text)[1] == [(4, "T1", "first second"), (8, "T2", "x"), (9, "T3", "y z")]


def test_stray_spaces():
    assert rows('  unit , what \n T1\u00a0,  two   words\u200b\nT2, "a, b" \n') == (
        ("unit", "what"),
        [(2, "T1", "two words"), (3, "T2", "a, b")],
    )


def test_short_rows_are_filled_and_blank_cells_beyond_the_header_dropped():
    assert rows("unit,what,done\nT1\nT2,x,,,,\n") == (
        ("unit", "what", "done"),
        [(2, "T1", "", ""), (3, "T2", "x", "")],
    )


def faults(data, name="hours.csv"):
    return [(f.line, f.reason) for f in read_sheet(name, data if isinstance(data, bytes) else data.encode()).faults]


def test_long_rows_are_refused():
    ((line, reason),) = faults("unit,hours\nT1,1,234\n")
    assert line == 2
    assert "more cells" in reason


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('unit,what\nT1,"never closed\nT2,x\nT3,y\n', 2),
        ('unit,what\nT1,x\nT2,"a"b"\nT3,y\n', 3),
        ('unit,what\nT1,x\nT2,"cut off', 3),
        ('unit,what,done\nT1,"a,x\nT2,b,x\nT3,c",x\nT4,d,x\n', 2),
    ],
)
def test_quotes_that_do_not_pair_are_named_and_swallow_nothing(text, line):
    found = faults(text)
    assert found[0][0] == line
    assert "quotation" in found[0][1]


def test_rows_below_an_unclosed_quote_are_still_read():
    sheet = read_sheet("hours.csv", b'unit,what\nT1,"never closed\nT2,x\nT3,y\n')
    assert [line.number for line in sheet.lines] == [3, 4]


def test_a_file_cut_off_in_the_middle_of_a_row():
    ((line, reason),) = faults("unit,date,hours\nT1,2025-05-01,5\nT2,2025-0")
    assert line == 3
    assert "middle" in reason
    assert not faults("unit,date,hours\nT1,2025-05-01,5\nT2,2025-05-01,7")


@pytest.mark.parametrize(
    ("data", "name"),
    [
        (b"", "units.csv"),
        (b"\n\n ,,\n", "units.csv"),
        (b"\xd0\xcf\x11\xe0" + bytes(500), "units.csv"),
        (b"\x81\x8d\x8f\x90" * 50, "units.csv"),
        (b"unit,crew\n", "units.xlsx"),
        (b"PK\x03\x04 and no more", "units.xlsx"),
        (b"\xff\xfe\x00", "units.csv"),
        (b"\xff\xfe\x00\x00\x01", "units.csv"),
    ],
    ids=["empty", "blank", "old workbook", "garbage", "text as workbook", "half a zip", "odd utf-16", "odd utf-32"],
)
def test_files_that_cannot_be_read(data, name):
    sheet = read_sheet(name, data)
    assert sheet.faults
    assert not sheet.lines


def test_bounds(monkeypatch):
    monkeypatch.setattr(sheets, "MAX_ROWS", 2)
    monkeypatch.setattr(sheets, "MAX_COLUMNS", 3)
    monkeypatch.setattr(sheets, "MAX_CELL", 10)
    monkeypatch.setattr(sheets, "MAX_BYTES", 100)
    assert "rows" in faults("a\n1\n2\n3\n4\n")[0][1]
    assert "columns" in faults("a,b,c,d\n")[0][1]
    assert "longer" in faults("a\n12345678901\n")[0][1]
    assert "larger" in faults("a\n" + "1\n" * 60)[0][1]


def test_a_file_full_of_unclosed_quotes_is_read_in_bounded_work():
    sheet = read_sheet("hours.csv", b"unit,what\n" + b'T1,"x\n' * 40_000)
    assert 0 < len(sheet.faults) <= sheets.MAX_FAULTS


def test_zero_bytes_stay_in_their_cell():
    assert rows("unit,what\nT1,a\x00b\n")[1] == [(2, "T1", "a\x00b")]
