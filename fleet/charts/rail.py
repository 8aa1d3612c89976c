"""The hour rail: where a task was last done, where the unit is now, where it falls due.

Open ring: last done. Thick line: used since. Wedge: now, over a dark band as wide as
the hours are uncertain. Upright with hatching: due, and how uncertain that is. Pale
ground: the season. Each mark has a shape of its own, so that the rail reads in gray.

``hour_rail`` draws on engine hours, ``date_rail`` on the calendar for tasks that only
count months. Both are pure: words come in as parameters, a string goes out. Colors are
presentation attributes for print; a style sheet overrides them by class.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date
from math import isfinite
from typing import Any

from fleet.charts.axis import CYCLES_SHOWN, Axis, round_ticks
from fleet.charts.calendar import date_ticks, plain_date
from fleet.charts.rail_drawing import Marks, Span, draw
from fleet.charts.svg import Svg

HOURS_PER_CYCLE_UNKNOWN = 100.0
DAYS_PER_CYCLE_UNKNOWN = 365.0
_SHORTEST_CYCLE = 0.1  # anything less is a slip of the pen, not an interval
_FIGURES = (
    *("last", "now", "now_low", "now_high", "due", "due_low", "due_high"),
    *("season_from", "season_to", "interval", "start"),
)


def plain_number(value: float) -> str:
    """Whole hours with thousands separated, as they are written in the US."""
    return f"{round(value):,}"


@dataclass(frozen=True)
class Words:
    """What a rail says. Every field is a sentence or a word a translator may change."""

    last: str = "{verb} {value}"
    now: str = "now {value}"
    today: str = "today"
    due: str = "due {value}"
    season: str = "season"
    hours_unknown: str = "hours not known"
    title_last_hours: str = "{verb} at {value} hours"
    title_last_date: str = "{verb} on {value}"
    title_never: str = "last time not known"
    title_now: str = "now about {value} hours"
    title_today: str = "today is {value}"
    title_due_hours: str = "due at {value} hours"
    title_due_date: str = "due on {value}"
    title_due_unknown: str = "no due mark"
    desc_now: str = "Now between {low} and {high} hours."
    desc_due: str = "Due between {low} and {high}."
    desc_over_hours: str = "Past due by {value} hours."
    desc_over_days: str = "Past due by {value} days."
    desc_season: str = "Season from {low} to {high}."
    number: Callable[[float], str] = plain_number
    day: Callable[[date, date], str] = plain_date  # the day to write, and today


@dataclass(frozen=True)
class Rail:
    """One task of one unit on engine hours. ``None`` means not known.

    ``start`` is where counting begins for a task never done here: 0 for a unit bought
    new, else the hours at which it was registered; ``start_word`` says which.
    """

    unit_label: str
    last: float | None = None
    now: float | None = None
    now_low: float | None = None
    now_high: float | None = None
    due: float | None = None
    due_low: float | None = None
    due_high: float | None = None
    season_from: float | None = None
    season_to: float | None = None
    interval: float | None = None
    verb_done: str = "done"
    start: float | None = None
    start_word: str = "new"


@dataclass(frozen=True)
class DateRail:
    """One task of one unit that goes by the calendar. ``None`` means not known."""

    unit_label: str
    today: date
    last: date | None = None
    due: date | None = None
    due_low: date | None = None
    due_high: date | None = None
    seasons: tuple[tuple[date, date], ...] = field(default=())
    interval_days: float | None = None
    verb_done: str = "done"
    start: date | None = None
    start_word: str = "bought"


def hour_rail(rail: Rail, *, uid: str, words: Words | None = None, width: int = 300, name_season: bool = False) -> Svg:
    """Draw ``rail`` on an axis of engine hours.

    ``uid`` must be unique on the page: title, description and hatching take their ids
    from it. ``width`` is in units of the drawing, in which type is 13 high. ``name_season``
    writes the word beneath the pale ground: for a rail that stands alone, not for a list.
    """
    say = words or Words()
    rail = _finite(rail)
    base, done = _base(rail.last, rail.start, rail.due, rail.interval, rail.now)
    cycle = _cycle(rail.interval, base, rail.due, HOURS_PER_CYCLE_UNKNOWN)
    axis = _axis(base, cycle, [rail.now, rail.due], width)
    now = _band(rail.now, rail.now_low, rail.now_high)
    due = _band(rail.due, rail.due_low, rail.due_high)
    verb = rail.verb_done if done else rail.start_word

    title = [say.title_last_hours.format(verb=verb, value=say.number(base)) if _known(rail) else say.title_never]
    title.append(say.title_now.format(value=say.number(now.at)) if now else say.hours_unknown)
    title.append(say.title_due_hours.format(value=say.number(due.at)) if due else say.title_due_unknown)
    desc = []
    if now and now.is_wide:
        desc.append(say.desc_now.format(low=say.number(now.low), high=say.number(now.high)))
    if due and due.is_wide:
        desc.append(say.desc_due.format(low=say.number(due.low), high=say.number(due.high)))
    if now and due and now.at > due.at:
        desc.append(say.desc_over_hours.format(value=say.number(now.at - due.at)))
    seasons = _seasons([(rail.season_from, rail.season_to)], axis)
    if rail.season_from is not None and rail.season_to is not None:
        low, high = say.number(rail.season_from), say.number(rail.season_to)
        desc.append(say.desc_season.format(low=low, high=high))

    marks = Marks(
        axis=axis,
        base=base if _known(rail) else None,
        base_done=done,
        now=now,
        due=due,
        seasons=seasons,
        ticks=tuple(round_ticks(base, axis.end)),
        base_label=(say.last.format(verb=verb, value=say.number(base)), say.number(base)),
        now_label=(say.now.format(value=say.number(now.at)), say.number(now.at)) if now else (say.hours_unknown,),
        due_label=(say.due.format(value=say.number(due.at)), say.number(due.at)) if due else (),
        season_label=say.season if name_season else "",
        title=f"{rail.unit_label}: {', '.join(title)}",
        desc=" ".join(desc),
    )
    return draw(marks, uid, width)


def date_rail(
    rail: DateRail, *, uid: str, words: Words | None = None, width: int = 300, name_season: bool = False
) -> Svg:
    """Draw ``rail`` on the calendar; the other parameters are as in ``hour_rail``."""
    say = words or Words()
    last, start, due_day = _ordinal(rail.last), _ordinal(rail.start), _ordinal(rail.due)
    today = float(rail.today.toordinal())
    base, done = _base(last, start, due_day, rail.interval_days, today)
    cycle = _cycle(rail.interval_days, base, due_day, DAYS_PER_CYCLE_UNKNOWN)
    axis = _axis(base, cycle, [today, due_day], width)
    now = Span(today, today, today)
    due = _band(due_day, _ordinal(rail.due_low), _ordinal(rail.due_high))
    verb = rail.verb_done if done else rail.start_word
    known = last is not None or start is not None

    def day(value: float) -> str:
        return say.day(_as_date(value), rail.today)

    title = [say.title_last_date.format(verb=verb, value=day(base)) if known else say.title_never]
    title.append(say.title_today.format(value=day(today)))
    title.append(say.title_due_date.format(value=day(due.at)) if due else say.title_due_unknown)
    desc = []
    if due and due.is_wide:
        desc.append(say.desc_due.format(low=day(due.low), high=day(due.high)))
    if due and today > due.at:
        desc.append(say.desc_over_days.format(value=say.number(today - due.at)))
    desc += [say.desc_season.format(low=say.day(a, rail.today), high=say.day(b, rail.today)) for a, b in rail.seasons]

    marks = Marks(
        axis=axis,
        base=base if known else None,
        base_done=done,
        now=now,
        due=due,
        seasons=_seasons([(_ordinal(a), _ordinal(b)) for a, b in rail.seasons], axis),
        ticks=tuple(date_ticks(base, axis.end)),
        base_label=(say.last.format(verb=verb, value=day(base)), day(base)),
        now_label=(say.today,),
        due_label=(say.due.format(value=day(due.at)), day(due.at)) if due else (),
        season_label=say.season if name_season else "",
        title=f"{rail.unit_label}: {', '.join(title)}",
        desc=" ".join(desc),
    )
    return draw(marks, uid, width)


def _finite(rail: Rail) -> Rail:
    """Take a bound that statistics left infinite, or not a number, as not known."""
    unknown: dict[str, Any] = {
        name: None for name in _FIGURES if (value := getattr(rail, name)) is not None and not isfinite(value)
    }
    return replace(rail, **unknown) if unknown else rail


def _known(rail: Rail) -> bool:
    return rail.last is not None or rail.start is not None


def _base(
    last: float | None, start: float | None, due: float | None, interval: float | None, now: float | None
) -> tuple[float, bool]:
    """Where the rail begins, and whether the task was really done there."""
    if last is not None:
        return last, True
    if start is not None:
        return start, False
    if due is not None and interval:
        return due - interval, False
    values = [value for value in (now, due) if value is not None]
    return (min(values) - HOURS_PER_CYCLE_UNKNOWN / 2 if values else 0.0), False


def _cycle(interval: float | None, base: float, due: float | None, fallback: float) -> float:
    """The length that one interval takes on the rail, always above 0."""
    if interval is not None and interval >= _SHORTEST_CYCLE:
        return interval
    if due is not None and due - base >= _SHORTEST_CYCLE:
        return due - base
    return fallback


def _axis(base: float, cycle: float, must_show: list[float | None], width: int) -> Axis:
    return Axis.around(base, cycle, [value for value in must_show if value is not None], 6.0, width - 6.0)


def _band(at: float | None, low: float | None, high: float | None) -> Span | None:
    """A value with its range; a range that leaves out its own value is widened to hold it."""
    if at is None:
        return None
    return Span(at, at if low is None else min(at, low), at if high is None else max(at, high))


def _seasons(pairs: list[tuple[float | None, float | None]], axis: Axis) -> tuple[tuple[float, float], ...]:
    """Clip seasons to the rail; an open side runs to the rail's end."""
    lowest = axis.base - axis.cycle
    highest = max(axis.far or axis.end, axis.base + CYCLES_SHOWN * axis.cycle) + axis.cycle
    clipped = []
    for opens, closes in pairs:
        if opens is None and closes is None:
            continue
        low, high = (lowest if opens is None else opens), (highest if closes is None else closes)
        if high > low and axis.x(high) - axis.x(low) > 1:
            clipped.append((low, high))
    return tuple(clipped)


def _ordinal(day: date | None) -> float | None:
    return None if day is None else float(day.toordinal())


def _as_date(value: float) -> date:
    return date.fromordinal(min(max(round(value), 1), date.max.toordinal()))
