"""What became of statements: each held against the ledger once its days are over."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from fleet.models import Forecast
from fleet.upkeep.days import NO_DAY, date_of
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.refresh import SHARD, Answers, answers_for
from fleet.upkeep.samples import happenings

HAPPENED, DID_NOT, LEFT, CANNOT_TELL, OPEN = "happened", "did_not", "left", "cannot_tell", "open"
OUTCOMES = (HAPPENED, DID_NOT, LEFT, CANNOT_TELL, OPEN)
# Upper ends of the probabilities that are counted together.
BANDS = (0.01, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)


@dataclass(frozen=True)
class Record:
    """What the ledger says of the subject of one statement.

    Attributes
    ----------
    known_until
        Day up to which entries speak of the unit.
    left_on
        Day from which the subject was another: the unit was retired, or the part made new. None: it stayed.
    passed_on
        For *falls due*: first day on which the hours were past the target.
    failures
        For *fails*: (after, by) of each failure; the same day twice where it stopped the job.
    """

    known_until: dt.date
    left_on: dt.date | None = None
    passed_on: dt.date | None = None
    failures: tuple[tuple[dt.date, dt.date], ...] = ()


def settle(said_on: dt.date, until: dt.date, record: Record, as_of: dt.date) -> str:
    """What became of a statement made at the end of ``said_on`` about the days to the end of ``until``.

    ``open``: its days are not over (what happens early does not count before what has not happened yet), or no entry
    reaches that far. ``left``: the unit or the part was gone before, with
    nothing happened until then. ``cannot_tell``: found at a look that leaves open whether it came about in time.
    """
    if as_of < until:
        return OPEN
    if record.passed_on is not None and record.passed_on <= until:
        return HAPPENED
    gone = record.left_on if record.left_on is not None and record.left_on <= until else None
    unsure = False
    for after, by in record.failures:
        exact = after == by
        if said_on < by and (exact or after >= said_on) and by <= until and (gone is None or by <= gone):
            return HAPPENED
        begun = after < until and by > said_on and not exact
        unsure |= begun and (gone is None or after < gone)
    if unsure:
        return CANNOT_TELL
    if gone is not None:
        return LEFT
    return OPEN if record.known_until < until else DID_NOT


@dataclass(frozen=True)
class Settled:
    """A statement and what became of it."""

    kind: str
    subject: str
    days: int
    said_on: dt.date
    probability: float
    outcome: str


@dataclass(frozen=True)
class _Told:
    trimmer: int
    kind: str
    subject: str
    days: int
    said_on: dt.date
    until: dt.date
    probability: float
    target_hours: float | None


def settle_forecasts(contractor_ids: Iterable[int], *, as_of: dt.date) -> Iterator[Settled]:
    """Every statement made by ``as_of`` with what the ledger of ``as_of`` says of it, a shard of units at a time."""
    rows = Forecast.objects.filter(contractor__in=list(contractor_ids), said_on__lte=as_of)
    columns = ("trimmer_id", "kind", "subject", "days", "said_on", "until", "probability", "target_hours")
    told: dict[int, list[_Told]] = {}
    for row in rows.order_by("trimmer_id", "said_on", "pk").values_list(*columns):
        told.setdefault(row[0], []).append(_Told(*row))
    ids = sorted(told)
    for start in range(0, len(ids), SHARD):
        shard = ids[start : start + SHARD]
        ledger = _Ledger(answers_for(shard, as_of))
        for t in (t for pk in shard for t in told[pk]):
            outcome = settle(t.said_on, t.until, ledger.record_of(t), as_of)
            yield Settled(t.kind, t.subject, t.days, t.said_on, t.probability, outcome)


class _Ledger:
    """Looks up records of statements in a shard's ledger."""

    def __init__(self, found: Answers) -> None:
        h, self.lines = found.histories, found.lines
        unit = self.lines.unit
        self.row = {pk: i for i, pk in enumerate(h.units["id"][unit].tolist())}
        self.retired = h.units["retired"][unit].tolist()
        names = {code: name for name, code in COMPONENT_CODE.items()}
        self.failures: dict[tuple[int, str], list[tuple[dt.date, dt.date]]] = {}
        self.renewals: dict[tuple[int, str], list[dt.date]] = {}
        seen = happenings(h, self.lines)
        columns = (seen.row, seen.stream, seen.day, seen.after, seen.failed, seen.renewed)
        for row, stream, day, after, failed, renewed in zip(*(c.tolist() for c in columns), strict=True):
            key = row, names[stream]
            if failed:
                self.failures.setdefault(key, []).append((date_of(after), date_of(day)))
            if renewed:
                self.renewals.setdefault(key, []).append(date_of(day))

    def record_of(self, t: _Told) -> Record:
        row = self.row[t.trimmer]
        known = date_of(int(self.lines.known_until[row]))
        retired = None if self.retired[row] >= NO_DAY else date_of(self.retired[row])
        if t.kind == Forecast.DUE:
            target = np.array([np.inf if t.target_hours is None else t.target_hours])
            passed = int(self.lines.passed_on(np.array([row]), target)[0])
            return Record(known, retired, None if passed >= NO_DAY else date_of(passed))
        key = row, t.subject
        gone = [day for day in (retired, *self.renewals.get(key, ())) if day is not None and day > t.said_on]
        return Record(known, min(gone, default=None), None, tuple(self.failures.get(key, ())))


@dataclass(frozen=True)
class Count:
    """Statements of one kind, length and band of probability: how many were made, and what became of them.

    ``expected`` is the sum of probabilities over those that are settled one way or the other.
    """

    kind: str
    days: int
    low: float
    high: float
    said: int
    settled: int
    happened: int
    expected: float
    left: int
    cannot_tell: int
    open: int


def counts(settled: Iterable[Settled]) -> list[Count]:
    """Counts by kind, days and band of probability, in this order."""
    groups: dict[tuple[str, int, int], list[Settled]] = {}
    for s in settled:
        band = int(np.searchsorted(BANDS, s.probability))
        groups.setdefault((s.kind, s.days, min(band, len(BANDS) - 1)), []).append(s)
    return [_count(kind, days, band, rows) for (kind, days, band), rows in sorted(groups.items())]


def _count(kind: str, days: int, band: int, rows: Sequence[Settled]) -> Count:
    by = {outcome: [s for s in rows if s.outcome == outcome] for outcome in OUTCOMES}
    told = [*by[HAPPENED], *by[DID_NOT]]
    return Count(
        kind=kind,
        days=days,
        low=BANDS[band - 1] if band else 0.0,
        high=BANDS[band],
        said=len(rows),
        settled=len(told),
        happened=len(by[HAPPENED]),
        expected=round(float(sum(s.probability for s in told)), 3),
        left=len(by[LEFT]),
        cannot_tell=len(by[CANNOT_TELL]),
        open=len(by[OPEN]),
    )
