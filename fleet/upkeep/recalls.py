"""Which units a recall notice speaks of: by its model and, where the notice names them, its serials."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Q
from django.utils.translation import gettext as _

from fleet.models import NoticeDone, RecallNotice, Trimmer

LISTED, CANNOT_TELL, NOT_LISTED = "listed", "cannot_tell", "not_listed"

# "FIRST - LAST" with spaces around the dash, so that a serial may hold a dash of its own; or a long dash, or "to".
_RUN = re.compile(r"\s+(?:-|to)\s+|\s*[–—]\s*", re.IGNORECASE)
# A run with one end, and what stands in no serial.
_HALF = re.compile(r"^(?:-|to\b)|(?:-|\sto)$", re.IGNORECASE)
_STRAY = re.compile(r"[^\w\s\-./–—]")
_PARTS = re.compile(r"\d+|\D+")

Key = tuple[tuple[str, int | str], ...]


class BadSerials(ValueError):
    """A line that names neither a serial nor a run."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(message)
        self.line, self.message = line, message


def serial_key(serial: str) -> Key:
    """Letters and numbers of a serial in order: compared without case, spaces and dashes, numbers by value."""
    plain = re.sub(r"[\s\-_./]+", "", serial).casefold()
    # \d also takes digits of other scripts, which int() reads as well.
    return tuple(("n", int(part)) if part.isdecimal() else ("t", part) for part in _PARTS.findall(plain))


@dataclass(frozen=True)
class Run:
    """Serials from first to last, both in it; a single serial is a run of one."""

    first: Key
    last: Key

    def holds(self, key: Key) -> bool:
        """Whether the serial has the run's letters in the same places, and its numbers lie between the ends."""
        return _letters(key) == _letters(self.first) and _numbers(self.first) <= _numbers(key) <= _numbers(self.last)


def _letters(key: Key) -> list[str | None]:
    return [part if isinstance(part, str) else None for _kind, part in key]


def _numbers(key: Key) -> tuple[int, ...]:
    return tuple(part for _kind, part in key if isinstance(part, int))


def parse_serials(text: str) -> list[Run]:
    """One serial or FIRST - LAST per line; no line at all means every unit of the model."""
    runs = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        why = _refusal(line.strip())
        if why:
            raise BadSerials(number, _("Line %(number)d: %(why)s") % {"number": number, "why": why})
        runs.append(_run_of(line.strip()))
    return runs


def _run_of(line: str) -> Run:
    keys = [serial_key(end) for end in _RUN.split(line)]
    return Run(keys[0], keys[-1])


def _not_a_run(line: str) -> str:
    """Why a line is neither one serial nor both ends of a run; empty where it is."""
    keys = [serial_key(end) for end in _RUN.split(line)]
    if len(keys) > 2 or not all(keys):
        return _("write one serial, or FIRST - LAST.")
    first, last = keys[0], keys[-1]
    if len(keys) == 2:
        if _letters(first) != _letters(last) or not _numbers(first):
            return _("both ends of a run need the same letters and a number.")
        if _numbers(first) > _numbers(last):
            return _("the run ends before it begins.")
    return ""


def _refusal(line: str) -> str:
    """The same, and what a slip of the hand makes of it: a line read as a serial that no unit has stops none."""
    if _HALF.search(line):
        return _("one end of the run is missing: write FIRST - LAST, or the serial without the dash.")
    if _STRAY.search(line):
        return _("write one serial a line, in letters and digits, or FIRST - LAST.")
    ends = [serial_key(end) for end in line.split("-")]
    if " " not in line and len(ends) == 2 and _numbers(ends[0]) and _letters(ends[0]) == _letters(ends[1]):
        return _("if this is a run, put spaces around the dash: FIRST - LAST. If it is one serial, leave the dash out.")
    return _not_a_run(line)


