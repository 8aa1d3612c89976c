"""Things to do of the annual report as sentences, in the reader's language."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.utils.formats import number_format
from django.utils.text import get_text_list
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.upkeep import annual


def _claim_waiting(v: dict[str, Any]) -> str:
    words = ngettext(
        "Hand in the unit whose fault is on a part under warranty, before that ends.",
        "Hand in the %(n)d units whose faults are on parts under warranty; the first warranty ends then.",
        v["n"],
    )
    return words % v


def _claim_paid(v: dict[str, Any]) -> str:
    words = ngettext(
        "Ask whether the repair that was paid for on a covered part can still be claimed; seldom later than a year "
        "after the fault (common practice, the maker's terms decide).",
        "Ask whether the %(n)d repairs that were paid for on covered parts can still be claimed; seldom later than a "
        "year after the fault (common practice, the maker's terms decide). The oldest is a year old then.",
        v["n"],
    )
    return words % v


def _decide(v: dict[str, Any]) -> str:
    words = ngettext(
        "Decide on the %(n)d unit that is advised to be replaced.",
        "Decide on the %(n)d units that are advised to be replaced.",
        v["n"],
    )
    return words % v


def _order(v: dict[str, Any]) -> str:
    return (
        ngettext("Order %(n)d new unit as on the buying list.", "Order %(n)d new units as on the buying list.", v["n"])
        % v
    )


def _look_closer(v: dict[str, Any]) -> str:
    words = ngettext(
        "Have the %(n)d unit looked at on which the record cannot decide.",
        "Have the %(n)d units looked at on which the record cannot decide.",
        v["n"],
    )
    return words % v


def _guards(v: dict[str, Any]) -> str:
    words = _("Settle how guards stay on in %(crews)s: what makes them come off, and what would help.")
    return words % {"crews": get_text_list(v["crews"], _("and"))}


def _walks(v: dict[str, Any]) -> str:
    words = _("Walk the guards all season: about %(hours)s more hours of all crews should tell what the record cannot.")
    return words % {"hours": number_format(v["hours"], use_l10n=True, force_grouping=True)}


_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    annual.CLAIM_WAITING: _claim_waiting,
    annual.CLAIM_PAID: _claim_paid,
    annual.DECIDE: _decide,
    annual.ORDER: _order,
    annual.LOOK_CLOSER: _look_closer,
    annual.LAY_UP: lambda v: _("Lay units up as the season ends: fuel out, run dry, dated, as the manual says."),
    annual.GUARDS: _guards,
    annual.WALKS: _walks,
}


def to_do_sentence(one: annual.ToDo) -> str:
    """What is to be done."""
    return _WORDS[one.kind](one.values)
