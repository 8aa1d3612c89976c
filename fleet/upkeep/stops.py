"""What stops a unit on every screen beside the holds of its jobs: a recall notice, or a fault nobody has looked at yet.

The list of holds that the command prints is settled and names neither, so these are no rows of it. To whoever stands
in the yard they are the same: do not start.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.models import Failure, GuardCheck, RecallNotice, Withdrawal
from fleet.upkeep.recalls import LISTED, verdicts_for
from fleet.vocabulary import COMPONENTS, Label

RECALL, SERIAL, FAULT = "recall", "serial", "fault"

# Components whose open fault may hurt whoever starts the unit before the shop has looked (common practice):
# gearbox and drive shaft carry the head at working speed, and a loose or bent one lets go; an engine that runs hot or
# smells of burning, and a broken muffler, light grass and fuel. Guard, head, switch, throttle, clutch and mounts hold
# the unit as rows of the list already.
STOPPING_COMPONENTS = frozenset({"gearbox", "drive_shaft", "cooling", "exhaust"})


@dataclass(frozen=True)
class Stop:
    """One thing that stops a unit: what it says, where that stands, since when."""

    kind: str
    key: int
    text: str
    source: str
    on: dt.date
    component: str = ""

    @property
    def sign(self) -> str:
        """The words beside the stop sign."""
        if self.kind == RECALL:
            return _("Recall: do as the notice says")
        if self.kind == SERIAL:
            return _("Recall: compare its serial first")
        return _("stop: do not start")

    @property
    def heading(self) -> str:
        """What it is, as a job's name stands over a job."""
        return _("Fault reported") if self.kind == FAULT else _("Recall notice")

    @property
    def duty(self) -> str:
        """What to do, and what not."""
        if self.kind == RECALL:
            return _("Do not start it. Do as the notice says; no repair takes its place.")
        if self.kind == SERIAL:
            return _(
                "Do not start it: no serial is on record, and the notice names some. Read the plate and compare; if it "
                "is named, do as the notice says."
            )
        return _("Do not start it until the shop has looked.")

    @property
    def is_recall(self) -> bool:
        """Whether a notice stands behind it."""
        return self.kind != FAULT

    def sentence(self) -> str:
        """All of it in one line, for paper, files and chats."""
        day = date_format(self.on, "M j, Y")
        return f"{self.sign}. {self.duty} {_full_stop(self.text)} ({self.source}, {day})"


def _full_stop(text: str) -> str:
    text = " ".join(text.split())
    return text if text[-1:] in ".!?" else f"{text}."


def stops_for(units: Iterable[tuple[int, int]], as_of: dt.date) -> dict[int, list[Stop]]:
    """What stops each of these units (pairs of unit and model), recalls first; four queries at most."""
    pairs = list(units)
    if not pairs:
        return {}
    found: dict[int, list[Stop]] = {}
    for unit, said in verdicts_for(pairs, as_of).items():
        stops = [_of_notice(notice, word == LISTED) for notice, word in said]
        found[unit] = sorted(stops, key=lambda stop: stop.kind != RECALL)
    for failure in _open_faults([unit for unit, _model in pairs], as_of):
        found.setdefault(failure.trimmer_id, []).append(_of_fault(failure))
    return found


def _of_notice(notice: RecallNotice, listed: bool) -> Stop:
    return Stop(RECALL if listed else SERIAL, notice.pk, notice.text, notice.source, notice.issued_on)


def _of_fault(failure: Failure) -> Stop:
    component: Label = COMPONENTS[failure.component]
    words = failure.what or str(component)
    who = _("reported by %(who)s") % {"who": failure.author} if failure.author else _("reported")
    return Stop(FAULT, failure.pk, words[:1].upper() + words[1:], who, failure.occurred_on, failure.component)


def _open_faults(unit_ids: Sequence[int], as_of: dt.date) -> Iterable[Failure]:
    """Faults that stop and stand open: not withdrawn, not mended since, and no safety check of the shop since."""
    gone = Withdrawal.objects.filter(entry_id=OuterRef("pk"))
    later = Q(occurred_on__gt=OuterRef("occurred_on")) | Q(
        occurred_on=OuterRef("occurred_on"), recorded_at__gt=OuterRef("recorded_at")
    )
    mended = (
        Failure.objects.filter(later, trimmer=OuterRef("trimmer"), component=OuterRef("component"))
        .filter(occurred_on__lte=as_of)
        .exclude(done="")
        .exclude(Exists(gone.filter(kind="failure")))
    )
    looked = (
        GuardCheck.objects.filter(later, trimmer=OuterRef("trimmer"), seen_by="shop", safety="ok")
        .filter(occurred_on__lte=as_of)
        .exclude(Exists(gone.filter(kind="guard")))
    )
    return (
        Failure.objects.filter(trimmer__in=unit_ids, component__in=STOPPING_COMPONENTS, done="", occurred_on__lte=as_of)
        .exclude(Exists(gone.filter(kind="failure")))
        .exclude(Exists(mended))
        .exclude(Exists(looked))
        .select_related("author")
        .order_by("occurred_on", "pk")
    )
