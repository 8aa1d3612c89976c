"""What is said each night of what will happen, kept so that it can be held against what did.

A statement counts for calibration once its days are over, and one made while another about the same thing runs would
count the same event twice. So a unit speaks again only when its last statements are settled, every thirty days; and
since some thousands of statements tell a probability apart to a percent or two, a fixed part of the units speaks for
all: a portal of any size keeps some hundred thousands of statements a year at most.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.db import connection, transaction
from django.utils import timezone
from numpy.typing import ArrayLike, NDArray

from fleet.models import Contractor, FitSnapshot, Forecast, Trimmer
from fleet.reliability import project_hours
from fleet.upkeep.days import NO_DAY, day_of
from fleet.upkeep.fit_records import FitRecord
from fleet.upkeep.fit_store import latest_fits, read_fits
from fleet.upkeep.histories import COMPONENT_CODE, load_histories
from fleet.upkeep.refresh import Answers, Setting, answer, read_setting
from fleet.upkeep.sample_packs import fitted_share, in_share
from fleet.upkeep.samples import standing
from fleet.vocabulary import TASK_KEYS

Floats = NDArray[np.float64]
Row = tuple[Any, ...]

# Units that speak: all of a smaller portal, between half of this and this many of a larger one.
SPEAKERS = 1_000
# A unit speaks again when this many days are over; of failures it also says what comes within the season's quarter.
DAYS, LONG_DAYS = 30, 90


@dataclass(frozen=True)
class Said:
    """Statements of one kind: ``row`` is the unit's row in ``Timelines``, ``target_hours`` NaN for failures."""

    kind: str
    row: NDArray[np.int64]
    subject: Sequence[str]
    days: int
    probability: Floats
    target_hours: Floats


def record_forecasts(contractors: Sequence[Contractor], *, as_of: dt.date) -> int:
    """Keep what the ledger and the learnings of ``as_of`` say of the coming weeks; returns how many statements.

    A second run of the same day adds nothing. Constant number of queries.
    """
    units = _speakers(contractors, as_of)
    if not units:
        return 0
    h = load_histories(units, as_of)
    if not h.core.any():
        return 0
    fits = latest_fits(as_of)
    setting = read_setting(h, as_of)
    found = answer(h, setting)
    models = np.unique(h.units["model"][found.lines.unit]).tolist()
    said = statements(found, setting, read_fits(fits, models), as_of)
    long_open = set(
        Forecast.objects.filter(trimmer__in=units, days=LONG_DAYS, until__gt=as_of).values_list("trimmer_id", flat=True)
    )
    rows = [row for part in said for row in _rows(part, found, setting, fits, as_of, long_open)]
    _add(rows)
    return len(rows)


def _add(rows: Sequence[Row]) -> None:
    """Add rows in one statement; those of a scan that ran at the same time stand as they are."""
    columns = (
        "contractor_id", "trimmer_id", "kind", "subject", "said_on", "days", "until", "probability", "target_hours",
        "fits_id", "usage_version", "recorded_at",
    )  # fmt: skip
    marks = ", ".join(["%s"] * len(columns))
    sql = f"INSERT INTO fleet_forecast ({', '.join(columns)}) VALUES ({marks}) ON CONFLICT DO NOTHING"  # noqa: S608
    now = timezone.now()
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.executemany(sql, [(*row, now) for row in rows])


def _speakers(contractors: Sequence[Contractor], as_of: dt.date) -> list[int]:
    """Units in use among those that speak for all, whose last statements' days are over."""
    share = fitted_share(Trimmer.objects.count(), SPEAKERS)
    mine = Trimmer.objects.filter(contractor__in=[c.pk for c in contractors], retired_on__isnull=True)
    ids = np.array(list(mine.order_by("pk").values_list("pk", flat=True)), dtype=np.int64)
    chosen = ids[in_share(ids, share)].tolist()
    running = Forecast.objects.filter(trimmer__in=chosen, days=DAYS, until__gt=as_of)
    speaking = set(running.values_list("trimmer_id", flat=True))
    return [pk for pk in chosen if pk not in speaking]


def statements(
    found: Answers, setting: Setting, fits: Mapping[tuple[int, str], FitRecord], as_of: dt.date
) -> list[Said]:
    """The pure part: what these units' hours, flags and fits say of the days after ``as_of``."""
    in_use = found.histories.units["retired"][found.lines.unit] == NO_DAY
    return [
        _due(found, setting, in_use, as_of),
        *(_failures(found, setting, fits, in_use, as_of, days) for days in (DAYS, LONG_DAYS)),
    ]


def _due(found: Answers, setting: Setting, in_use: NDArray[np.bool_], as_of: dt.date) -> Said:
    """Whether the hours pass those at which a task falls due; nothing of what they have passed, or of dates."""
    f, lines = found.flags, found.lines
    row = lines.row_of[f.unit]
    held = np.isin(np.arange(len(row)), list(f.holds))
    at = np.flatnonzero(~np.isnan(f.due_hours) & in_use[row] & ~held & (f.passed_on >= NO_DAY))
    row = row[at]
    # Doubt about hours run before the task was last done does not touch the hours run since.
    since_done = np.maximum(lines.hours[row] - f.counts_from_hours[at], 0.0)
    ahead = _ahead(found, setting, row, as_of, DAYS, f.due_hours[at], since_done)
    to_come = ahead.hours <= f.due_hours[at]
    kept = np.flatnonzero(to_come)
    return Said(
        Forecast.DUE,
        row[kept],
        [TASK_KEYS[t] for t in f.task[at[kept]].tolist()],
        DAYS,
        ahead.probability[kept],
        f.due_hours[at[kept]],
    )


