"""Whole files: which column is which, what must be there, what a row must satisfy, and what is reported."""

import pytest

from fleet.record.columns import FILES, kind_of_file
from fleet.record.sheets import read_sheet
from fleet.record.tables import read_table


def table(name, text):
    return read_table(FILES[name], read_sheet(f"{name}.csv", text.encode()))


def bad(name, text):
    return [(b.line, b.column, b.value) for b in table(name, text).bad]


@pytest.mark.parametrize("name", ["hours.csv", "HOURS.CSV", "Hours.xlsx"])
def test_files_are_known_by_their_names(name):
    assert kind_of_file(name).name == "hours"


@pytest.mark.parametrize("name", ["hours", "hours.txt", "our hours.csv", "hours.csv.bak", ".csv"])
def test_other_files_are_left_alone(name):
    assert kind_of_file(name) is None


def test_headers_in_any_order_and_case():
    (row,) = table("moves", "CREW , Date,Unit\nNorth,2025-05-01,T1\n").rows
    assert (row.unit, row.crew, row.source.number) == ("T1", "North", 2)


def test_other_names_of_columns_serve_only_where_the_own_name_is_absent():
    assert table("moves", "tag,date,crew\nT1,2025-05-01,North\n").rows[0].unit == "T1"
    both = table("moves", "tag,unit,date,crew\nold,T1,2025-05-01,North\n")
    assert both.rows[0].unit == "T1"
    assert both.ignored == ["tag"]


def test_us_spelling_of_columns():
    (row,) = table("hours", "unit,date,liters\nT1,2025-05-01,2.5\n").rows
    assert str(row.litres) == "2.50"


def test_extra_columns_are_ignored_and_named():
    read = table("moves", "unit,date,crew,Colour,\nT1,2025-05-01,North,red,?\n")
    assert read.ignored == ["Colour", "(column 5, without a name)"]
    assert read.rows[0].ignored == ("red", "?")


def test_a_missing_column_is_one_bad_entry_at_line_one():
    assert bad("moves", "unit,crew\nT1,North\nT2,South\n") == [(1, "date", "")]
    assert bad("services", "\n\nunit,date\nT1,2025-05-01\n") == [(1, "task", "")]


def test_a_column_that_appears_twice():
    assert bad("moves", "unit,date,Unit,crew\nT1,2025-05-01,T2,North\n") == [(1, "unit", "Unit")]


def test_every_bad_cell_is_listed_with_its_place_and_value():
    text = "unit,date,crew\nT1,2025-13-01,North\n\n,2025-05-01,\n"
    assert bad("moves", text) == [(2, "date", "2025-13-01"), (4, "unit", ""), (4, "crew", "")]


def test_faults_in_ignored_columns_do_not_matter():
    text = "unit,date,crew,note\nT1,2025-05-01,North," + "x" * 30_000 + "\n"
    assert not table("moves", text).bad


def test_dashes_and_not_applicable_are_blank():
    (row,) = table("services", "unit,date,task,hours,as_found\nT1,2025-05-01,grease,-,n/a\n").rows
    assert row.hours is None
    assert row.as_found is None


def test_not_looked_at_is_no_finding():
    (row,) = table("services", "unit,date,task,as_found\nT1,2025-05-01,grease,Not looked at\n").rows
    assert row.as_found is None


def test_entry_numbers_are_whole():
    assert bad("guard", "unit,date,guard,entry\nT1,2025-05-01,on,0\nT1,2025-05-01,on,1.5\nT1,2025-05-01,on,2\n") == [
        (2, "entry", "0"),
        (3, "entry", "1.5"),
    ]


HOURS = "unit,date,meter_hours,hours_run,litres,meter_replaced,crew,week_of,crew_hours,crew_litres,trimmer_share\n"


@pytest.mark.parametrize(
    "row",
    [
        "T1,2025-05-01,12.5,,,,,,,,",
        "T1,2025-05-01,,3,,,,,,,",
        "T1,2025-05-01,,,2,,North,,,,",
        "T1,2025-05-01,0,,,yes,,,,,",
        ",,,,,,North,2025-05-01,40,,",
        ",,,,,,North,2025-05-01,,20,0.4",
        ",,,,,,North,2025-05-01,,20,40%",
        ",2025-05-01,,,,,North,,40,,",
    ],
)
def test_ways_to_give_hours(row):
    read = table("hours", HOURS + row + "\n")
    assert not read.bad
    assert len(read.rows) == 1


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (",2025-05-01,12.5,,,,,,,,", "unit"),
        ("T1,,12.5,,,,,,,,", "date"),
        ("T1,2025-05-01,,,,,,,,,", "meter_hours"),
        ("T1,2025-05-01,12.5,3,,,,,,,", "hours_run"),
        ("T1,2025-05-01,,3,,yes,,,,,", "meter_replaced"),
        (",,,,,,North,,40,,", "week_of"),
        (",,,,,,North,2025-05-01,40,20,", "crew_litres"),
        (",,,,,,North,2025-05-01,40,,0.5", "trimmer_share"),
        (",,,,,,North,2025-05-01,,20,1.5", "trimmer_share"),
        ("T1,2025-05-01,12.5,,,,North,2025-05-01,40,,", "crew_hours"),
        (",,,,,,,2025-05-01,40,,", "unit"),
        ("T1,2025-05-01,-1,,,,,,,,", "meter_hours"),
    ],
)
def test_hours_that_make_no_sense(row, column):
    ((line, named, _value),) = bad("hours", HOURS + row + "\n")
    assert (line, named) == (2, column)


@pytest.mark.parametrize(
    ("header", "column"),
    [
        ("date,hours_run", "unit"),
        ("unit,hours_run", "date"),
        ("crew,crew_hours", "week_of"),
        ("unit,date", "meter_hours"),
        ("crew,week_of", "crew_hours"),
    ],
)
def test_hours_files_without_a_column_they_need(header, column):
    assert bad("hours", f"{header}\n") == [(1, column, "")]


def test_a_crew_column_beside_units_is_no_crew_file():
    assert not table("hours", "unit,date,crew,hours_run\nT1,2025-05-01,North,3\n").bad


def test_a_guard_row_that_says_nothing():
    assert bad("guard", "unit,date,guard,line\nT1,2025-05-01,,\n") == [(2, "guard", "")]


def test_arrester_and_arrestor_name_the_same_interval():
    (row,) = table("models", "maker,model,arrester_hours,grease_months\nOstrel,Wren,50,none\n").rows
    assert {task for task, _measure in row.intervals} == {"arrestor", "grease"}
