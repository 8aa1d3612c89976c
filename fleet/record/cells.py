"""Parsers of single cells: text in, a typed value out, or :class:`BadValue` saying in a plain sentence what to do.

A blank cell never gets here; whoever calls has dealt with it. Figures are Decimal, rounded half up to the places the
ledger keeps. Each ``*_cell`` function returns the parser of one column, since what a comma means depends on the file.
"""

from __future__ import annotations

import datetime as dt
import re
import zoneinfo
from collections.abc import Callable, Mapping
from decimal import ROUND_HALF_UP, Decimal
from functools import lru_cache
from typing import Any

from django.utils.translation import gettext as _

from . import words

Parser = Callable[[str], Any]
# Builds a column's parser for one file; the argument says whether the file writes decimals with a comma.
MakeParser = Callable[[bool], Parser]

# Nothing in this trade is older; a year below it is a slip of the keyboard.
EARLIEST = dt.date(1970, 1, 1)

_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")
# An apostrophe that a spreadsheet, or our own export, put before a text that looks like a formula.
_SHIELD = re.compile(r"^'(?='*[=+\-@\t\r])")
_PLAIN_NUMBER = re.compile(r"^[0-9]{1,12}(?:\.[0-9]{1,15})?$")
_SPACED_GROUPS = re.compile(r"^[+-]?[0-9]{1,3}(?:[ '’][0-9]{3})+(?:[.,][0-9]+)?$")
_GROUPED = {mark: re.compile(rf"^[1-9][0-9]{{0,2}}(?:{re.escape(mark)}[0-9]{{3}})+$") for mark in ",."}
_DIGITS = re.compile(r"^[0-9]*$")
_MONEY_SIGN = re.compile(
    r"^(?:[A-Z]{0,3}\s*[$€£¥]|(?:USD|EUR|GBP|CAD|AUD|MXN|NZD)(?![A-Z]))\s*|\s*(?:[$€£¥]|[A-Z]{3})$"
)
_MAX_DIGITS = 15


class BadValue(ValueError):
    """A cell that cannot be taken; its text is the reason shown."""


def text_cell(limit: int, *, name: bool = False) -> MakeParser:
    """Free text, or a name: no control characters, no longer than the ledger keeps."""

    def parse(text: str) -> str:
        if _CONTROL.search(text):
            raise BadValue(_("This cell holds a character that cannot be printed. Type the value again."))
        text = _SHIELD.sub("", text)
        if len(text) > limit or (name and len(words.name_key(text)) > limit):
            raise BadValue(_("This is longer than %d characters. Shorten it.") % limit)
        return text

    return lambda _decimal_comma: parse


def parse_number(text: str, decimal_comma: bool) -> Decimal:
    """A figure as people write it. In comma files a comma before exactly three digits groups thousands; in semicolon
    files, where the comma is the decimal sign, a point there does.

    >>> [str(parse_number(t, False)) for t in ("1,234", "1,5", "1,234.50", "1 234", "0,125")]
    ['1234', '1.5', '1234.50', '1234', '0.125']
    >>> [str(parse_number(t, True)) for t in ("1,234", "1.234", "1.5", "1.234,5")]
    ['1.234', '1234', '1.5', '1234.5']
    """
    if not decimal_comma and _PLAIN_NUMBER.match(text):
        return Decimal(text)
    bare = text.replace("−", "-")
    if _SPACED_GROUPS.match(bare):
        bare = re.sub("[ '’]", "", bare)
    sign = ""
    if bare[:1] in "+-":
        sign, bare = bare[:1], bare[1:].lstrip()
    whole, fraction = _split(bare, "." if decimal_comma else ",", "," if decimal_comma else ".")
    if not _DIGITS.match(whole) or not _DIGITS.match(fraction) or not whole + fraction:
        raise BadValue(_("This is not a number. Write digits, for example 12.5."))
    if len(whole) > _MAX_DIGITS:
        raise BadValue(_("This number is too large. Check the figure."))
    return Decimal(f"{sign}{whole or 0}.{fraction[:_MAX_DIGITS] or 0}") if fraction else Decimal(sign + whole)


def _split(bare: str, grouping: str, decimal: str) -> tuple[str, str]:
    """Digits before and behind the decimal sign; what is no number comes back as it is and fails the caller's test."""
    if grouping in bare and decimal in bare:
        # Both signs: the last one is the decimal sign, whichever it is.
        if bare.rfind(grouping) > bare.rfind(decimal):
            grouping, decimal = decimal, grouping
        head, _mark, fraction = bare.rpartition(decimal)
        return (head.replace(grouping, "") if _GROUPED[grouping].match(head) else head), fraction
    for mark in (grouping, decimal):
        if mark not in bare:
            continue
        head, _mark, tail = bare.rpartition(mark)
        if mark in head:
            return (bare.replace(mark, "") if _GROUPED[mark].match(bare) else bare), ""
        if mark == grouping and len(tail) == 3 and head.strip("0"):
            if _GROUPED[mark].match(bare):
                return bare.replace(mark, ""), ""
            if mark == ",":
                raise BadValue(_("This could be two numbers. Write it without a thousands separator."))
        return head, tail
    return bare, ""


