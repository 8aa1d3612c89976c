"""From a job to its rail: engine hours where hours make it due, the calendar where months do."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from functools import lru_cache

from django.utils.translation import gettext as _

from fleet.charts.rail import DateRail, Rail, Words, date_rail, hour_rail
from fleet.charts.svg import Svg
from fleet.upkeep.days import add_months, day_of
from fleet.upkeep.ready import Job
from fleet.upkeep.season import Season
from fleet.vocabulary import HOLD, TASKS


def job_rail(job: Job, seasons: Mapping[int, Season], words: Words, uid: str, width: int = 300) -> Svg | None:
    """The job's rail; none for a unit on hold by this job, and none where nothing is known to draw."""
    season = seasons[job.unit.contractor]
    flag = job.flag
    if job.state == HOLD:
        return None
    if flag.due_hours is not None and not job.by_date:
        return hour_rail(_on_hours(job, season), uid=uid, words=words, width=width)
    if flag.due_date is not None:
        return date_rail(_on_calendar(job, season), uid=uid, words=words, width=width)
    return None


def _unit_label(job: Job) -> str:
    return f"{job.unit.tag}, {TASKS[job.task].label}"


def _on_hours(job: Job, season: Season) -> Rail:
    flag, unit = job.flag, job.unit
    past, ahead = _season_days(season, job.as_of)
    # Before its registration a unit ran at an unknown rate, so the ground starts no earlier than its own hours.
    opened = max(job.hours_now - unit.day_rate * past, 0.0)
    return Rail(
        unit_label=_unit_label(job),
        last=flag.last_done_hours,
        now=job.hours_now,
        now_low=job.hours_now_low,
        now_high=job.hours_now_high,
        due=flag.due_hours,
        season_from=opened,
        season_to=job.hours_now + unit.day_rate * ahead,
        interval=flag.interval_hours,
        verb_done=str(TASKS[job.task].done_word),
        start=flag.counts_from_hours,
        start_word=_("new") if flag.counts_from_hours == 0 else _("registered"),
    )


@lru_cache(maxsize=256)
def _season_days(season: Season, today: dt.date) -> tuple[float, float]:
    """Working days' worth of this season (or, between two, of the next one) that lie behind and ahead."""
    year = dt.timedelta(days=370)
    opens, closes = next(span for span in season.stretches(today - year, today + 2 * year) if span[1] >= today)
    first = day_of(min(opens, today))
    worth = season.worth(first, day_of(closes) - first + 1)
    behind = day_of(today) - first
    return float(worth[:behind].sum()), float(worth[behind:].sum())


def _on_calendar(job: Job, season: Season) -> DateRail:
    flag = job.flag
    assert flag.due_date is not None
    base = flag.last_done_on or flag.counts_from_on
    end = max(flag.due_date, job.as_of) + dt.timedelta(days=240)
    interval = None
    if flag.interval_months:
        interval = float((add_months(base, flag.interval_months) - base).days)
    return DateRail(
        unit_label=_unit_label(job),
        today=job.as_of,
        last=flag.last_done_on,
        due=flag.due_date,
        seasons=tuple(season.stretches(base, end)),
        interval_days=interval,
        verb_done=str(TASKS[job.task].done_word),
        start=flag.counts_from_on,
        start_word=_("bought") if flag.counts_from_hours == 0 else _("registered"),
    )
