"""*Not now*: a job put off until a date, with a reason; never one that keeps people safe."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.models import DueFlag, Postponement, Trimmer
from fleet.record.writing import By, Refused, lock_units, old_form
from fleet.upkeep.put_off import may_postpone
from fleet.vocabulary import TASKS

LONGEST_DAYS = 120


def postpone(*, unit: Trimmer, task: str, until: dt.date, reason: str, by: By, today: dt.date) -> Postponement:
    """Put a job off. Holds and safety checks cannot be put off."""
    reason = reason.strip()
    if task not in TASKS:
        raise Refused(_("Choose one of the answers offered."), "task", unit=unit)
    if not may_postpone(task, DueFlag.objects.filter(trimmer=unit, task=task, on_hold=True).exists()):
        raise Refused(_("This job keeps people safe; it cannot be put off."), "reason", unit=unit)
    if not reason or len(reason) > 200:
        raise Refused(_("Say in a few words why not now."), "reason", unit=unit)
    if not today < until <= today + dt.timedelta(days=LONGEST_DAYS):
        raise Refused(_("Choose a day within the next four months."), "until", unit=unit)
    with transaction.atomic():
        unit = lock_units([unit.pk])[unit.pk]
        before = _before(unit, task, until, reason, by)
        if before is not None:
            return before
        resume(unit=unit, task=task)
        return Postponement.objects.create(
            contractor_id=unit.contractor_id,
            trimmer=unit,
            task=task,
            until=until,
            reason=reason,
            author=by.author,
            client_entry_id=by.client_entry_id,
        )


def _before(unit: Trimmer, task: str, until: dt.date, reason: str, by: By) -> Postponement | None:
    """What this very press recorded already; refused where it said something else, or was ended since."""
    if by.client_entry_id is None:
        return None
    before = Postponement.objects.filter(client_entry_id=by.client_entry_id).first()
    if before is None:
        return None
    said = (unit.pk, task, until, reason, by.author and by.author.pk, None)
    if said != (before.trimmer_id, before.task, before.until, before.reason, before.author_id, before.ended_at):
        raise Refused(old_form(), unit=unit)
    return before


def resume(*, unit: Trimmer, task: str) -> int:
    """End a standing postponement; returns how many there were."""
    standing = Postponement.objects.filter(trimmer=unit, task=task, ended_at__isnull=True)
    return standing.update(ended_at=timezone.now())