def number_cell(
    *,
    places: int,
    most: int | str,
    least: int | str = 0,
    above: bool = False,
    units: str = "",
    money: bool = False,
    share: bool = False,
) -> MakeParser:
    """A figure between ``least`` and ``most`` (``above``: not ``least`` itself), kept to ``places`` decimals.

    ``units`` is a pattern of unit words that may follow; ``money`` lets a currency sign stand; ``share`` takes %.
    """
    low, high = Decimal(least), Decimal(most)
    step = Decimal(1).scaleb(-places)
    tail = re.compile(rf"\s*(?:{units})\.?$", re.IGNORECASE) if units else None

    def parse(text: str, decimal_comma: bool) -> Decimal:
        bare = text
        percent = False
        if share and bare.endswith("%"):
            bare, percent = bare[:-1].rstrip(), True
        if money and not (bare[:1].isdigit() and bare[-1:].isdigit()):
            bare = _MONEY_SIGN.sub("", bare, count=1)
        if tail is not None:
            bare = tail.sub("", bare)
        value = parse_number(bare, decimal_comma)
        if percent:
            value /= 100
        if value < low or (above and value == low):
            if above:
                raise BadValue(_("This must be more than %s.") % low)
            if low == 0:
                raise BadValue(_("This cannot be below zero. Check the figure."))
            raise BadValue(_("This must be at least %s.") % low)
        if value > high:
            if share:
                raise BadValue(_("This must lie between 0 and 1; write 0.4 or 40%."))
            raise BadValue(_("This is more than %s, which cannot be right. Check the figure.") % f"{high:,}")
        rounded = value.quantize(step, ROUND_HALF_UP) + 0  # no minus zero
        if above and rounded == low:
            raise BadValue(_("This must be more than %s.") % low)
        return rounded

    return lambda decimal_comma: lambda text: parse(text, decimal_comma)


def whole_cell(*, most: int, least: int = 0, units: str = "") -> MakeParser:
    """A whole number between ``least`` and ``most``."""
    figure = number_cell(places=6, most=most, least=least, units=units)

    def make(decimal_comma: bool) -> Parser:
        parse = figure(decimal_comma)

        def whole(text: str) -> int:
            value = parse(text)
            if value != int(value):
                raise BadValue(_("This must be a whole number."))
            return int(value)

        return whole

    return make


class NotApplicable:
    """The word *none* in an interval: the task has no limit of this kind."""

    def __repr__(self) -> str:
        return "none"


NONE = NotApplicable()


def interval_cell(figure: MakeParser) -> MakeParser:
    """A figure, or *none* where the task does not apply."""

    def make(decimal_comma: bool) -> Parser:
        parse = figure(decimal_comma)

        def interval(text: str) -> Any:
            if words.normalise(text) in ("none", "doesnotapply", "notapplicable", "never"):
                return NONE
            try:
                return parse(text)
            except BadValue as error:
                hint = _("Write none where the task does not apply, or leave the cell blank for common practice.")
                raise BadValue(f"{error} {hint}") from error

        return interval

    return make


