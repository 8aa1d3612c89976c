"""The files of the contract: which columns each has, how their cells are read, and what a whole row must satisfy."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _

from fleet.vocabulary import TASKS, WARRANTY_GROUPS

from . import words
from .cells import (
    date_cell,
    flag_cell,
    interval_cell,
    month_day_cell,
    number_cell,
    text_cell,
    time_zone_cell,
    whole_cell,
    word_cell,
    working_days_cell,
)
from .rows import ContractorRow, FailureRow, GuardRow, HoursRow, ModelRow, MoveRow, ServiceRow, UnitRow
from .sheets import Line
from .tables import Column, FileKind

NAME, CREW_NAME, TAG, SERIAL, WHAT, WHY = 80, 60, 40, 60, 200, 120
_HOUR_UNITS = "h|hr|hrs|hour|hours"
_LITRE_UNITS = "l|liter|liters|litre|litres"

HOURS = number_cell(places=2, most=99_999, units=_HOUR_UNITS)
MINUTES = number_cell(places=2, most=99_999, units="min|mins|minutes")
MONEY = number_cell(places=2, most=1_000_000, money=True)
SHARE = number_cell(places=3, most=1, share=True)
GUARD_WORD, FLAG, DATE = word_cell(words.GUARD), flag_cell, date_cell


def _name(name: str, limit: int, **options: Any) -> Column:
    return Column(name, text_cell(limit, name=True), text=True, **options)


UNIT = _name("unit", TAG, others=("tag", "unit tag", "unit no", "unit number", "unit #", "unit id", "trimmer"))
CONTRACTOR = _name("contractor", NAME)
ENTRY = Column("entry", whole_cell(most=100_000, least=1), rare=True)
UNIT_NEEDED = Column(UNIT.name, UNIT.make_parser, needed=True, text=True, others=UNIT.others)
DATE_NEEDED = Column("date", DATE, needed=True)
HOURS_OF_UNIT = Column("hours", HOURS, others=("engine hours", "total hours"))
PART_HOURS = Column("part_hours", HOURS)
WORK = (
    Column("minutes", MINUTES),
    Column("parts_cost", MONEY),
)

SETTINGS = (
    Column("time_zone", time_zone_cell, others=("timezone",)),
    Column("season_opens", month_day_cell),
    Column("season_closes", month_day_cell),
    Column("working_days", working_days_cell),
    Column("labour_rate", number_cell(places=2, most=10_000, money=True), others=("labor_rate",)),
    Column("downtime_per_day", number_cell(places=2, most=100_000, money=True)),
    Column("spare_on_trailer", FLAG),
    Column("risk_limit", number_cell(places=3, least="0.001", most="0.9", share=True)),
    Column("confidence_gate", number_cell(places=3, least="0.5", most="0.999", share=True)),
    Column("discount_rate", number_cell(places=3, most=1, share=True)),
    Column("order_by", month_day_cell),
    Column("resale", SHARE),
)
TERMS = (
    Column("displacement_cc", number_cell(places=1, most=1_000, above=True, units="cc|ccm|cm3|cm³")),
    Column("price", MONEY),
    Column("resale_share_per_season", number_cell(places=4, most=1, share=True)),
    Column("warranty_months", whole_cell(most=600, units="mo|month|months")),
    Column(
        "burn_litres_per_hour",
        number_cell(places=3, most=50, above=True, units="l/h|liters?/h(?:our)?|litres?/h(?:our)?"),
        others=("burn_liters_per_hour",),
    ),
    Column("vibration_ms2", number_cell(places=2, most=100, units="m/s2|m/s²|m/s\\^2"), others=("vibration",)),
    Column(
        "vibration_source",
        word_cell({"declared": "declared", "measured": "measured", "planning": "planning"}),
        rare=True,
    ),
    Column("parts_end_on", DATE, rare=True),
)
INTERVAL_HOURS = interval_cell(number_cell(places=1, most=100_000, above=True, units=_HOUR_UNITS))
INTERVAL_MONTHS = interval_cell(whole_cell(most=600, least=1, units="mo|month|months"))
_SOURCE = word_cell({"maker": "maker", "manual": "maker", "practice": "practice", "commonpractice": "practice"})


def _task_columns() -> tuple[Column, ...]:
    columns = []
    for task in TASKS:
        also = ("arrester",) if task == "arrestor" else ()
        for measure, parser in (("hours", INTERVAL_HOURS), ("months", INTERVAL_MONTHS)):
            columns.append(Column(f"{task}_{measure}", parser, others=tuple(f"{name}_{measure}" for name in also)))
    columns += [Column(f"{task}_source", _SOURCE, rare=True) for task in TASKS]
    return tuple(columns)


GROUPS = tuple(
    Column(f"warranty_months_{group}", whole_cell(most=600, units="mo|month|months"), rare=True)
    for group in WARRANTY_GROUPS
)


def _build_contractor(source: Line, ignored: tuple[str, ...], values: dict[str, Any]) -> ContractorRow:
    filled = {c.name: values[c.name] for c in SETTINGS if values[c.name] is not None}
    return ContractorRow(source, ignored, values["contractor"], values["shop"], filled)


def _build_model(source: Line, ignored: tuple[str, ...], values: dict[str, Any]) -> ModelRow:
    intervals = {
        (task, measure): value
        for task in TASKS
        for measure in ("hours", "months")
        if (value := values[f"{task}_{measure}"]) is not None
    }
    return ModelRow(
        source,
        ignored,
        values["contractor"],
        values["maker"],
        values["model"],
        {c.name: values[c.name] for c in TERMS if values[c.name] is not None},
        {g: months for g in WARRANTY_GROUPS if (months := values[f"warranty_months_{g}"]) is not None},
        intervals,
        {task: said for task in TASKS if (said := values[f"{task}_source"]) is not None},
    )


def _builder(row: type[Any]) -> Any:
    """Rows whose fields are their columns."""
    return lambda source, ignored, values: row(source=source, ignored=ignored, **values)


def _build_hours(source: Line, ignored: tuple[str, ...], values: dict[str, Any]) -> HoursRow:
    values["meter_replaced"] = bool(values["meter_replaced"])
    return HoursRow(source=source, ignored=ignored, **values)


def _build_move(source: Line, ignored: tuple[str, ...], values: dict[str, Any]) -> MoveRow:
    if words.normalise(values["crew"]) == "none":
        values["crew"] = ""
    return MoveRow(source=source, ignored=ignored, **values)


_OF_UNIT = ("meter_hours", "hours_run", "litres")
_OF_CREW = ("crew_hours", "crew_litres")


def _hours_missing(names: frozenset[str]) -> str:
    """An hours file is for units, for crews, or for both; whichever it begins, it must carry through."""
    for first, second, figures in (("unit", "date", _OF_UNIT), ("crew", "week_of", _OF_CREW)):
        if first in names and names.isdisjoint(figures):
            other = {"unit": ("crew", _OF_CREW), "crew": ("unit", _OF_UNIT)}[first]
            if other[0] in names and not names.isdisjoint(other[1]):
                continue
            return figures[0]
        if first in names and second not in names and not (first == "crew" and "date" in names):
            return second
    return "" if names & {"unit", "crew"} else "unit"


def _check_hours(row: HoursRow) -> tuple[str, str] | None:
    unit_figures = [name for name in _OF_UNIT if getattr(row, name) is not None]
    crew_figures = [name for name in _OF_CREW if getattr(row, name) is not None]
    if not row.unit and not row.crew:
        return "unit", _("This row names neither a unit nor a crew. Fill in one of them.")
    if unit_figures and crew_figures:
        return crew_figures[0], _("This row holds a unit's hours and a crew's. Make two rows of it.")
    if crew_figures or row.trimmer_share is not None or not row.unit:
        return _check_crew_week(row, unit_figures, crew_figures)
    if row.date is None:
        return "date", _("This cell is blank. Fill it in.")
    if not unit_figures:
        return "meter_hours", _("This row has no hours. Fill in one of meter_hours, hours_run or litres.")
    if len(unit_figures) > 1:
        return unit_figures[1], _("This row has more than one kind of hours. Keep one of them.")
    if row.meter_replaced and row.meter_hours is None:
        return "meter_replaced", _("A replaced meter needs the new meter's reading in meter_hours.")
    return None


def _check_crew_week(row: HoursRow, unit_figures: list[str], crew_figures: list[str]) -> tuple[str, str] | None:
    if not row.crew:
        return "crew", _("A crew's hours need the crew's name.")
    if unit_figures:
        return "unit", _("This row has hours of a unit but names none. Fill in the unit.")
    if row.week_of is None and row.date is None:
        return "week_of", _("This cell is blank. Fill it in.")
    if not crew_figures:
        return "crew_hours", _("This row has no hours. Fill in crew_hours, or crew_litres with trimmer_share.")
    if len(crew_figures) > 1:
        return "crew_litres", _("This row has more than one kind of hours. Keep one of them.")
    if row.trimmer_share is not None and row.crew_litres is None:
        return "trimmer_share", _("A share of the can needs the liters in crew_litres.")
    return None


def _check_guard(row: GuardRow) -> tuple[str, str] | None:
    if row.guard is None and row.line is None and row.safety is None:
        return "guard", _("This row says nothing. Fill in guard, line or safety.")
    return None


def _check_unit(row: UnitRow) -> tuple[str, str] | None:
    if row.retired_on and row.registered_on and row.retired_on < row.registered_on:
        return "retired_on", _("The unit would be retired before it was registered. Check both dates.")
    if row.retired_why and not row.retired_on:
        return "retired_on", _("A reason for retiring needs the date.")
    return None


CONTRACTORS = FileKind(
    "contractors",
    (
        Column("contractor", CONTRACTOR.make_parser, needed=True, text=True),
        _name("shop", NAME),
        *SETTINGS,
    ),
    _build_contractor,
)
MODELS = FileKind(
    "models",
    (
        CONTRACTOR,
        _name("maker", CREW_NAME, needed=True),
        _name("model", CREW_NAME, needed=True),
        *TERMS,
        *GROUPS,
        *_task_columns(),
    ),
    _build_model,
)
UNITS = FileKind(
    "units",
    (
        UNIT_NEEDED,
        CONTRACTOR,
        _name("crew", CREW_NAME),
        _name("maker", CREW_NAME),
        _name("model", CREW_NAME, needed=True),
        Column("serial", text_cell(SERIAL), text=True, others=("serial number", "serial no", "serial #")),
        Column("bought_on", DATE, others=("purchase date", "purchased on")),
        Column("price", MONEY),
        Column("registered_on", DATE),
        Column("hours_at_registration", HOURS),
        Column("guard", GUARD_WORD),
        Column("retired_on", DATE),
        Column("retired_why", text_cell(WHY), text=True),
    ),
    _builder(UnitRow),
    check=_check_unit,
)
MOVES = FileKind(
    "moves",
    (UNIT_NEEDED, CONTRACTOR, DATE_NEEDED, _name("crew", CREW_NAME, needed=True), ENTRY),
    _build_move,
)
HOURS_FILE = FileKind(
    "hours",
    (
        UNIT,
        CONTRACTOR,
        Column("date", DATE),
        Column("meter_hours", HOURS, others=("meter", "meter reading", "hour meter")),
        Column("hours_run", HOURS, others=("hours ran", "run hours")),
        Column("litres", number_cell(places=2, most=10_000, units=_LITRE_UNITS), others=("liters",)),
        Column("meter_replaced", FLAG),
        _name("crew", CREW_NAME),
        Column("week_of", DATE, others=("week",)),
        Column("crew_hours", HOURS),
        Column("crew_litres", number_cell(places=2, most=100_000, units=_LITRE_UNITS), others=("crew_liters",)),
        Column("trimmer_share", SHARE),
        ENTRY,
    ),
    _build_hours,
    missing=_hours_missing,
    check=_check_hours,
)
GUARD_FILE = FileKind(
    "guard",
    (
        UNIT_NEEDED,
        CONTRACTOR,
        DATE_NEEDED,
        Column("guard", GUARD_WORD),
        Column("line", word_cell(words.LINE)),
        Column("safety", word_cell(words.SAFETY)),
        Column("seen_by", word_cell(words.SEEN_BY)),
        ENTRY,
    ),
    _builder(GuardRow),
    missing=lambda names: "guard" if names.isdisjoint({"guard", "line", "safety"}) else "",
    check=_check_guard,
)
SERVICES = FileKind(
    "services",
    (
        UNIT_NEEDED,
        CONTRACTOR,
        DATE_NEEDED,
        HOURS_OF_UNIT,
        Column("task", word_cell(words.TASKS), needed=True),
        Column("as_found", word_cell(words.AS_FOUND, blank_words=words.NO_FINDING), others=("found",)),
        Column("done", word_cell(words.SERVICE_DONE)),
        PART_HOURS,
        Column("done_by", word_cell(words.SEEN_BY)),
        *WORK,
        Column("warranty", FLAG),
        ENTRY,
    ),
    _builder(ServiceRow),
)
FAILURES = FileKind(
    "failures",
    (
        UNIT_NEEDED,
        CONTRACTOR,
        DATE_NEEDED,
        HOURS_OF_UNIT,
        Column("component", word_cell(words.COMPONENTS), needed=True),
        Column("what", text_cell(WHAT), text=True),
        Column("cause", word_cell(words.CAUSES)),
        Column("found", word_cell(words.FOUND)),
        Column("done", word_cell(words.FAILURE_DONE)),
        PART_HOURS,
        *WORK,
        Column("downtime_days", number_cell(places=2, most=3_650, units="d|day|days")),
        Column("warranty", FLAG),
        Column("guard_as_found", GUARD_WORD),
        ENTRY,
    ),
    _builder(FailureRow),
)

# In the order they are read: each may name what the ones before it brought.
FILES: dict[str, FileKind[Any]] = {
    kind.name: kind for kind in (CONTRACTORS, MODELS, UNITS, MOVES, HOURS_FILE, GUARD_FILE, SERVICES, FAILURES)
}


def kind_of_file(name: str) -> FileKind[Any] | None:
    """Which of the contract's files a file name is, by its stem without case; ``None`` for any other file.

    >>> kind_of_file("Hours.CSV").name
    'hours'
    """
    stem, dot, ending = name.rpartition(".")
    if not dot or ending.lower() not in ("csv", "xlsx"):
        return None
    return FILES.get(words.normalise(stem))
