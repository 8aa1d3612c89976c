"""What a job says in a few words: its state, what holds the unit, and jobs listed by where they are done."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import lru_cache

from django.utils.formats import date_format
from django.utils.translation import get_language, gettext_lazy, ngettext
from django.utils.translation import gettext as _

from fleet.upkeep.ready import Job
from fleet.upkeep.reasons import CREW_CLEARS
from fleet.vocabulary import BENCH, DUE_BY, DUE_NOW, HOLD, PAST_DUE, STATES, TASKS, YARD, Label

HOLD_WORDS: dict[str, Label] = {
    "guard_off": gettext_lazy("Guard off"),
    "guard_damaged": gettext_lazy("Guard damaged"),
    "cracked_head": gettext_lazy("Cutting head cracked"),
    "no_stop": gettext_lazy("Engine does not stop"),
    "trigger_sticks": gettext_lazy("Trigger or lockout sticks"),
    "stop_check_failed": gettext_lazy("Stop switch failed its check"),
    "turns_at_idle": gettext_lazy("Head turns at idle"),
    "clutch_check_failed": gettext_lazy("Clutch failed its check"),
    "fuel_leak": gettext_lazy("Fuel leak"),
    "fuel_check_failed": gettext_lazy("Fuel line failed its check"),
    "screen_holed": gettext_lazy("Arrestor screen holed"),
    "screen_missing": gettext_lazy("Arrestor screen missing"),
    "loose_handle": gettext_lazy("Handle or mount loose"),
    "mounts_check_failed": gettext_lazy("Mounts failed their check"),
}
GUARD_FINDINGS = frozenset({"guard_off", "guard_damaged"})


def short_date(day: dt.date, today: dt.date) -> str:
    """A day without its year where that is this year's."""
    return _short_date(day, day.year == today.year, get_language())


@lru_cache(maxsize=8192)
def _short_date(day: dt.date, this_year: bool, _language: str | None) -> str:
    # Translators: a day of this year, and of another year, in Django's date format letters
    return date_format(day, _("M j") if this_year else _("M j, Y"))


def findings_of(job: Job) -> list[str]:
    """Keys of the findings that hold the unit under this job."""
    return [values["finding"] for kind, values in job.flag.extra_reasons if kind == "hold"]


def crew_clears(job: Job) -> bool:
    """Whether the crew's own word lifts the hold."""
    return all(finding in CREW_CLEARS for finding in findings_of(job))


def place_of(job: Job) -> str:
    """Where the job is done; a hold, by who may lift it."""
    if job.state == HOLD:
        return YARD if crew_clears(job) else BENCH
    return job.place


def job_label(job: Job) -> str:
    """The job's name; for a hold, what was found."""
    if job.state == HOLD:
        found = [str(HOLD_WORDS[f]) for f in findings_of(job) if f in HOLD_WORDS]
        if found:
            return ", ".join([found[0], *(_lower_first(f) for f in found[1:])])
    return _task_label(job.task, get_language())


@lru_cache(maxsize=256)
def _task_label(task: str, _language: str | None) -> str:
    return str(TASKS[task].label)


def state_words(job: Job) -> str:
    """The state as it stands beside its sign: *past due 9 h*, *due by Apr 2*."""
    if job.state == PAST_DUE:
        return _past_due(job)
    if job.state == DUE_BY and job.due_on is not None:
        return _("due by %(date)s") % {"date": short_date(job.due_on, job.as_of)}
    if job.state == DUE_NOW:
        return str(STATES[DUE_NOW])
    return str(STATES[job.state])


def _past_due(job: Job) -> str:
    over = None if job.flag.due_hours is None else job.hours_now - job.flag.due_hours
    if over is not None and over > 0 and job.flag.due_hours is not None:
        # Hours that are guessed may still lie before the due ones: then the figure is an estimate, and says so.
        sure = job.hours_now_low >= job.flag.due_hours
        if over < 1:
            return _("past due, under 1 h") if sure else _("past due, or about to be")
        words = _("past due %(hours)s h") if sure else _("past due about %(hours)s h")
        return words % {"hours": f"{over:,.0f}"}
    days = (job.as_of - job.flag.due_date).days if job.flag.due_date else 0
    return ngettext("past due %(n)d day", "past due %(n)d days", days) % {"n": days}


def _lower_first(words: str) -> str:
    return words[:1].lower() + words[1:]


def jobs_by_place(jobs: Sequence[Job]) -> list[tuple[str, str]]:
    """(place, the jobs done there in one phrase), in the order of the jobs; what holds the unit stands alone."""
    found: dict[tuple[bool, str], list[str]] = {}
    language = get_language()
    for job in jobs:
        if job.state == HOLD:
            found.setdefault((True, place_of(job)), []).append(job_label(job))
        else:
            found.setdefault((False, job.place), []).append(_task_label(job.task, language))
    return [
        (place, ", ".join([labels[0], *(_lower_first(label) for label in labels[1:])]))
        for (_held, place), labels in found.items()
    ]