_TIME = (
    r"(?:[T ,]+[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:\.[0-9]+)?)?\s*(?:[AaPp]\.?[Mm]\.?)?\s*(?:Z|[+-][0-9]{2}:?[0-9]{2})?)?"
)
_YEAR_FIRST = re.compile(rf"^([0-9]{{4}})([-/])([0-9]{{1,2}})\2([0-9]{{1,2}}){_TIME}$")
_COMPACT = re.compile(r"^([0-9]{4})([0-9]{2})([0-9]{2})$")
_SLASHES = re.compile(rf"^([0-9]{{1,2}}) ?/ ?([0-9]{{1,2}}) ?/ ?([0-9]{{4}}|[0-9]{{2}}){_TIME}$")
_MONTH_FIRST = re.compile(rf"^([A-Za-z]{{3,9}})\.? ([0-9]{{1,2}})(?:st|nd|rd|th)?,? ([0-9]{{4}}){_TIME}$")
_DAY_FIRST = re.compile(rf"^([0-9]{{1,2}})[ -]([A-Za-z]{{3,9}})\.?,?[ -]([0-9]{{4}}|[0-9]{{2}}){_TIME}$")
_WEEKDAY = re.compile(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*\.?,? ", re.IGNORECASE)
_MONTH_NAMES = (
    ("jan", "january"),
    ("feb", "february"),
    ("mar", "march"),
    ("apr", "april"),
    ("may",),
    ("jun", "june"),
    ("jul", "july"),
    ("aug", "august"),
    ("sep", "sept", "september"),
    ("oct", "october"),
    ("nov", "november"),
    ("dec", "december"),
)
_MONTHS = {name: number for number, names in enumerate(_MONTH_NAMES, start=1) for name in names}


def _year(text: str) -> int:
    """Two digits mean 2000 to 2068, or 1969 to 1999: no trimmer on a trailer is older."""
    year = int(text)
    return year if len(text) == 4 else year + (2000 if year < 69 else 1900)


def parse_date(text: str) -> dt.date:
    """A date in ISO form, US form (month/day/year, two-digit years taken), or with the month's name.

    Dashes and points with the day or month first are refused: nobody can say which of the two comes first.

    >>> [parse_date(t).isoformat() for t in ("2025-05-01", "5/1/2025", "5/1/25", "May 1, 2025", "1-May-25")]
    ['2025-05-01', '2025-05-01', '2025-05-01', '2025-05-01', '2025-05-01']
    """
    bare = _WEEKDAY.sub("", text)
    try:
        if found := _YEAR_FIRST.match(bare):
            day = dt.date(int(found[1]), int(found[3]), int(found[4]))
        elif found := _SLASHES.match(bare):
            day = dt.date(_year(found[3]), int(found[1]), int(found[2]))
        elif found := _COMPACT.match(bare):
            day = dt.date(int(found[1]), int(found[2]), int(found[3]))
        elif found := _MONTH_FIRST.match(bare):
            day = dt.date(_year(found[3]), _MONTHS[found[1].lower()], int(found[2]))
        elif found := _DAY_FIRST.match(bare):
            day = dt.date(_year(found[3]), _MONTHS[found[2].lower()], int(found[1]))
        else:
            raise BadValue(_("This is not a date. Write 2025-05-01 or, month first, 5/1/2025."))
    except (ValueError, KeyError) as error:
        if isinstance(error, BadValue):
            raise
        raise BadValue(_("There is no such day. Dates with slashes are month/day/year.")) from error
    if day < EARLIEST:
        raise BadValue(_("This date lies before %s. Check the year.") % EARLIEST.isoformat())
    return day


def date_cell(_decimal_comma: bool) -> Parser:
    return parse_date


def month_day_cell(_decimal_comma: bool) -> Parser:
    """A day of any year as MM-DD; a whole date is taken for its month and day, as spreadsheets love to make one."""

    def parse(text: str) -> str:
        found = re.match(r"^([0-9]{1,2})[-/]([0-9]{1,2})$", text)
        if found:
            try:
                # A leap year, so that February 29 is a day.
                return dt.date(2024, int(found[1]), int(found[2])).strftime("%m-%d")
            except ValueError as error:
                raise BadValue(_("There is no such day. Write month and day as MM-DD, for example 03-15.")) from error
        try:
            return parse_date(text).strftime("%m-%d")
        except BadValue as error:
            raise BadValue(_("Write month and day as MM-DD, for example 03-15.")) from error

    return parse


def word_cell(vocabulary: Mapping[str, str], *, blank_words: frozenset[str] = frozenset()) -> MakeParser:
    """One of a vocabulary's keys, in any of its spellings; ``blank_words`` say the same as a blank cell."""
    keys = ", ".join(dict.fromkeys(vocabulary.values()))

    def parse(text: str) -> str | None:
        word = words.normalise(text)
        key = vocabulary.get(word)
        if key is None and word not in blank_words:
            raise BadValue(_("This word is not known here. Use one of: %s.") % keys)
        return key

    return lambda _decimal_comma: parse


def flag_cell(_decimal_comma: bool) -> Parser:
    def parse(text: str) -> bool | None:
        try:
            return words.flag(text)
        except ValueError as error:
            raise BadValue(_("Write yes or no, or leave the cell blank.")) from error

    return parse


def working_days_cell(_decimal_comma: bool) -> Parser:
    """Seven characters, Monday first: 1 worked, 0 not."""

    def parse(text: str) -> str:
        try:
            days = words.working_days(text)
        except ValueError as error:
            raise BadValue(_("Write the working days as Mon-Fri or Mon, Wed, Fri.")) from error
        return "".join("1" if day in days else "0" for day in range(7))

    return parse


_US_ZONES = {
    "eastern": "America/New_York",
    "central": "America/Chicago",
    "mountain": "America/Denver",
    "arizona": "America/Phoenix",
    "pacific": "America/Los_Angeles",
    "alaska": "America/Anchorage",
    "hawaii": "Pacific/Honolulu",
}


@lru_cache(maxsize=1)
def _zones() -> dict[str, str]:
    """Names of the time zone database without case; finding them means walking its folders."""
    return {zone.casefold(): zone for zone in zoneinfo.available_timezones()}


def time_zone_cell(_decimal_comma: bool) -> Parser:
    """A name of the time zone database, or the usual name of a US zone."""

    def parse(text: str) -> str:
        plain = text.casefold().replace(" ", "_")
        usual = re.sub(r"[_\s]*(?:standard|daylight)?[_\s]*time$", "", plain)
        zone = _zones().get(plain) or _US_ZONES.get(usual)
        if zone is None:
            raise BadValue(_("This time zone is not known. Write it as America/New_York."))
        return zone

    return parse
