"""The words of the drawings in the reader's language."""

from __future__ import annotations

from datetime import date

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _

from fleet.charts.curves import CurveWords
from fleet.charts.rail import Words


def rail_words() -> Words:
    """Everything a rail says, for the language that is active now."""
    return Words(
        # Translators: on the hour rail, e.g. "greased 212"; {verb} is what was done, {value} the hours or the date
        last=_("{verb} {value}"),
        # Translators: on the hour rail above the wedge, in engine hours
        now=_("now {value}"),
        today=_("today"),
        # Translators: on the hour rail below the upright, in engine hours or a date
        due=_("due {value}"),
        season=_("season"),
        hours_unknown=_("hours not known"),
        title_last_hours=_("{verb} at {value} hours"),
        title_last_date=_("{verb} on {value}"),
        title_never=_("last time not known"),
        title_now=_("now about {value} hours"),
        title_today=_("today is {value}"),
        title_due_hours=_("due at {value} hours"),
        title_due_date=_("due on {value}"),
        title_due_unknown=_("no due mark"),
        desc_now=_("Now between {low} and {high} hours."),
        desc_due=_("Due between {low} and {high}."),
        desc_over_hours=_("Past due by {value} hours."),
        desc_over_days=_("Past due by {value} days."),
        desc_season=_("Season from {low} to {high}."),
        number=_whole_number,
        day=_day,
    )


def _whole_number(value: float) -> str:
    return number_format(round(value), decimal_pos=0, use_l10n=True, force_grouping=True)


def _day(day: date, today: date) -> str:
    # Translators: a day of the current year, in Django's date format letters, as short as it can be
    this_year = _("M j")
    # Translators: a day of another year, in Django's date format letters, as short as it can be
    other_year = _("M j, Y")
    return date_format(day, this_year if day.year == today.year else other_year)


def curve_words() -> CurveWords:
    """Everything the curves of a model record say, for the language that is active now."""
    return CurveWords(
        hours=_("engine hours"),
        hours_since=_("engine hours since {task}"),
        failed=_("share failed by then"),
        cost=_("dollars an engine hour"),
        interval=_("interval, engine hours"),
        repairs=_("repairs per unit by then"),
        # Translators: beside the upright that marks the interval chosen, e.g. "every 18 h"
        chosen=_("every {value} h"),
        chosen_short=_("{value} h"),
        # Translators: beside the upright that marks what the maker's manual says; long and short
        manual=_("manual {value} h"),
        manual_short=_("manual {value}"),
        title_failed=_("{what}: share failed by engine hours"),
        title_cost=_("{what}: cost of each interval"),
        title_repairs=_("{what}: repairs per unit by engine hours"),
        desc_seen=_("Seen: {share} failed by {hours} hours, between {low} and {high}."),
        desc_fit=_("Fitted: {share} failed by {hours} hours, between {low} and {high}."),
        desc_no_fit=_("No curve is fitted: too few failures."),
        desc_outside=_("The fit leaves the limits between {low} and {high} hours."),
        desc_inside=_("The fit stays within the limits."),
        desc_chosen=_("Interval: every {value} hours."),
        desc_manual=_("The manual says {value} hours."),
        desc_cost=_("Least at {hours} hours: {cost} an hour. At the manual's {manual} hours: {manual_cost}."),
        desc_flat=_("Between {low} and {high} hours it costs nearly the same."),
        # Translators: two models in the title of a drawing
        both=_("{first} and {second}"),
        # Translators: a model, and what a drawing says of it in a sentence
        named=_("{what}: {said}"),
        desc_repairs=_("By {hours} hours {value} repairs per unit, between {low} and {high}."),
        number=_whole_number,
        small=_two_places,
        percent=_percent,
        money=_money,
    )


def _two_places(value: float) -> str:
    return number_format(value, decimal_pos=2, use_l10n=True, force_grouping=True)


def _percent(share: float) -> str:
    # Translators: a share of 100, written with its sign
    return _("{value} %").format(value=_whole_number(100 * share))


def _money(value: float) -> str:
    # Translators: an amount of US dollars with cents
    return _("${value}").format(value=_two_places(value))
