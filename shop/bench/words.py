"""What the bench says: jobs in words, minutes and days in sentences, refusals."""

from __future__ import annotations

import datetime as dt

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from fleet.vocabulary import COMPONENTS, FAILURE_DONE, TASKS, Label
from shop.vocabulary import INTAKE, KIT, QUICK_LOOK

_OTHER: dict[str, Label] = {
    INTAKE: gettext_lazy("Take in, wash down, safety look"),
    QUICK_LOOK: gettext_lazy("Quick look at a complaint"),
    KIT: gettext_lazy("Other kit"),
}


def job_words(job: str) -> str:
    """A job's name as people read it."""
    kind, _dot, rest = job.partition(".")
    if kind == "task":
        return str(TASKS[rest].label)
    if kind == "fault":
        return _("Fault: %(part)s") % {"part": COMPONENTS[rest]}
    if kind == "repair":
        component, _dot, done = rest.partition(".")
        return _("%(part)s %(done)s") % {
            "part": _first_upper(str(COMPONENTS[component])), "done": FAILURE_DONE[done],
        }  # fmt: skip
    return str(_OTHER[job])


def day_words(day: dt.date) -> str:
    """A day with its weekday."""
    # Translators: a day with its weekday, in Django's date format letters
    return date_format(day, _("D, M j"))


def minutes_words(minutes: int) -> str:
    """Minutes with their word."""
    return ngettext("%(n)d minute", "%(n)d minutes", minutes) % {"n": minutes}


def too_many_minutes(most: int) -> str:
    """Why a figure of minutes is not taken."""
    return _("Write whole minutes from 1 to %(most)d, or leave it blank.") % {"most": most}


def _first_upper(words: str) -> str:
    return words[:1].upper() + words[1:]
