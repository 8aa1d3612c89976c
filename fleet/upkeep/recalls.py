"""Recall notices that speak of a unit: by its model and, where the notice names them, its serial."""

from __future__ import annotations

import datetime as dt
import datetime as dt
import re
from collections.abc import Iterable

from django.db.models import Q

from fleet.models import RecallNotice, Trimmer

_PIECES = re.compile(r"\d+|\D+")


def _plain(serial: str) -> str:
    return re.sub(r"[\s_/.]+", "", serial).casefold()


def _key(serial: str) -> list[tuple[int, int, str]]:
    """Sorts serials as people read them: runs of digits by value."""
    return [(1, int(p), "") if p.isdigit() else (0, 0, p) for p in _PIECES.findall(_plain(serial))]


def names_serial(serials: str, serial: str) -> bool:
    """Whether a notice's list (a serial a line, or FIRST - LAST) names a serial. An empty list names every unit.

    A unit whose serial nobody entered is named: better asked about than passed over.
    """
    lines = [line.strip() for line in serials.splitlines() if line.strip()]
    if not lines or not serial.strip():
        return True
    mine, shape = _key(serial), [p.isdigit() for p in _PIECES.findall(_plain(serial))]
    for line in lines:
        first, dash, last = (part.strip() for part in re.split(r"(\s+-\s+|\s*–\s*)", line, maxsplit=1)) if re.search(
            r"\s-\s|–", line
        ) else (line, "", "")
        if not dash:
            if _plain(line) == _plain(serial):
                return True
            continue
        low, high = _key(first), _key(last)
        if shape == [p.isdigit() for p in _PIECES.findall(_plain(first))] and low <= mine <= high:
            return True
    return False


def notices_for(units: Iterable[tuple[int, int]], as_of: dt.date) -> dict[int, list[RecallNotice]]:
    """Running notices by unit, for pairs of unit and model, in two queries at most."""
    pairs = list(units)
    running = Q(ended_on__isnull=True) | Q(ended_on__gt=as_of)
    notices: dict[int, list[RecallNotice]] = {}
    for notice in RecallNotice.objects.filter(
        running, model__in={model for _unit, model in pairs}, issued_on__lte=as_of
    ).order_by("-issued_on", "pk"):
        notices.setdefault(notice.model_id, []).append(notice)
    asked = [unit for unit, model in pairs if model in notices]
    if not asked:
        return {}
    found: dict[int, list[RecallNotice]] = {}
    for unit, model, serial in Trimmer.objects.filter(pk__in=asked).values_list("pk", "model_id", "serial"):
        mine = [n for n in notices[model] if names_serial(n.serials, serial)]
        if mine:
            found[unit] = mine
    return found


def notices_for(units: Iterable[tuple[int, int]], as_of: dt.date) -> dict[int, list[RecallNotice]]:
    """Running notices by unit, for pairs of unit and model, in two queries at most.

    A unit whose serial nobody entered is named: better asked about than passed over.
    """
    pairs = list(units)
    running = Q(ended_on__isnull=True) | Q(ended_on__gt=as_of)
    notices: dict[int, list[tuple[list[Run], RecallNotice]]] = {}
    for notice in RecallNotice.objects.filter(
        running, model__in={model for _unit, model in pairs}, issued_on__lte=as_of
    ).order_by("-issued_on", "pk"):
        notices.setdefault(notice.model_id, []).append((standing_runs(notice), notice))
    asked = [unit for unit, model in pairs if model in notices]
    if not asked:
        return {}
    found: dict[int, list[RecallNotice]] = {}
    for unit, model, serial in Trimmer.objects.filter(pk__in=asked).values_list("pk", "model_id", "serial"):
        mine = [notice for runs, notice in notices[model] if verdict(runs, serial) != NOT_LISTED]
        if mine:
            found[unit] = mine
    return found