def _failures(
    found: Answers, setting: Setting, fits: Mapping[tuple[int, str], FitRecord], in_use: NDArray[np.bool_],
    as_of: dt.date, days: int,
) -> Said:  # fmt: skip
    """Whether a component at work fails, at the hours its unit will run and its usual share of them without guard."""
    h, lines = found.histories, found.lines
    parts = standing(h, lines)
    names = {code: name for name, code in COMPONENT_CODE.items()}
    subject = [names[code] for code in parts.stream.tolist()]
    models = h.units["model"][lines.unit[parts.row]].tolist()
    known = [fits.get(key) for key in zip(models, subject, strict=True)]
    shape, scale, ratio = (
        np.array([np.nan if k is None or (v := getattr(k, name)) is None else v for k in known], dtype=float)
        for name in ("shape", "scale", "guard_off_ratio")
    )
    on_task = np.array([k is not None and k.clock == "task" for k in known], dtype=bool)
    clock = np.where(on_task, parts.since, parts.age)
    at = np.flatnonzero(in_use[parts.row] & ~np.isnan(shape) & ~np.isnan(clock))
    row = parts.row[at]
    now, later = (_ahead(found, setting, row, as_of, d).hours for d in (0, days))
    clock = np.maximum(clock[at], 0.0) + now - lines.hours[row]
    return Said(
        Forecast.FAILURE,
        row,
        [subject[i] for i in at.tolist()],
        days,
        failure_chance(shape[at], scale[at], ratio[at], clock, later - now, found.exposure.recent[row]),
        np.full(len(at), np.nan),
    )


def failure_chance(
    shape: ArrayLike, scale: ArrayLike, ratio: ArrayLike, hours: ArrayLike, ahead: ArrayLike, exposure: ArrayLike
) -> Floats:
    """Probability that a Weibull life of ``hours`` so far ends within so many more.

    1 - exp(-(((t + a)/scale)^shape - (t/scale)^shape) ratio^exposure): the conditional failure probability of any
    textbook on lifetimes, with the guard's ratio entering as the fits' covariate does.

    >>> round(float(failure_chance(1.0, 100.0, 2.0, 40.0, 10.0, 1.0)), 4)
    0.1813
    """
    k, s = np.asarray(shape, dtype=float), np.asarray(scale, dtype=float)
    t, a = np.asarray(hours, dtype=float), np.asarray(ahead, dtype=float)
    hazard = ((t + a) / s) ** k - (t / s) ** k
    return np.asarray(-np.expm1(-hazard * np.asarray(ratio, dtype=float) ** np.asarray(exposure, dtype=float)))


@dataclass(frozen=True)
class _Ahead:
    hours: Floats
    probability: Floats


def _ahead(
    found: Answers, setting: Setting, row: NDArray[np.int64], as_of: dt.date, days: int,
    target: Floats | None = None, since: Floats | None = None,
) -> _Ahead:  # fmt: skip
    """Expected hours ``days`` after ``as_of`` (of a target: on ``as_of``), and the chance to pass it by then."""
    lines = found.lines
    first = min(day_of(as_of), int(lines.known_until.min(initial=day_of(as_of))))
    by = day_of(as_of) + days
    length = max(by, int(lines.known_until.max(initial=by))) + 1 - first
    seasons = [usage.season for usage in setting.usages]
    calendar = np.stack([season.worth(first, length) for season in seasons]).cumsum(axis=1)
    owner = setting.usage_of[lines.unit[row]]
    start = day_of(as_of) + (days if target is None else 0) - first
    reading = lines.since_reading[row]
    mine = reading if since is None else np.minimum(reading, since)
    share = np.where(reading > 0, mine / np.where(reading > 0, reading, 1.0), 1.0)
    known = lines.known_until[row] - first
    ahead = project_hours(
        hours=lines.hours[row],
        target=np.full(len(row), np.nan) if target is None else target,
        day_rate=lines.day_rate[row],
        calendar=calendar,
        known_day=known,
        start_day=np.full(len(row), start),
        by_day=np.full(len(row), by - first),
        calendar_of=owner,
        variance=lines.variance[row] * share,
        biased_hours=mine,
        bias_cv=lines.bias_cv[row],
        week_cv=lines.week_cv[row],
        rate_cv=lines.rate_cv[row],
        days_per_week=np.array([s.days_per_week for s in seasons], dtype=float)[owner],
    )
    return _Ahead(ahead.hours, ahead.probability)


def _rows(
    said: Said, found: Answers, setting: Setting, fits: FitSnapshot | None, as_of: dt.date, long_open: set[int]
) -> list[Row]:
    """Statements as rows to add, less those of quarters that still run."""
    unit = found.lines.unit[said.row]
    ids, owner = found.histories.units["id"][unit].tolist(), found.histories.units["contractor"][unit].tolist()
    version = [setting.usages[k].version for k in setting.usage_of[unit].tolist()]
    day, until = as_of.isoformat(), (as_of + dt.timedelta(days=said.days)).isoformat()
    target = [None if np.isnan(hours) else hours for hours in np.round(said.target_hours, 3).tolist()]
    chance = np.round(np.clip(said.probability, 0.0, 1.0), 6).tolist()
    learned = None if fits is None else fits.pk
    return [
        (owner[i], ids[i], said.kind, said.subject[i], day, said.days, until, chance[i], target[i], learned, version[i])
        for i in range(len(ids))
        if said.days == DAYS or ids[i] not in long_open
    ]
