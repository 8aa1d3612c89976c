"""Everything recorded about one unit, newest first, withdrawn entries among it, a page at a time."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import CharField, Q, QuerySet, Value

from fleet.models import ENTRY_KINDS, Assignment, CrewHours, Entry, FlagChange, Trimmer, UnitEntry, Withdrawal

PAGE = 30


@dataclass(frozen=True)
class HistoryLine:
    """One entry, with the withdrawal that set it aside where there is one."""

    kind: str
    entry: Entry
    withdrawal: Withdrawal | None


@dataclass(frozen=True)
class HistoryPage:
    """A page of a unit's history."""

    lines: list[HistoryLine]
    number: int
    pages: int
    total: int


def crew_spells(unit: Trimmer) -> list[tuple[int, dt.date, dt.date]]:
    """(crew, first day, last day) of each time the unit rode with a crew; withdrawn moves do not count."""
    gone = Withdrawal.objects.filter(kind="move").values("entry_id")
    moves = (
        Assignment.objects.filter(trimmer=unit)
        .exclude(pk__in=gone)
        .order_by("occurred_on", "pk")
        .values_list("crew_id", "occurred_on")
    )
    found: list[tuple[int, dt.date, dt.date]] = []
    rows = list(moves)
    for number, (crew, first) in enumerate(rows):
        last = rows[number + 1][1] if number + 1 < len(rows) else dt.date.max
        if crew is not None:
            found.append((crew, first, last))
    return found


def _crew_totals_of(spells: Sequence[tuple[int, dt.date, dt.date]]) -> Q:
    """Totals of weeks in which the unit rode with the crew; the week of a move belongs to both crews."""
    wanted = Q(pk__in=())
    for crew, first, last in spells:
        monday = first - dt.timedelta(days=first.weekday())
        wanted |= Q(crew=crew, week_of__gte=monday, week_of__lte=last)
    return wanted


def unit_history(unit: Trimmer, number: int = 1) -> HistoryPage:
    """One page of all kinds of entry, in a constant number of queries."""
    keys: list[QuerySet] = []
    for kind, model in ENTRY_KINDS.items():
        rows: QuerySet
        if issubclass(model, UnitEntry):
            rows = model.objects.filter(trimmer=unit)
        else:
            rows = CrewHours.objects.filter(_crew_totals_of(crew_spells(unit)))
        rows = rows.order_by().annotate(kind=Value(kind, output_field=CharField()))
        keys.append(rows.values_list("occurred_on", "pk", "kind"))
    together = keys[0].union(*keys[1:], all=True)
    total = together.count()
    pages = max(1, -(-total // PAGE))
    number = min(max(number, 1), pages)
    chosen = list(together.order_by("-occurred_on", "-pk")[(number - 1) * PAGE : number * PAGE])
    ids: dict[str, list[int]] = {}
    for _day, pk, kind in chosen:
        ids.setdefault(kind, []).append(pk)
    entries: dict[tuple[str, int], Entry] = {}
    wanted = Q(pk__in=())
    for kind, model in ENTRY_KINDS.items():
        related = ["author"] + (["crew"] if model in (CrewHours, Assignment) else [])
        mine = ids.get(kind, [])
        for entry in model.objects.filter(pk__in=mine).select_related(*related):
            entries[kind, entry.pk] = entry
        if mine:
            wanted |= Q(kind=kind, entry_id__in=mine)
    withdrawn = {(w.kind, w.entry_id): w for w in Withdrawal.objects.filter(wanted).select_related("author")}
    lines = [HistoryLine(kind, entries[kind, pk], withdrawn.get((kind, pk))) for _day, pk, kind in chosen]
    return HistoryPage(lines, number, pages, total)


def flag_changes(unit: Trimmer, most: int = 12) -> list[FlagChange]:
    """The latest moves of the unit's due marks."""
    return list(FlagChange.objects.filter(trimmer=unit).order_by("-recorded_at", "-pk")[:most])


def belongs_to(entry: Entry, unit: Trimmer) -> bool:
    """Whether an entry is one of this unit's, or a total of a crew it rode with."""
    if isinstance(entry, UnitEntry):
        return entry.trimmer_id == unit.pk
    return isinstance(entry, CrewHours) and entry.contractor_id == unit.contractor_id
