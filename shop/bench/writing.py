"""What every writer of the bench shares: locks in one order, steps kept as events, letters that have to go out.

Everyone locks in the same order: contractor, units by id (as in ``fleet.record.writing``), bench days by date, then the
drop-off. Writers come by their rows through ``objects.known()``: whoever calls has found the drop-off in sight.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence

from django.db import transaction
from django.db.models import F
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet import background
from fleet.models import Contractor, Shop, User
from fleet.record.writing import Refused, lock_units
from shop.bench.mailing import send_waiting
from shop.models import BenchDay, DropOff, DropOffLine, VisitEvent, VisitMail
from shop.vocabulary import (
    ADVANCE,
    CANCELLED,
    CHECKED_IN,
    NEXT_STATES,
    NO_SHOW,
    ON_BENCH,
    PICKED_UP,
    READY,
    STANDING,
    VISIT_STATES,
    WAITING,
)


def lock_parties(contractor_id: int, unit_ids: Iterable[int]) -> None:
    """The contractor's row and these units', until the transaction ends."""
    list(Contractor.objects.select_for_update().filter(pk=contractor_id).values_list("pk"))
    lock_units(unit_ids)


def lock_days(shop: Shop, days: Iterable[dt.date]) -> None:
    """The rows of these days, by date: whoever promises minutes of a day holds its row while counting what is left."""
    for day in sorted(set(days)):
        BenchDay.objects.get_or_create(shop=shop, day=day)
        list(BenchDay.objects.select_for_update().filter(shop=shop, day=day).values_list("pk"))
        BenchDay.objects.filter(shop=shop, day=day).update(version=F("version") + 1)


def lock_visit(visit: DropOff, days: Iterable[dt.date] = ()) -> DropOff:
    """The drop-off as it is now, with everything a step of it may touch locked in order."""
    units = DropOffLine.objects.known().filter(drop_off=visit.pk, trimmer__isnull=False)
    lock_parties(visit.contractor_id, list(units.values_list("trimmer_id", flat=True)))
    lock_days(visit.shop, days)
    rows = DropOff.objects.known().select_for_update(of=("self",)).filter(pk=visit.pk)
    return rows.select_related("contractor", "shop", "crew").get()


def lines_of_visit(visit: DropOff) -> list[DropOffLine]:
    """The lines in the order they were booked, with their units."""
    rows = DropOffLine.objects.known().filter(drop_off=visit.pk).select_related("trimmer__model")
    lines = list(rows.order_by("pk"))
    for line in lines:
        line.drop_off = visit
    return lines


def add_event(
    visit: DropOff, what: str, author: User | None, now: dt.datetime, *, line: DropOffLine | None = None,
    before: str = "", after: str = "", note: str = "",
) -> VisitEvent:  # fmt: skip
    """Keep one step."""
    return VisitEvent.objects.create(
        contractor_id=visit.contractor_id,
        shop_id=visit.shop_id,
        drop_off=visit,
        line=line,
        what=what,
        before=before[:40],
        after=after[:40],
        note=note[:200],
        author=author,
        at=now,
    )


def check_step(line: DropOffLine, to: str) -> None:
    """Refuse a step that does not follow from where the line is."""
    if to not in NEXT_STATES[line.state]:
        raise Refused(
            _("%(name)s is %(state)s now. Load the page again.")
            % {"name": line.name, "state": VISIT_STATES[line.state]}
        )


def move_line(
    line: DropOffLine, to: str, author: User | None, now: dt.datetime, *, note: str = "", waiting_for: str = ""
) -> None:
    """Bring one line to a state and keep the step; the caller settles the drop-off afterwards."""
    check_step(line, to)
    before = line.state
    line.state, line.standing = to, to in STANDING
    line.waiting_for = waiting_for if to == WAITING else ""
    if to == CHECKED_IN and line.arrived_at is None:
        line.arrived_at = now
    if to in (CHECKED_IN, ON_BENCH, WAITING):
        line.ready_at = None
    if to == READY:
        line.ready_at = now
    if to == PICKED_UP:
        line.picked_up_at = now
    line.save(update_fields=["state", "standing", "waiting_for", "arrived_at", "ready_at", "picked_up_at"])
    add_event(line.drop_off, to, author, now, line=line, before=before, after=to, note=note or waiting_for)


def settle(visit: DropOff, lines: Sequence[DropOffLine] | None = None) -> str:
    """The drop-off's state from its lines: the least advanced of those still coming. Returns the state before."""
    before = visit.state
    rows = lines_of_visit(visit) if lines is None else lines
    coming = [line.state for line in rows if line.state in ADVANCE]
    if coming:
        visit.state = min(coming, key=ADVANCE.__getitem__)
    elif rows:
        visit.state = NO_SHOW if any(line.state == NO_SHOW for line in rows) else CANCELLED
    visit.version += 1
    visit.save()
    return before


def write_mail(visit: DropOff, kind: str, now: dt.datetime | None = None) -> None:
    """A letter about this step: kept with the change, sent once the change stands."""
    VisitMail.objects.get_or_create(
        drop_off=visit,
        kind=kind,
        version=visit.version,
        defaults={
            "contractor_id": visit.contractor_id, "shop_id": visit.shop_id, "written_at": now or timezone.now(),
        },
    )  # fmt: skip
    transaction.on_commit(_send_soon)


def _send_soon() -> None:
    background.start(send_waiting, task="shop.send_waiting")
