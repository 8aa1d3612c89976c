"""What stands on hold right now, read from the stored flags."""

from __future__ import annotations

import json
from collections.abc import Iterable

from fleet.models import DueFlag, Trimmer
from fleet.upkeep.job_words import HOLD_WORDS


def is_on_hold(unit: Trimmer, task: str) -> bool:
    """Whether this task's row holds the unit."""
    return DueFlag.objects.filter(trimmer=unit, task=task, on_hold=True).exists()


def hold_words_of(units: Iterable[Trimmer]) -> list[tuple[str, list[str]]]:
    """(tag, findings in words) of those of the units that rest, in one query."""
    rows = (
        DueFlag.objects.filter(trimmer__in=[u.pk for u in units], on_hold=True)
        .order_by("trimmer__tag", "trimmer_id", "task")
        .values_list("trimmer__tag", "reasons")
    )
    found: dict[str, list[str]] = {}
    for tag, reasons in rows:
        words = [str(HOLD_WORDS[finding]) for finding in _findings(reasons) if finding in HOLD_WORDS]
        found.setdefault(tag, []).extend(words)
    return list(found.items())


def held_findings(unit: Trimmer, task: str) -> list[str]:
    """Keys of the findings that hold the unit under this task."""
    rows = DueFlag.objects.filter(trimmer=unit, task=task, on_hold=True).values_list("reasons", flat=True)
    return [finding for reasons in rows for finding in _findings(reasons)]


def _findings(reasons: str | list) -> list[str]:
    told = json.loads(reasons) if isinstance(reasons, str) else reasons
    return [values["finding"] for kind, values in told if kind == "hold"]
