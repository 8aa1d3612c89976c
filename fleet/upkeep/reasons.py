"""Why a job is due: facts as kind and values, worded in the reader's language when shown."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from functools import lru_cache
from typing import Any

from django.utils.formats import date_format
from django.utils.translation import get_language, gettext_noop, ngettext, pgettext
from django.utils.translation import gettext as _

from fleet.upkeep import interval_words
from fleet.upkeep.ready import Job, Reason
from fleet.vocabulary import TASKS

FINDING_SENTENCES = {
    "guard_off": gettext_noop("Guard found off on %(since)s."),
    "guard_damaged": gettext_noop("Guard found damaged on %(since)s."),
    "cracked_head": gettext_noop("Cutting head found cracked or unsound on %(since)s."),
    "no_stop": gettext_noop("The engine could not be stopped by its switch on %(since)s."),
    "trigger_sticks": gettext_noop("Trigger or lockout found sticking on %(since)s."),
    "stop_check_failed": gettext_noop("The stop switch failed its check on %(since)s."),
    "turns_at_idle": gettext_noop("The head turned at idle on %(since)s."),
    "clutch_check_failed": gettext_noop("The clutch failed its check on %(since)s."),
    "fuel_leak": gettext_noop("Fuel leak found on %(since)s."),
    "fuel_check_failed": gettext_noop("The fuel line failed its check on %(since)s."),
    "screen_holed": gettext_noop("Arrestor screen found holed on %(since)s."),
    "screen_missing": gettext_noop("Arrestor screen found missing on %(since)s."),
    "loose_handle": gettext_noop("Handle or mount found loose on %(since)s."),
    "mounts_check_failed": gettext_noop("The mounts failed their check on %(since)s."),
}
# Hours added by the usual week since the last entry are told from here on.
TOLD_ASSUMED_HOURS = 10
CREW_CLEARS = frozenset({"guard_off", "guard_damaged", "cracked_head"})


def reasons_of(job: Job) -> list[Reason]:
    """What the state of a job rests on, most telling first; a hold rests on what was found, and on nothing else."""
    flag, unit = job.flag, job.unit
    found: list[Reason] = list(flag.extra_reasons)
    if flag.on_hold:
        # The row's interval is of the task that clears the finding: beside the hold it would read as the hold's own.
        return [*found, ("who_clears", {"crew": all(v["finding"] in CREW_CLEARS for k, v in found if k == "hold")})]
    if flag.interval_hours is not None or flag.interval_months:
        week = unit.day_rate * job.days_per_week
        source = "record" if flag.interval_basis in ("pooled", "model") or flag.staggered else flag.manual_source
        found.append(
            (
                f"interval_{source}",
                {
                    "hours": flag.interval_hours,
                    "months": flag.interval_months,
                    "weeks": round(flag.interval_hours / week, 1) if flag.interval_hours and week > 0.05 else None,
                },
            )
        )
        found += flag.why
        if flag.staggered:
            found.append(("staggered", {}))
        if flag.interval_basis == "manual" and not flag.why:
            found.append(("manual_alone", {}))
    if flag.task == "lay_up":
        found.append(("season_close", {"date": _iso(flag.due_date)}))
    if flag.last_done_on is not None:
        found.append(
            ("last_done", {"task": flag.task, "hours": flag.last_done_hours, "date": flag.last_done_on.isoformat()})
        )
    elif flag.counts_from_hours > 0:
        found.append(("since_registration", {"hours": flag.counts_from_hours, "date": flag.counts_from_on.isoformat()}))
    else:
        found.append(("since_new", {"date": flag.counts_from_on.isoformat()}))
    if job.by_date and flag.task != "lay_up":
        kind = "months_lead" if flag.due_hours is not None else "months_only"
        found.append((kind, {"date": _iso(flag.due_date)}))
    if flag.due_hours is not None:
        found.append(
            (
                f"hours_{unit.basis}",
                hours_values(job),
            )
        )
    return found


def _iso(date: dt.date | None) -> str | None:
    return None if date is None else date.isoformat()


def _day(text: str | None) -> str:
    return "" if text is None else _day_in(text, get_language())


@lru_cache(maxsize=8192)
def _day_in(text: str, _language: str | None) -> str:
    """The same few days stand in many sentences of a page, and wording one is slow."""
    return date_format(dt.date.fromisoformat(text), "M j, Y")


def _hours(value: float) -> str:
    return f"{value:.0f}" if abs(value - round(value)) < 0.05 else f"{value:.1f}"


def _every(values: dict[str, Any]) -> str:
    parts = []
    if values["hours"] is not None:
        about = _weeks(values["weeks"])
        hours = _("%(hours)s h") % {"hours": _hours(values["hours"])}
        parts.append(f"{hours} ({about})" if about else hours)
    if values["months"]:
        parts.append(ngettext("%(n)d month", "%(n)d months", values["months"]) % {"n": values["months"]})
    if len(parts) == 2:
        return _("Every %(hours)s or %(months)s, whichever comes first") % {"hours": parts[0], "months": parts[1]}
    return _("Every %(interval)s") % {"interval": parts[0]}


def _weeks(weeks: float | None) -> str:
    """An interval in people's time, at the unit's usual week."""
    if weeks is None:
        return ""
    n = round(weeks)
    if n < 1:
        return _("more than once a week in season")
    if n == 1:
        return _("about every Friday in season")
    if n == 2:
        return _("about every second Friday in season")
    return _("about every %(n)d weeks in season") % {"n": n}


def _guessed(values: dict[str, Any]) -> str:
    if values["guessed"] < 1:
        return ""
    return " " + _("%(share)d %% of its hours are guessed from usual weeks.") % {"share": values["guessed"]}


def _assumed(values: dict[str, Any]) -> str:
    """What the usual week added since the last entry; a little of it goes without saying."""
    if values["assumed"] < TOLD_ASSUMED_HOURS:
        return ""
    return " " + _("Since then the usual week is assumed: %(hours)s h of them.") % {"hours": values["assumed"]}


def _hours_sentence(sentence: str, assumed: bool = True) -> Callable[[dict[str, Any]], str]:
    return lambda v: _(sentence) % {"date": _day(v["until"])} + _guessed(v) + (_assumed(v) if assumed else "")


_WORDS: dict[str, Callable[[dict[str, Any]], str]] = {
    **interval_words.WORDS,
    "hold": lambda v: _(FINDING_SENTENCES[v["finding"]]) % {"since": _day(v["since"])},
    "who_clears": lambda v: (
        _("Do not start it until it is put right; the crew records that.")
        if v["crew"]
        else _("Do not start it. The shop clears this after checking the unit.")
    ),
    "interval_maker": lambda v: _("%(every)s: the maker's manual.") % {"every": _every(v)},
    "interval_practice": lambda v: _("%(every)s: common practice, check the manual.") % {"every": _every(v)},
    "interval_record": lambda v: _("%(every)s.") % {"every": _every(v)},
    "manual_alone": lambda v: _("No failure record stands behind this interval yet."),
    "season_close": lambda v: _("Fuel out and run dry by the season's close on %(date)s.") % {"date": _day(v["date"])},
    "last_done": lambda v: (
        pgettext("last done", "Last %(done)s at %(hours)s h on %(date)s.")
        % {"done": TASKS[v["task"]].done_word, "hours": _hours(v["hours"]), "date": _day(v["date"])}
    ),
    "since_registration": lambda v: (
        _("Never recorded as done: counted from its registration at %(hours)s h on %(date)s.")
        % {"hours": _hours(v["hours"]), "date": _day(v["date"])}
    ),
    "since_new": lambda v: _("Never recorded as done: counted from new on %(date)s.") % {"date": _day(v["date"])},
    "months_lead": lambda v: _("Its months are up on %(date)s, before its hours.") % {"date": _day(v["date"])},
    "months_only": lambda v: _("Its months are up on %(date)s.") % {"date": _day(v["date"])},
    "hours_meter": _hours_sentence(gettext_noop("Hours rest on the meter, read until %(date)s.")),
    "hours_run": _hours_sentence(gettext_noop("Hours rest on hours logged, the last for the week that ends %(date)s.")),
    "hours_fuel": _hours_sentence(gettext_noop("Hours rest on fuel drawn, the last for the week that ends %(date)s.")),
    "hours_crew": _hours_sentence(
        gettext_noop("Hours rest on the crew's totals, the last for the week that ends %(date)s.")
    ),
    "hours_service": _hours_sentence(gettext_noop("Hours rest on those written at its last service, %(date)s.")),
    "hours_none": _hours_sentence(gettext_noop("No hours logged since %(date)s: the usual week is assumed."), False),
}


def word(reason: Reason) -> str:
    """One sentence for one reason."""
    kind, values = reason
    return _WORDS[kind](values)


def sentences(job: Job, hours: bool = True, alone: bool = True) -> list[str]:
    """All reasons of a job as sentences; what a list says once for all of its jobs may be left out.

    Without ``hours``, what the unit's hours rest on; without ``alone``, that no failure record stands behind it.
    """
    return [
        word((kind, values))
        for kind, values in reasons_of(job)
        if (hours or not kind.startswith("hours_")) and (alone or kind != "manual_alone")
    ]


def hours_rest_on(job: Job) -> str:
    """What the hours of a job's unit rest on, as a sentence."""
    return word((f"hours_{job.unit.basis}", hours_values(job)))


def hours_values(job: Job) -> dict[str, Any]:
    """Values of the reason about a unit's hours."""
    unit = job.unit
    # Without any entry, what is known is the evening before registration.
    until = unit.known_until + dt.timedelta(days=unit.basis == "none")
    return {
        "until": until.isoformat(),
        "guessed": round(100 * unit.guessed_share),
        "assumed": round(job.hours_now - unit.hours),
    }