def standing_runs(notice: RecallNotice) -> list[Run]:
    """The runs of a notice already put up; a line that cannot be read names the one serial it spells."""
    lines = [line.strip() for line in notice.serials.splitlines() if line.strip()]
    return [Run(serial_key(line), serial_key(line)) if _not_a_run(line) else _run_of(line) for line in lines]


def verdict(runs: Sequence[Run], serial: str) -> str:
    """Whether a unit with this serial is meant; without a serial on record it cannot be told."""
    if not runs:
        return LISTED
    key = serial_key(serial)
    if not key:
        return CANNOT_TELL
    return LISTED if any(run.holds(key) for run in runs) else NOT_LISTED


@dataclass(frozen=True)
class NoticeUnits:
    """A notice with the units in use that it names, those whose serial must be looked at, and those that were done."""

    notice: RecallNotice
    listed: tuple[Trimmer, ...]
    cannot_tell: tuple[Trimmer, ...]
    done: tuple[Trimmer, ...] = ()


def units_under_notices(
    contractor_ids: Iterable[int], *, model_id: int | None = None, ended: bool = False
) -> list[NoticeUnits]:
    """Every notice, newest first, with the units of these contractors it concerns; three queries."""
    notices = RecallNotice.objects.select_related("model").order_by("-issued_on", "-pk")
    if model_id is not None:
        notices = notices.filter(model=model_id)
    if not ended:
        notices = notices.filter(ended_on__isnull=True)
    found = list(notices)
    units: dict[int, list[Trimmer]] = {}
    rows = Trimmer.objects.filter(
        contractor__in=list(contractor_ids), retired_on__isnull=True, model__in={n.model_id for n in found}
    )
    for unit in rows.select_related("contractor", "model").order_by("contractor__name", "tag_key", "pk"):
        units.setdefault(unit.model_id, []).append(unit)
    done = _done({unit.pk for rows_of_model in units.values() for unit in rows_of_model})
    answers = []
    for notice in found:
        runs, mine = standing_runs(notice), units.get(notice.model_id, ())
        said = [(verdict(runs, unit.serial), unit) for unit in mine if (unit.pk, notice.pk) not in done]
        answers.append(
            NoticeUnits(
                notice,
                tuple(unit for word, unit in said if word == LISTED),
                tuple(unit for word, unit in said if word == CANNOT_TELL),
                tuple(unit for unit in mine if (unit.pk, notice.pk) in done),
            )
        )
    return answers


def _done(unit_ids: Iterable[int], as_of: dt.date | None = None) -> set[tuple[int, int]]:
    """(unit, notice) of what was done as the notice says (by then) and not taken back; one query."""
    rows = NoticeDone.objects.filter(trimmer__in=list(unit_ids), taken_back_at__isnull=True)
    if as_of is not None:
        rows = rows.filter(occurred_on__lte=as_of)
    return set(rows.values_list("trimmer_id", "notice_id"))


def verdicts_for(units: Iterable[tuple[int, int]], as_of: dt.date) -> dict[int, list[tuple[RecallNotice, str]]]:
    """Running notices not yet done on each unit they concern, for pairs of unit and model; three queries at most.

    A unit whose serial nobody entered comes as ``CANNOT_TELL``: better asked about than passed over.
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
    done = _done(asked, as_of)
    found: dict[int, list[tuple[RecallNotice, str]]] = {}
    for unit, model, serial in Trimmer.objects.filter(pk__in=asked).values_list("pk", "model_id", "serial"):
        said = [(notice, verdict(runs, serial)) for runs, notice in notices[model]]
        mine = [(notice, word) for notice, word in said if word != NOT_LISTED and (unit, notice.pk) not in done]
        if mine:
            found[unit] = mine
    return found


def notices_for(units: Iterable[tuple[int, int]], as_of: dt.date) -> dict[int, list[RecallNotice]]:
    """The same notices without what is known of the serial: whoever asks treats a unit that may be named as named."""
    return {unit: [notice for notice, _word in said] for unit, said in verdicts_for(units, as_of).items()}
