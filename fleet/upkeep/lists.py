"""Rows for the Ready list: from what is stored (screens, today), or worked out afresh as of any day."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterable, Sequence

import numpy as np
from django.db.models import TextField
from django.db.models.functions import Cast

from fleet.models import Contractor, Crew, DueFlag, Trimmer, TrimmerModel, UnitState
from fleet.upkeep.behind import with_records
from fleet.upkeep.days import NO_DAY, date_of
from fleet.upkeep.due import SAFETY
from fleet.upkeep.fit_store import latest_fits
from fleet.upkeep.histories import NO_CREW
from fleet.upkeep.learned import BASES as INTERVAL_BASES
from fleet.upkeep.ready import Flag, Job, UnitHours, jobs_on, sort_key
from fleet.upkeep.refresh import SHARD, Answers, answers_for, latest_usages
from fleet.upkeep.timelines import BASES
from fleet.vocabulary import LATER, TASK_KEYS

Row = tuple[UnitHours, Flag]

_UNIT = (
    "trimmer_id", "trimmer__tag", "contractor_id", "contractor__name", "crew_id", "crew__name", "trimmer__model_id",
    "trimmer__model__maker", "trimmer__model__name", "known_until", "hours", "variance", "hours_since_reading",
    "day_rate", "bias_cv", "rate_cv", "week_cv", "basis", "guessed_share", "guard_off",
)  # fmt: skip
_FLAG = (
    "trimmer_id", "task", "on_hold", "last_done_hours", "last_done_on", "counts_from_hours", "counts_from_on",
    "interval_hours", "interval_months", "interval_basis", "manual_source", "due_hours", "due_date", "passed_on",
    "setting", "staggered", "reasons_text",
)  # fmt: skip


def stored_rows(
    contractor_ids: Iterable[int],
    crew_id: int | None = None,
    unit_id: int | None = None,
    unit_ids: Iterable[int] | None = None,
    *,
    told: bool = True,
    all_counts: bool = False,
) -> list[Row]:
    """Stored flags of units in use (all of them, or these), their units' hours and what stands behind them.

    A few queries, whatever the number of units. ``all_counts`` is for whoever runs the portal. Unless ``told``, without
    what stands behind them: whoever shows but a few of many jobs asks for that once it knows which.
    """
    states = UnitState.objects.filter(contractor__in=list(contractor_ids), in_use=True)
    if crew_id is not None:
        states = states.filter(crew=crew_id)
    if unit_id is not None:
        states = states.filter(trimmer=unit_id)
    if unit_ids is not None:
        states = states.filter(trimmer__in=list(unit_ids))
    units = {
        row[0]: UnitHours(*(*row[:5], row[5] or "", row[6], f"{row[7]} {row[8]}", *row[9:]))
        for row in states.values_list(*_UNIT)
    }
    if not units:
        return []
    flags = DueFlag.objects.filter(trimmer__in=states.values("trimmer")).order_by("trimmer_id", "task")
    flags = flags.annotate(reasons_text=Cast("reasons", TextField()))
    rows: list[Row] = []
    for row in flags.values_list(*_FLAG):
        # A unit that came into use between the two reads is on the next page somebody opens.
        if row[0] in units:
            # Nearly all flags have none, and decoding an empty list a thousand times is slow.
            reasons = [] if row[16] == "[]" else [(kind, values) for kind, values in json.loads(row[16])]
            rows.append((units[row[0]], Flag(*(*row[1:16], reasons))))
    return with_records(rows, latest_fits(), all_counts=all_counts) if told else rows


def computed_rows(found: Answers, crew_id: int | None = None) -> list[Row]:
    """The same rows from freshly computed answers."""
    h, lines, flags = found.histories, found.lines, found.flags
    ids = h.units["id"]
    names = {pk: (tag, contractor, maker_model) for pk, tag, contractor, maker_model in _names(ids[h.core].tolist())}
    crews = dict(Crew.objects.filter(pk__in=np.unique(lines.crew).tolist()).values_list("pk", "name"))
    units: dict[int, UnitHours] = {}
    rows: list[Row] = []
    for i in range(len(flags.unit)):
        unit_row = int(flags.unit[i])
        line = int(lines.row_of[unit_row])
        pk, crew = int(ids[unit_row]), int(lines.crew[line])
        if crew_id is not None and crew != crew_id:
            continue
        unit = units.get(pk)
        if unit is None:
            tag, contractor_name, model_name = names[pk]
            unit = units[pk] = UnitHours(
                unit=pk,
                tag=tag,
                contractor=int(h.units["contractor"][unit_row]),
                contractor_name=contractor_name,
                crew=None if crew == NO_CREW else crew,
                crew_name=crews.get(crew, ""),
                model=int(h.units["model"][unit_row]),
                model_name=model_name,
                known_until=date_of(int(lines.known_until[line])),
                hours=float(lines.hours[line]),
                variance=float(lines.variance[line]),
                since_reading=float(lines.since_reading[line]),
                day_rate=float(lines.day_rate[line]),
                bias_cv=float(lines.bias_cv[line]),
                rate_cv=float(lines.rate_cv[line]),
                week_cv=float(lines.week_cv[line]),
                basis=BASES[lines.basis[line]],
                guessed_share=float(lines.guessed_share[line]),
                guard_off=round(float(found.exposure.recent[line]), 3),
            )
        held = flags.holds.get(i, [])
        rows.append(
            (
                unit,
                Flag(
                    task=TASK_KEYS[int(flags.task[i])],
                    on_hold=bool(held),
                    last_done_hours=_number(flags.last_done_hours[i]),
                    last_done_on=_date(flags.last_done_on[i]),
                    counts_from_hours=float(flags.counts_from_hours[i]),
                    counts_from_on=date_of(int(flags.counts_from_on[i])),
                    interval_hours=_number(flags.interval_hours[i]),
                    interval_months=int(flags.interval_months[i]) or None,
                    interval_basis=SAFETY if held else INTERVAL_BASES[int(flags.basis[i])],
                    manual_source="maker" if flags.from_maker[i] else "practice",
                    due_hours=_number(flags.due_hours[i]),
                    due_date=_date(flags.due_date[i]),
                    passed_on=_date(flags.passed_on[i]),
                    setting=str(flags.setting[i]),
                    staggered=bool(flags.staggered[i]),
                    extra_reasons=[("hold", {"finding": k, "since": date_of(d).isoformat()}) for k, d in held],
                ),
            )
        )
    return rows


def _names(unit_ids: Sequence[int]) -> list[tuple[int, str, str, str]]:
    models = {m.pk: str(m) for m in TrimmerModel.objects.filter(trimmers__in=unit_ids).distinct()}
    rows = Trimmer.objects.filter(pk__in=unit_ids).values_list("pk", "tag", "contractor__name", "model_id")
    return [(pk, tag, contractor, models[model]) for pk, tag, contractor, model in rows]


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _date(day: int) -> dt.date | None:
    return None if day >= NO_DAY else date_of(int(day))


def due_jobs(
    contractors: Sequence[Contractor],
    *,
    as_of: dt.date,
    before: dt.date | None = None,
    crew_id: int | None = None,
    unit_id: int | None = None,
    afresh: bool = False,
) -> list[Job]:
    """The Ready list of these contractors on a day, worst first, as whoever runs the portal sees it: with all counts.

    With ``before``, jobs that can wait until later are left out. ``afresh`` works from the ledger as it stood on
    ``as_of`` and the snapshot of then; otherwise from what is stored, which every entry keeps fresh.
    """
    ids = [c.pk for c in contractors]
    usages = latest_usages(ids, as_of if afresh else None)
    seasons = {pk: usage.season for pk, usage in usages.items()}
    if afresh:
        unit_ids = list(Trimmer.objects.filter(contractor__in=ids).order_by("pk").values_list("pk", flat=True))
        if unit_id is not None:
            unit_ids = [pk for pk in unit_ids if pk == unit_id]
        rows: list[Row] = []
        for start in range(0, len(unit_ids), SHARD):
            rows += computed_rows(answers_for(unit_ids[start : start + SHARD], as_of), crew_id)
        rows = with_records(rows, latest_fits(as_of), all_counts=True)
    else:
        rows = stored_rows(ids, crew_id, unit_id, all_counts=True)
    jobs = jobs_on(rows, seasons, as_of, before)
    if before is not None:
        jobs = [job for job in jobs if job.state != LATER]
    return sorted(jobs, key=sort_key)
