"""The quick look on a line: what its findings advise, and what was decided."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.record.writing import By, Refused
from shop.bench.working import add_job, begin, take_in_hand
from shop.bench.writing import add_event
from shop.estimate_sums import labor_of
from shop.models import CheckIn, DropOffLine, LineJob, QuickVerdict, SheetAnswer
from shop.quick_look import QUICK_LINES, STOP, VERDICTS, Advice, advise
from shop.sheet_lines import NOT_LOOKED
from shop.vocabulary import task_job


def expected_labor(line: DropOffLine, jobs: Iterable[LineJob]) -> Decimal:
    """What the open jobs' minutes come to at the contractor's labor rate, in dollars; parts come on top."""
    minutes = sum(job.minutes for job in jobs if job.done_at is None and not job.left_out)
    return labor_of(minutes, line.drop_off.contractor.labour_rate)


def advice_for(
    line: DropOffLine, answers: Mapping[str, SheetAnswer], jobs: Iterable[LineJob], told: CheckIn | None
) -> Advice:
    """What the findings so far advise."""
    rows = list(jobs)
    findings = {key: answers[key].finding if key in answers else NOT_LOOKED for key in QUICK_LINES}
    beyond = any(job.added != "booking" and job.done_at is None and not job.left_out for job in rows)
    limit = None if told is None else told.fix_up_to
    return advise(findings, expected=expected_labor(line, rows), limit=limit, beyond=beyond)


def verdict_on(line: DropOffLine) -> QuickVerdict | None:
    """What was decided last."""
    found: QuickVerdict | None = (
        QuickVerdict.objects.known().filter(line=line).select_related("author").order_by("-pk").first()
    )
    return found


def decide(*, line: DropOffLine, verdict: str, note: str, by: By, now: dt.datetime) -> QuickVerdict:
    """Keep what is decided. *Stop* puts the keep-or-replace review on the visit; the same again adds nothing."""
    if verdict not in VERDICTS:
        raise Refused(_("Choose one of the answers offered."))
    with transaction.atomic():
        visit, lines, row, _unit = take_in_hand(line)
        before = verdict_on(row)
        note = note.strip()[:120]
        if before is not None and (before.verdict, before.note) == (verdict, note):
            return before
        made = QuickVerdict.objects.create(
            contractor_id=row.contractor_id, shop_id=row.shop_id, line=row, verdict=verdict, note=note,
            author=by.author, at=now,
        )  # fmt: skip
        said = f"{VERDICTS[verdict]}. {note}" if note else str(VERDICTS[verdict])
        add_event(visit, "quick_look", by.author, now, line=row, after=verdict, note=said)
        if verdict == STOP:
            add_job(line=row, job=task_job("review"), author=by.author, now=now)
        begin(visit, lines, row, by.author, now)
    return made
