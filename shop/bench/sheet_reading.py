"""The bench sheet as it is read: which lines a job asks for, what stands at each, what was found last time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from fleet.models import Service, Trimmer
from fleet.record.standing import standing
from shop.models import DropOffLine, LineJob, MeasureFigure, SheetAnswer, SheetEntry
from shop.sheet_lines import NOT_LOOKED, SHEET_LINES, STRETCHES, TASKS_ON_SHEET, SheetLine, Stretch


def tasks_booked(jobs: Iterable[LineJob]) -> frozenset[str]:
    """Tasks among these jobs that have lines on the sheet."""
    found = {job.job.removeprefix("task.") for job in jobs if job.job.startswith("task.") and not job.left_out}
    return frozenset(found) & TASKS_ON_SHEET


def keys_shown(jobs: Iterable[LineJob], *, complaint: bool, everything: bool = False) -> list[str]:
    """The lines a job asks for: a planned service only its own, a complaint (or no task at all) every one."""
    rows = list(jobs)
    booked = tasks_booked(rows)
    faults = any(job.job.startswith(("fault.", "repair.")) and not job.left_out for job in rows)
    if everything or complaint or faults or not booked:
        return list(SHEET_LINES)
    return [key for key, line in SHEET_LINES.items() if line.task in booked]


def answers_on(line: DropOffLine) -> dict[str, SheetAnswer]:
    """What stands at each line, *not looked at* included; with ``became`` read along where it was recorded."""
    rows = SheetAnswer.objects.known().filter(line=line).select_related("author", "became").order_by("pk")
    return {row.check_key: row for row in rows if row.check_key in SHEET_LINES}


def recorded(answer: SheetAnswer) -> SheetEntry | None:
    """What an answer became in the ledger; None while it has not."""
    return getattr(answer, "became", None)


def last_time(line: DropOffLine) -> dict[str, SheetAnswer]:
    """What this shop's sheets found at each line before this visit, the latest of each; one query."""
    found: dict[str, SheetAnswer] = {}
    if line.trimmer_id is None:
        return found
    rows = SheetAnswer.objects.at_shops([line.shop_id]).filter(
        line__trimmer=line.trimmer_id, contractor=line.contractor_id, line__lt=line.pk
    )
    for row in rows.order_by("pk"):
        if row.finding == NOT_LOOKED:
            # Taken back within its own visit; what an earlier visit found still stands.
            if row.check_key in found and found[row.check_key].line_id == row.line_id:
                del found[row.check_key]
        else:
            found[row.check_key] = row
    return found


def last_services(unit: Trimmer, before: dt.date) -> dict[str, Service]:
    """The last service of each task that says what was found, by anyone, before a day; one query."""
    rows = standing(Service.objects.filter(trimmer=unit, occurred_on__lt=before), "service").exclude(as_found="")
    return {row.task: row for row in rows.order_by("occurred_on", "pk")}


def figures_of(shop_id: int, model_id: int) -> dict[str, MeasureFigure]:
    """The manual's figures of a model, as this shop has read them there."""
    rows = MeasureFigure.objects.filter(shop=shop_id, model=model_id).order_by("pk")
    found = {row.check_key: row for row in rows}
    return {key: row for key, row in found.items() if row.low is not None or row.high is not None}


def stretches_shown(keys: Iterable[str]) -> list[tuple[Stretch, list[SheetLine]]]:
    """Stretches of the sheet with those of their lines that are shown, empty ones left out."""
    wanted = set(keys)
    rows = [(stretch, [line for line in stretch.lines if line.key in wanted]) for stretch in STRETCHES]
    return [(stretch, lines) for stretch, lines in rows if lines]
