"""The bench sheet of a line: its lines, what stands at each, what was found last time, and one tap kept."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Trimmer
from fleet.record.writing import By, Refused
from shop.bench.holding import hold_unit, release_unit, told_already
from shop.bench.sheet_plan import asks_done
from shop.bench.sheet_reading import answers_on, figures_of, recorded, tasks_booked
from shop.bench.working import begin, take_in_hand
from shop.models import DropOffLine, LineJob, MeasureFigure, SheetAnswer
from shop.sheet_lines import (
    BAD,
    DONE_WORDS,
    FINDINGS,
    LOOKED,
    NOT_LOOKED,
    SERVICED,
    SHEET_LINES,
    WORN,
    SheetLine,
)


@dataclass(frozen=True)
class Tap:
    """What is said of one line."""

    key: str
    finding: str
    detail: str = ""
    done: str = ""
    measured: Decimal | None = None
    press: uuid.UUID | None = None


def keep_figure(
    *, line: DropOffLine, key: str, low: Decimal | None, high: Decimal | None, by: By, now: dt.datetime
) -> MeasureFigure | None:
    """Keep what the manual says of a measured value of this model; the same figures again add nothing."""
    known = SHEET_LINES.get(key)
    if known is None or known.measure is None or line.trimmer is None:
        raise Refused(_("Choose one of the answers offered."), key)
    for value in (low, high):
        _check_measured(known, value)
    if low is not None and high is not None and low > high:
        raise Refused(_("The smaller figure comes first."), key)
    before = figures_of(line.shop_id, line.trimmer.model_id).get(key)
    if (low, high) == ((None, None) if before is None else (before.low, before.high)):
        return before
    return MeasureFigure.objects.create(
        shop_id=line.shop_id,
        model_id=line.trimmer.model_id,
        check_key=key,
        low=low,
        high=high,
        author=by.author,
        at=now,
    )


def default_done(check: SheetLine, finding: str, booked: frozenset[str]) -> str:
    """What is taken as done unless said otherwise: a service booked for this visit is done, a check is a look."""
    serves = check.task in booked and check.serves and finding != NOT_LOOKED
    return SERVICED if serves else LOOKED


def record_taps(
    *, line: DropOffLine, taps: Iterable[Tap], by: By, today: dt.date, now: dt.datetime
) -> list[SheetAnswer]:
    """Keep what was tapped, all of it or none; a finding that can hurt holds the unit at once.

    What says the same as what stands adds nothing; *not looked at* takes an answer back with the hold it made. An
    answer that is in the ledger already stays there: a new look at its line is recorded beside it.
    """
    with transaction.atomic():
        visit, lines, row, unit = take_in_hand(line)
        booked = tasks_booked(LineJob.objects.known().filter(line=row, done_at=None))
        now_standing = answers_on(row)
        made = []
        for tap in taps:
            answer = _keep(row, unit, tap, now_standing.get(tap.key), booked, by, today, now)
            if answer is not None:
                made.append(answer)
        if made:
            begin(visit, lines, row, by.author, now)
    return made


def _keep(
    line: DropOffLine, unit: Trimmer, tap: Tap, before: SheetAnswer | None, booked: frozenset[str], by: By,
    today: dt.date, now: dt.datetime,
) -> SheetAnswer | None:  # fmt: skip
    check = SHEET_LINES.get(tap.key)
    if check is None or tap.finding not in FINDINGS or (tap.done and tap.done not in DONE_WORDS):
        raise Refused(_("Choose one of the answers offered."), tap.key)
    measured = None if tap.finding == NOT_LOOKED else tap.measured
    _check_measured(check, measured)
    detail = _detail(check, tap)
    done = _done(check, tap, booked)
    said = (tap.finding, detail, done, measured)
    if said == ((NOT_LOOKED, "", LOOKED, None) if before is None else content(before)):
        return None
    press = None if tap.press is None else uuid.uuid5(tap.press, f"{tap.key} {said}")
    if press is not None and SheetAnswer.objects.known().filter(client_entry_id=press).exists():
        return None
    kept = _hold(line, unit, check, tap.finding, detail, before, By(by.author, by.source, by.seen_as, press), today)
    return SheetAnswer.objects.create(
        contractor_id=line.contractor_id, shop_id=line.shop_id, line=line, check_key=tap.key, finding=tap.finding,
        detail=detail, done=done, measured=measured, author=by.author, at=now, client_entry_id=press, **kept,
    )  # fmt: skip


def content(answer: SheetAnswer) -> tuple[str, str, str, Decimal | None]:
    """What an answer says, to be compared."""
    return answer.finding, answer.detail, answer.done, answer.measured


def _detail(check: SheetLine, tap: Tap) -> str:
    finer = {WORN: check.worn, BAD: check.bad}.get(tap.finding, ())
    if len(finer) < 2:
        return ""
    return tap.detail if tap.detail in finer else finer[0]


def _done(check: SheetLine, tap: Tap, booked: frozenset[str]) -> str:
    if not asks_done(check, tap.finding):
        return LOOKED
    return tap.done or default_done(check, tap.finding, booked)


def _check_measured(check: SheetLine, value: Decimal | None) -> None:
    if value is None:
        return
    if check.measure is None:
        raise Refused(_("Nothing is measured here."), check.key)
    if not 0 <= value <= check.measure.most:
        raise Refused(_("This figure is too large or below zero. Check it."), check.key)
    if value != round(value, check.measure.decimals):
        raise Refused(_("Write it with %(n)s decimals at most.") % {"n": check.measure.decimals}, check.key)


def _hold(
    line: DropOffLine, unit: Trimmer, check: SheetLine, finding: str, detail: str, before: SheetAnswer | None, by: By,
    today: dt.date,
) -> dict[str, Any]:  # fmt: skip
    """The hold this answer makes or keeps; one made by an answer not recorded yet goes with that answer."""
    fault = check.hold(finding, detail)
    mine = before is not None and before.entry_id is not None and recorded(before) is None
    if mine and before is not None:
        same = before.finding == BAD and check.hold(before.finding, before.detail) == fault
        if same:
            return {"entry_kind": before.entry_kind, "entry_id": before.entry_id}
        release_unit(before, _("The bench sheet's answer was taken back."), by)
    told = before is None or recorded(before) is None
    if not fault or (told and told_already(line, unit, fault)):
        return {}
    return hold_unit(unit, fault, by, today)
