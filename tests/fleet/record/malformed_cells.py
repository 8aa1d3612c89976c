"""Kinds of damage to cells, each by name: harmless mess that must land, and spoiled rows that must be named."""

from __future__ import annotations

import datetime as dt
import random

from .malformed import ENTRY_FILES, START, TODAY, File, Fleet, Row, choose, harmful, harmless

# --- harmless -------------------------------------------------------------------------------------------------------


@harmless
def byte_order_mark(rng: random.Random, fleet: Fleet) -> None:
    choose(rng, fleet).encoding = "utf-8-sig"


@harmless
def utf_16(rng: random.Random, fleet: Fleet) -> None:
    choose(rng, fleet).encoding = "utf-16"


@harmless
def windows_1252(rng: random.Random, fleet: Fleet) -> None:
    fleet["failures"].encoding = "cp1252"


@harmless
def semicolons_with_decimal_commas(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    if not file.xlsx:
        file.delimiter = ";"
        for row in file.rows:
            row.cells = [c.replace(".", ",") if c.replace(".", "", 1).isdigit() else c for c in row.cells]


@harmless
def tabs(rng: random.Random, fleet: Fleet) -> None:
    choose(rng, fleet, "models", "moves", "guard").delimiter = "\t"


@harmless
def line_ends(rng: random.Random, fleet: Fleet) -> None:
    choose(rng, fleet).newline = rng.choice(["\r\n", "\r"])


@harmless
def headers_in_other_case(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    change = rng.choice([str.upper, str.title, lambda name: f" {name.replace('_', ' ')} "])
    file.header = [change(name) for name in file.header]
    _hide_header(file)


def _hide_header(file: File) -> None:
    """Columns are found by position from here on, whatever the header looks like."""
    places = {name.strip().lower().replace(" ", "_"): place for place, name in enumerate(file.header)}
    file.place = lambda column: places[column]  # type: ignore[method-assign]


@harmless
def columns_in_other_order(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    order = list(range(len(file.header)))
    rng.shuffle(order)
    file.header = [file.header[place] for place in order]
    for row in file.rows:
        row.cells = [row.cells[place] for place in order]
    _hide_header(file)


@harmless
def extra_columns(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.header.append("Remark")
    for row in file.rows:
        row.cells.append(rng.choice(["", "ask Ramón", "=1+1", "#3"]))


@harmless
def blank_lines(rng: random.Random, fleet: Fleet) -> None:
    for row in choose(rng, fleet).rows:
        row.blank_lines_above = rng.choice((0, 0, 1, 3))


@harmless
def blank_lines_on_top(rng: random.Random, fleet: Fleet) -> None:
    choose(rng, fleet).above = "\n\n"


@harmless
def stray_spaces(rng: random.Random, fleet: Fleet) -> None:
    for row in choose(rng, fleet).rows:
        row.cells = [f"{rng.choice(['', ' ', '  ', chr(160)])}{cell}{rng.choice(['', ' '])}" for cell in row.cells]


@harmless
def duplicate_rows(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.rows += [Row(list(row.cells), row.wrong) for row in rng.sample(file.rows, len(file.rows) // 2 + 1)]


@harmless
def us_dates(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet, *ENTRY_FILES)
    style = rng.choice(["%m/%d/%Y", "%m/%d/%y", "%B %d, %Y", "%d-%b-%y"])
    for row in file.rows:
        cell = row.cells[file.place("date")]
        if len(cell) == 10 and cell[4] == "-":
            row.cells[file.place("date")] = dt.date.fromisoformat(cell).strftime(style)


@harmless
def thousands_separators(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["failures"]
    if file.delimiter != ";":
        for row in file.rows:
            row.cells[file.place("parts_cost")] = rng.choice(["$1,234.50", "1,234", "1 234.5"])


@harmless
def flags_in_other_spellings(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["services"]
    for row in file.rows:
        row.cells[file.place("warranty")] = rng.choice(["Y", "n", "TRUE", "False", "1", "0", "x", "", "Yes ", "NO"])


@harmless
def other_words_of_the_trade(rng: random.Random, fleet: Fleet) -> None:
    failures, services = fleet["failures"], fleet["services"]
    for row in failures.rows:
        row.cells[failures.place("component")] = rng.choice(["Gear head", "carb", "kill switch", "Muffler", "shield"])
    for row in services.rows:
        row.cells[services.place("task")] = rng.choice(["spark screen", "GREASE", "air-filter", "Spark Plug", "lay up"])


@harmless
def as_a_workbook(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    if file.delimiter == ",":
        file.xlsx = True
        file.above = ""


@harmless
def text_over_several_lines(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["failures"]
    row = rng.choice(file.rows)
    row.cells[file.place("what")] = "first it bogged,\nthen it died\n\n(see note)"


@harmless
def no_line_end_at_the_end(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    if not file.xlsx and file.encoding != "utf-16":
        file.raw.append(
            lambda _rng, data: data.rstrip(b"\r\n") if data.rstrip(b"\r\n")[-1:] not in (b",", b";") else data
        )


@harmless
def rows_in_other_order(rng: random.Random, fleet: Fleet) -> None:
    rng.shuffle(choose(rng, fleet).rows)


# --- damage to cells: the row must be named ---------------------------------------------------------------------------


def _spoil(rng: random.Random, fleet: Fleet, values: list[str], *places: tuple[str, str]) -> None:
    """Put one of the values into one of the (file, column) places."""
    name, column = rng.choice(places)
    file = fleet[name]
    rows = [row for row in file.rows if row.cells[file.place(column)].strip()] or file.rows
    row = rng.choice(rows)
    row.cells[file.place(column)] = rng.choice(values)
    row.wrong = True


def _dates(*names: str) -> list[tuple[str, str]]:
    return [(name, "date") for name in names or ENTRY_FILES]


@harmful
def no_date(rng: random.Random, fleet: Fleet) -> None:
    values = ["2026-02-30", "13/1/2026", "31.12.2025", "soon", "2026", "45000", "12-05-2026", "0000-00-00"]
    _spoil(rng, fleet, values, *_dates(), ("units", "registered_on"))


@harmful
def date_to_come(rng: random.Random, fleet: Fleet) -> None:
    days = [(TODAY + dt.timedelta(days=n)).isoformat() for n in (1, 30, 4000)]
    _spoil(rng, fleet, days, *_dates(), ("units", "retired_on"))


@harmful
def before_registration(rng: random.Random, fleet: Fleet) -> None:
    _spoil(rng, fleet, [(START - dt.timedelta(days=1)).isoformat(), "1/1/1999"], *_dates())


@harmful
def after_retirement(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet, "guard", "services", "failures")
    units = fleet["units"]
    retired = units.rows[2] if units.rows[2].cells[units.place("retired_on")].strip() else None
    for row in units.rows:
        if row.cells[units.place("retired_on")].strip():
            retired = row
    if retired is None:
        return
    row = rng.choice(file.rows)
    row.cells[file.place("unit")] = retired.cells[units.place("unit")]
    row.cells[file.place("date")] = (START + dt.timedelta(days=101)).isoformat()
    row.wrong = True


@harmful
def unknown_unit(rng: random.Random, fleet: Fleet) -> None:
    _spoil(rng, fleet, ["Z-9", "T", "?", "12345"], *[(name, "unit") for name in ("moves", "guard", "failures")])


@harmful
def unknown_word(rng: random.Random, fleet: Fleet) -> None:
    places = [("guard", "guard"), ("guard", "line"), ("services", "task"), ("failures", "component"),
              ("services", "as_found"), ("failures", "cause"), ("services", "warranty")]  # fmt: skip
    _spoil(rng, fleet, ["wobbly", "on?", "42", "filter", "ünheard", "💥"], *places)


@harmful
def no_number(rng: random.Random, fleet: Fleet) -> None:
    values = ["abc", "12x", "1e5", "NaN", "inf", "-inf", "1..2", "12:30", "=1+1", "٣", "0x1F", "1,2,3"]
    places = [("hours", "meter_hours"), ("services", "minutes"), ("failures", "parts_cost"), ("models", "price")]
    _spoil(rng, fleet, values, *places)


@harmful
def below_zero(rng: random.Random, fleet: Fleet) -> None:
    places = [("hours", "meter_hours"), ("services", "parts_cost"), ("units", "hours_at_registration")]
    _spoil(rng, fleet, ["-1", "-0.01", "−5"], *places)


@harmful
def huge_number(rng: random.Random, fleet: Fleet) -> None:
    values = ["99999999", "1" + "0" * 30, "9" * 400, "100000000000000000000.5"]
    _spoil(rng, fleet, values, ("hours", "meter_hours"), ("services", "minutes"), ("models", "price"))


@harmful
def blank_where_needed(rng: random.Random, fleet: Fleet) -> None:
    places = [("guard", "date"), ("services", "task"), ("failures", "component"), ("moves", "unit"), ("units", "model")]
    _spoil(rng, fleet, ["", "  "], *places)


@harmful
def zero_bytes_and_controls(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["failures"]
    file.xlsx = False
    _spoil(rng, fleet, ["a\x00b", "\x1b[31mred", "bell\x07"], ("failures", "what"))


@harmful
def overlong_text(rng: random.Random, fleet: Fleet) -> None:
    _spoil(rng, fleet, ["x" * 201, "é" * 5000, "x" * 200_000], ("failures", "what"), ("units", "serial"))


@harmful
def swapped_cells(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet, "moves", "guard", "services")
    row = rng.choice(file.rows)
    a, b = file.place("unit"), file.place("date")
    row.cells[a], row.cells[b] = row.cells[b], row.cells[a]
    row.wrong = True


@harmful
def two_kinds_of_hours(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["hours"]
    row = rng.choice([r for r in file.rows if r.cells[file.place("meter_hours")].strip()] or file.rows)
    row.cells[file.place("litres")] = "2"
    row.cells[file.place("meter_hours")] = "30"
    row.wrong = True


@harmful
def too_many_hours_run(rng: random.Random, fleet: Fleet) -> None:
    file = fleet["hours"]
    for row in file.rows:
        if row.cells[file.place("hours_run")].strip():
            row.cells[file.place("hours_run")] = "169"
            row.wrong = True


@harmful
def backwards_hours(rng: random.Random, fleet: Fleet) -> None:
    _meter(rng, fleet, "0.5")


@harmful
def impossible_jump(rng: random.Random, fleet: Fleet) -> None:
    _meter(rng, fleet, "5000")


def _meter(rng: random.Random, fleet: Fleet, hours: str) -> None:
    file = fleet["hours"]
    place = file.place("meter_hours")
    tags = [row.cells[file.place("unit")] for row in file.rows if row.cells[place].strip()]
    # The unit registered with ten hours or more: half an hour goes backwards from there.
    units = fleet["units"]
    started = {r.cells[units.place("unit")].strip() for r in units.rows
               if r.cells[units.place("hours_at_registration")].strip() not in ("0", "")}  # fmt: skip
    rows = [row for row in file.rows if row.cells[place].strip() and row.cells[file.place("unit")].strip() in started]
    if rows and tags:
        rng.choice(rows).cells[place] = hours
        file.refused = True


@harmful
def tag_given_twice(rng: random.Random, fleet: Fleet) -> None:
    units = fleet["units"]
    double = Row(list(units.rows[0].cells), wrong=True)
    double.cells[units.place("registered_on")] = (START + dt.timedelta(days=5)).isoformat()
    double.cells[units.place("retired_on")] = ""
    double.cells[units.place("retired_why")] = ""
    units.rows.append(double)
    units.refused = True
    units.lines_known = False


@harmful
def row_longer_than_the_header(rng: random.Random, fleet: Fleet) -> None:
    file = choose(rng, fleet)
    file.xlsx = False
    row = rng.choice(file.rows)
    row.cells += ["1", "234"]
    row.wrong = True
