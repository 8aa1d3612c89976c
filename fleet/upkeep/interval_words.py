"""Sentences about learned intervals: what the record says, what was borrowed, and what the manual says."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.vocabulary import COMPONENTS


def _h(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}"


def _percent(value: float) -> str:
    return f"{100 * value:.0f}"


def _manual(v: dict[str, Any]) -> str:
    words = _("the maker's manual says %(hours)s h") if v["source"] == "maker" else _("common practice is %(hours)s h")
    return words % {"hours": _h(v["manual"])}


def _count(v: dict[str, Any]) -> str:
    part = str(COMPONENTS[v["component"]])
    return ngettext("%(n)d failure (%(part)s)", "%(n)d failures (%(part)s)", v["failures"]) % {
        "n": v["failures"],
        "part": part,
    }


def learned_model(v: dict[str, Any]) -> str:
    """Shorter, on this model's own failures."""
    if v["whole"]:
        text = _("Sooner than the manual: %(count)s of this model on record; %(manual)s.")
    else:
        text = _(
            "Sooner than the manual: %(count)s of this model in your own record, and others' whose counts are not "
            "shown; %(manual)s."
        )
    return text % {"count": _count(v), "manual": _manual(v)} + _chances(v)


def learned_pooled(v: dict[str, Any]) -> str:
    """Shorter, on other models' failures alone."""
    if v["whole"]:
        text = _("Sooner than the manual: none of this model failed, but %(count)s of other models did; %(manual)s.")
        said = text % {"count": _count(v), "manual": _manual(v)}
    else:
        said = _("Sooner than the manual: none of this model failed, but other models did; %(manual)s.") % {
            "manual": _manual(v)
        }
    return said + _chances(v)


def learned_manual(v: dict[str, Any]) -> str:
    """The manual stands although something failed."""
    if v["failures"]:
        return _("%(count)s on record do not show that sooner than the manual would be better.") % {"count": _count(v)}
    return _("No failure of this model is in sight (%(part)s): the manual stands.") % {
        "part": str(COMPONENTS[v["component"]])
    }


def _chances(v: dict[str, Any]) -> str:
    if v["chance"] is None or v["chance_manual"] is None:
        return ""
    values = {"chance": _percent(v["chance"]), "manual": _percent(v["chance_manual"])}
    return " " + _("Chance of a failure between services: %(chance)s %%, at the manual's %(manual)s %%.") % values


WORDS = {
    "learned_model": learned_model,
    "learned_pooled": learned_pooled,
    "learned_manual": learned_manual,
    "learned_risk": lambda v: (
        _("Held to the accepted risk of %(limit)s %% between two services.") % {"limit": _percent(v["limit"])}
    ),
    "learned_borrowed": lambda v: (
        _("About %(share)s %% of this estimate is borrowed from other models.") % {"share": _percent(v["share"])}
    ),
    "learned_tonight": lambda _v: _(
        "The manual's for now: what the record says at the present figures is worked out tonight."
    ),
    "learned_guard": lambda v: (
        _("Run without a guard about %(share)s %% of its hours: every %(hours)s h; with the guard on, %(on)s h.")
        % {"share": _percent(v["share"]), "hours": _h(v["hours"]), "on": _h(v["on"])}
    ),
    "staggered": lambda _v: _("At half the interval by your choice, so that damage hidden by even services shows."),
}
