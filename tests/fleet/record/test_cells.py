"""Single cells: figures, money, dates and texts as people write them, and what is refused."""

import datetime as dt
from decimal import Decimal as D

import pytest

from fleet.record import cells
from fleet.record.cells import BadValue, parse_date, parse_number


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12", "12"),
        ("12.5", "12.5"),
        (".5", "0.5"),
        ("5.", "5"),
        ("1,234", "1234"),
        ("12,345,678", "12345678"),
        ("1,234.5", "1234.5"),
        ("1.234,5", "1234.5"),
        ("12,5", "12.5"),
        ("1,2345", "1.2345"),
        ("0,125", "0.125"),
        ("1 234,5", "1234.5"),
        ("1’234.5", "1234.5"),
        ("+7", "7"),
        ("−3", "-3"),
    ],
)
def test_numbers_of_a_comma_file(text, value):
    assert parse_number(text, decimal_comma=False) == D(value)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12,5", "12.5"),
        ("1,234", "1.234"),
        ("1.234", "1234"),
        ("1.234,56", "1234.56"),
        ("12.5", "12.5"),
        ("0.125", "0.125"),
    ],
)
def test_numbers_of_a_semicolon_file(text, value):
    assert parse_number(text, decimal_comma=True) == D(value)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "abc",
        "12x",
        "1e5",
        "nan",
        "NaN",
        "inf",
        "-inf",
        "1,23,456.7",
        "1..2",
        "1.2.3",
        "--5",
        "1234,567",
        "١٢",
        "9" * 40,
        "=1+1",
        "12:30",
        "1/2",
    ],
)
def test_what_is_no_number(text):
    with pytest.raises(BadValue):
        parse_number(text, decimal_comma=False)


def number(text, **options):
    return cells.number_cell(**{"places": 2, "most": 99_999, **options})(False)(text)


def test_figures_are_bounded_rounded_and_never_minus_zero():
    assert number("0.125") == D("0.13")
    assert str(number("-0")) == "0.00"
    for text in ("-1", "100000", "1000000000000"):
        with pytest.raises(BadValue):
            number(text)
    with pytest.raises(BadValue):
        number("0.001", above=True)


def test_units_of_measure_may_follow():
    assert number("12.5 h", units="h|hrs") == D("12.5")
    assert number("12.5 hrs.", units="h|hrs") == D("12.5")
    with pytest.raises(BadValue):
        number("12.5 km", units="h|hrs")


@pytest.mark.parametrize("text", ["$1,234.50", "1,234.50 $", "US$ 1234.50", "USD 1234.50", "1234.50 EUR", "€1.234,50"])
def test_money_with_a_currency_sign(text):
    assert number(text, money=True) == D("1234.50")


def test_shares_take_percent():
    assert number("40%", most=1, share=True) == D("0.40")
    with pytest.raises(BadValue, match="between 0 and 1"):
        number("40", most=1, share=True)


@pytest.mark.parametrize(
    "text",
    [
        "2025-05-01",
        "2025-5-1",
        "2025/05/01",
        "20250501",
        "5/1/2025",
        "05/01/2025",
        "5/1/25",
        "5 / 1 / 2025",
        "May 1, 2025",
        "1 May 2025",
        "1-May-25",
        "Thursday, May 1, 2025",
        "2025-05-01 00:00:00",
        "2025-05-01T14:30:00Z",
        "5/1/2025 2:30 PM",
    ],
)
def test_dates(text):
    assert parse_date(text) == dt.date(2025, 5, 1)


def test_two_digit_years_are_of_this_century_unless_that_lies_far_ahead():
    assert parse_date("5/1/68").year == 2068
    assert parse_date("5/1/99").year == 1999


@pytest.mark.parametrize(
    "text",
    [
        "13/5/2025",
        "2025-02-30",
        "2/29/2025",
        "01.05.2025",
        "01-05-2025",
        "May 2025",
        "yesterday",
        "45000",
        "0203-05-01",
        "2025-05-01x",
        "5/1",
        "1/1/1900",
        "2025-13-01",
        "9999999-01-01",
    ],
)
def test_what_is_no_date(text):
    with pytest.raises(BadValue):
        parse_date(text)


@pytest.mark.parametrize("text", ["03-15", "3/15", "2025-03-15", "March 15, 2025"])
def test_month_and_day(text):
    assert cells.month_day_cell(False)(text) == "03-15"


def test_month_and_day_that_is_none():
    for text in ("02-30", "15-03", "spring"):
        with pytest.raises(BadValue):
            cells.month_day_cell(False)(text)


def test_texts():
    parse = cells.text_cell(10)(False)
    assert parse("'=1+1") == "=1+1"
    assert parse("''=1") == "'=1"
    assert parse("'tis") == "'tis"
    for text in ("a\x00b", "x" * 11, "\x1b[31m"):
        with pytest.raises(BadValue):
            parse(text)


def test_a_name_whose_key_grows_too_long_is_refused():
    # The ligature is one letter as written and three as compared.
    with pytest.raises(BadValue):
        cells.text_cell(10, name=True)(False)("\ufb03" * 10)


def test_intervals_may_be_none():
    parse = cells.interval_cell(cells.number_cell(places=1, most=1000, above=True))(False)
    assert parse("None") is cells.NONE
    assert parse("50") == D("50")
    with pytest.raises(BadValue, match="none"):
        parse("0")


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("america/new_york", "America/New_York"),
        ("America/New York", "America/New_York"),
        ("Central Time", "America/Chicago"),
        ("pacific", "America/Los_Angeles"),
    ],
)
def test_time_zones(text, zone):
    assert cells.time_zone_cell(False)(text) == zone
    with pytest.raises(BadValue):
        cells.time_zone_cell(False)("Middle of nowhere")
