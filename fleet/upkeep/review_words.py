"""Reasons of *Keep or replace* as sentences, in the reader's language."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.upkeep.review import Reason


def _money(amount: float) -> str:
    return "$" + number_format(round(amount), decimal_pos=0, use_l10n=True, force_grouping=True)


def _number(value: float, digits: int = 0) -> str:
    return number_format(round(value, digits), decimal_pos=digits, use_l10n=True, force_grouping=True)


def _next_season(v: dict[str, Any]) -> str:
    words = _(
        "Next season about %(repairs)s repairs are to be expected over %(hours)s hours: with service, days down and "
        "the fall of its resale value %(keep)s, against %(replace)s a season for a new one."
    )
    return words % {
        "repairs": _number(v["repairs"], 1),
        "hours": _number(v["hours"]),
        "keep": _money(v["keep"]),
        "replace": _money(v["replace"]),
    }


def _own_record(v: dict[str, Any]) -> str:
    n = int(v["repairs"])
    words = ngettext(
        "It has had %(n)d repair on record, where a unit like it has about %(expected)s.",
        "It has had %(n)d repairs on record, where a unit like it has about %(expected)s.",
        n,
    )
    return words % {"n": n, "expected": _number(v["expected"], 1)}


def _rests_on(v: dict[str, Any]) -> str:
    words = _("This rests on %(all)s repairs of %(units)s units, %(own)s of them on the %(model)s.")
    return words % {"all": _number(v["all"]), "units": _number(v["units"]), "own": _number(v["own"]),
                    "model": v["model"]}  # fmt: skip


def _half_too_high(v: dict[str, Any]) -> str:
    if v["limit"] < 0.5:
        words = _(
            "The rule of thumb would repair it up to half the price of a new one, %(half)s. Its seasons ahead are so "
            "dear that nothing spent on it comes back."
        )
        return words % {"half": _money(v["half"])}
    words = _(
        "The rule of thumb would repair it up to half the price of a new one, %(half)s. Its seasons ahead are dear "
        "enough that only %(limit)s comes back."
    )
    return words % {"half": _money(v["half"]), "limit": _money(v["limit"])}


def _half_too_low(v: dict[str, Any]) -> str:
    words = _(
        "The rule of thumb would give it up beyond half the price of a new one, %(half)s. Its seasons ahead are cheap "
        "enough that %(limit)s still comes back."
    )
    return words % {"half": _money(v["half"]), "limit": _money(v["limit"])}


def _parts_ended(v: dict[str, Any]) -> str:
    day = date_format(dt.date.fromisoformat(v["since"]), "M j, Y")
    return _("Its maker's parts ended on %s: ask what can still be had before any repair.") % day


def _mend_and_sell(v: dict[str, Any]) -> str:
    words = _("The spend limit is what it sells for mended over broken: beyond %s it is not worth mending to sell.")
    said = words % _money(v["limit"])
    if "half" not in v:  # kept before the rule was told beside it
        return said
    return said + " " + _("The rule of thumb, half the price of a new one, is %s.") % _money(v["half"])


_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    "next_season": _next_season,
    "own_record": _own_record,
    "rests_on": _rests_on,
    "half_too_high": _half_too_high,
    "half_too_low": _half_too_low,
    "parts_ended": _parts_ended,
    "mend_and_sell": _mend_and_sell,
    "recall": lambda v: _("A recall notice names it. Do as the notice says first; no repair takes its place."),
    "other_model": lambda v: _("Compared with the %s, the cheapest of its size by the season.") % v["model"],
    "no_price": lambda v: _("No price is entered for the %s, so it cannot be compared.") % v["model"],
    "too_few": lambda v: _("With %s repairs on record nobody can say how they come with age.") % _number(v["repairs"]),
}


def review_sentences(reasons: list[Reason]) -> list[str]:
    """One sentence a reason."""
    return [_WORDS[kind](values) for kind, values in reasons]
