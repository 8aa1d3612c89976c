"""Booking a day for units and other kit, moving it, calling it off; offering a day, and taking an offer.

The last minutes of a day go to one: who promises minutes holds the day's row while counting what is left.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from fleet.models import Arrangement, Contractor, Crew, Shop, Trimmer
from fleet.record.writing import By, Refused, old_form
from shop.bench.days import bench_of, loads
from shop.bench.minutes import MinutesOf, minutes_of
from shop.bench.words import day_words, minutes_words
from shop.bench.writing import (
    add_event,
    lines_of_visit,
    lock_days,
    lock_parties,
    lock_visit,
    move_line,
    settle,
    write_mail,
)
from shop.models import DropOff, DropOffLine, LineJob, SeasonPlan
from shop.vocabulary import AT_SHOP, AT_YARD, BOOKED, CANCELLED, EXPECTED, INTAKE, KIT, NO_SHOW, OFFERED

FURTHEST_DAYS = 370
MOST_UNITS = 60
MOST_KIT = 20
LONGEST_KIT = 80
MOST_TRAVEL = 240


@dataclass(frozen=True)
class Brought:
    """One unit with the jobs it comes for."""

    unit: Trimmer
    jobs: tuple[str, ...] = ()


@dataclass(frozen=True)
class Booking:
    """Who brings what on which day."""

    shop: Shop
    contractor: Contractor
    day: dt.date
    crew: Crew | None = None
    units: Sequence[Brought] = ()
    kit: Sequence[str] = ()
    place: str = AT_SHOP
    travel_minutes: int = 0
    note: str = ""
    # An offer from the shop, which the crew takes or lets lapse.
    offered: bool = False
    plan: SeasonPlan | None = None


def minutes_needed(booking: Booking, minutes: MinutesOf) -> int:
    """Bench minutes the whole visit takes."""
    units = sum(minutes.of_unit(brought.jobs) for brought in booking.units)
    return units + len(booking.kit) * minutes.of(KIT) + booking.travel_minutes


def book(*, booking: Booking, by: By, today: dt.date, now: dt.datetime) -> DropOff:
    """Promise the day's minutes to this visit, or refuse and say what is left."""
    with transaction.atomic():
        lock_parties(booking.contractor.pk, [b.unit.pk for b in booking.units])
        before = _already_booked(booking, by)
        if before is not None:
            return before
        _check(booking, today)
        lock_days(booking.shop, [booking.day])
        minutes = minutes_of(booking.shop)
        _check_room(booking.shop, booking.day, minutes_needed(booking, minutes), today)
        visit = DropOff.objects.create(
            contractor=booking.contractor,
            shop=booking.shop,
            crew=booking.crew,
            place=booking.place,
            day=booking.day,
            state=OFFERED if booking.offered else BOOKED,
            travel_minutes=booking.travel_minutes,
            note=booking.note.strip(),
            offer_until=_offer_ends(booking, today) if booking.offered else None,
            plan=booking.plan,
            made_by=by.author,
            client_entry_id=by.client_entry_id,
        )
        add_lines(visit, booking.units, booking.kit, minutes, visit.state)
        add_event(visit, visit.state, by.author, now, after=booking.day.isoformat())
        write_mail(visit, "offer" if booking.offered else "booking", now)
    return visit


def add_lines(
    visit: DropOff, units: Sequence[Brought], kit: Sequence[str], minutes: MinutesOf, state: str
) -> list[DropOffLine]:
    """Rows of what comes, each with its jobs and minutes; a unit that is already on its way elsewhere is refused."""
    owner = {"contractor_id": visit.contractor_id, "shop_id": visit.shop_id}
    lines = []
    for brought in units:
        try:
            with transaction.atomic():
                line = DropOffLine.objects.create(
                    drop_off=visit, trimmer=brought.unit, minutes=minutes.of_unit(brought.jobs), state=state, **owner
                )  # fmt: skip
        except IntegrityError:
            raise _stands_elsewhere(brought.unit) from None
        for job in dict.fromkeys((INTAKE, *brought.jobs)):
            LineJob.objects.create(line=line, job=job, minutes=minutes.of(job), **owner)
        lines.append(line)
    for name in kit:
        line = DropOffLine.objects.create(
            drop_off=visit, kit=name.strip(), minutes=minutes.of(KIT), state=state, **owner
        )  # fmt: skip
        LineJob.objects.create(line=line, job=KIT, minutes=line.minutes, **owner)
        lines.append(line)
    return lines


def move(*, visit: DropOff, day: dt.date, by: By, today: dt.date, now: dt.datetime, version: int) -> DropOff:
    """Bring a visit to another day; an offer that is moved by those it was made to is taken with it."""
    with transaction.atomic():
        row = lock_visit(visit, [visit.day, day])
        _check_version(row, version)
        if row.state not in EXPECTED | {NO_SHOW}:
            raise Refused(_("This visit has begun, so its day stays."), "day")
        if day == row.day and row.state == BOOKED:
            return row
        _check_day(row.contractor, row.shop, day, today)
        lines = lines_of_visit(row)
        coming = [line for line in lines if line.state in EXPECTED | {NO_SHOW}]
        needed = sum(line.minutes for line in coming) + row.travel_minutes
        _check_room(row.shop, day, needed, today, without=row)
        before, row.day = row.day, day
        for line in coming:
            if line.state != BOOKED and not (line.state == OFFERED and by.seen_as == "shop"):
                move_line(line, BOOKED, by.author, now)
        if row.state == OFFERED and by.seen_as == "shop":
            row.offer_until = min(today + dt.timedelta(days=bench_of(row.shop).offer_days), day)
        add_event(row, "moved", by.author, now, before=before.isoformat(), after=day.isoformat())
        settle(row, lines)
        write_mail(row, "offer" if row.state == OFFERED else "moved", now)
    return row


def accept(*, visit: DropOff, by: By, today: dt.date, now: dt.datetime, version: int) -> DropOff:
    """Take an offer. One that has lapsed is taken all the same while its day has room."""
    with transaction.atomic():
        row = lock_visit(visit, [visit.day])
        if row.state == BOOKED:
            return row
        _check_version(row, version)
        if row.state != OFFERED:
            raise Refused(_("This offer does not stand any more. Load the page again."))
        lines = lines_of_visit(row)
        _check_day(row.contractor, row.shop, row.day, today)
        if row.offer_until is not None and row.offer_until < today:
            needed = sum(line.minutes for line in lines if line.state == OFFERED) + row.travel_minutes
            _check_room(row.shop, row.day, needed, today, without=row)
        for line in lines:
            if line.state == OFFERED:
                move_line(line, BOOKED, by.author, now)
        row.offer_until = None
        settle(row, lines)
        write_mail(row, "booking", now)
    return row


def cancel(*, visit: DropOff, by: By, now: dt.datetime, version: int, why: str = "") -> DropOff:
    """Call a visit off; what has arrived stays. The day's minutes are free again at once."""
    with transaction.atomic():
        row = lock_visit(visit, [visit.day])
        if row.state == CANCELLED:
            return row
        _check_version(row, version)
        lines = lines_of_visit(row)
        coming = [line for line in lines if line.state in EXPECTED | {NO_SHOW}]
        if not coming:
            raise Refused(_("Nothing of this visit is still to come."))
        for line in coming:
            move_line(line, CANCELLED, by.author, now, note=why)
        settle(row, lines)
        write_mail(row, "cancelled", now)
    return row


def cancel_line(*, visit: DropOff, line: DropOffLine, by: By, now: dt.datetime) -> DropOff:
    """Take one unit, or one piece of kit, off a visit that is still to come."""
    with transaction.atomic():
        row = lock_visit(visit, [visit.day])
        lines = lines_of_visit(row)
        one = next((found for found in lines if found.pk == line.pk), None)
        if one is None or one.state not in EXPECTED | {NO_SHOW}:
            raise Refused(_("This has arrived, or is off the list already. Load the page again."))
        move_line(one, CANCELLED, by.author, now)
        settle(row, lines)
        write_mail(row, "cancelled" if row.state == CANCELLED else "moved", now)
    return row


def _already_booked(booking: Booking, by: By) -> DropOff | None:
    """What this very press booked before; the same press with something else in it is refused."""
    if by.client_entry_id is None:
        return None
    before = DropOff.objects.known().filter(client_entry_id=by.client_entry_id).first()
    if before is None:
        return None
    lines = lines_of_visit(before)
    said = (booking.contractor.pk, booking.shop.pk, booking.day, by.author and by.author.pk)
    units = {b.unit.pk for b in booking.units}
    kit = sorted(name.strip() for name in booking.kit)
    stands = before.state in EXPECTED
    same = (before.contractor_id, before.shop_id, before.day, before.made_by_id) == said
    alike = {line.trimmer_id for line in lines} - {None} == units and sorted(x.kit for x in lines if x.kit) == kit
    if not (stands and same and alike):
        raise Refused(old_form())
    return before


def _check(booking: Booking, today: dt.date) -> None:
    _check_day(booking.contractor, booking.shop, booking.day, today)
    if not booking.units and not booking.kit:
        raise Refused(_("Pick at least one unit, or name other kit."), "units")
    if len(booking.units) > MOST_UNITS:
        raise Refused(_("Book at most %(most)d units at once.") % {"most": MOST_UNITS}, "units")
    names = [name.strip() for name in booking.kit]
    if len(names) > MOST_KIT or any(not name or len(name) > LONGEST_KIT for name in names):
        raise Refused(_("Name up to 20 pieces of other kit, each in 80 letters or fewer."), "kit")
    if len(booking.note.strip()) > 200:
        raise Refused(_("Say it in 200 letters or fewer."), "note")
    if not 0 <= booking.travel_minutes <= MOST_TRAVEL or (booking.travel_minutes and booking.place != AT_YARD):
        raise Refused(_("Minutes on the road go with a yard visit, up to 240."), "travel_minutes")
    if booking.crew is not None and booking.crew.contractor_id != booking.contractor.pk:
        raise Refused(_("Choose one of the answers offered."), "crew")
    for brought in booking.units:
        if brought.unit.contractor_id != booking.contractor.pk or brought.unit.retired_on is not None:
            raise Refused(_("%(unit)s is not in use any more.") % {"unit": brought.unit.tag}, "units")


def _check_day(contractor: Contractor, shop: Shop, day: dt.date, today: dt.date) -> None:
    if day < today:
        raise Refused(_("This day is over. Choose one that is still to come."), "day")
    if day > today + dt.timedelta(days=FURTHEST_DAYS):
        raise Refused(_("Choose a day within the next year."), "day")
    running = Arrangement.objects.filter(shop=shop, contractor=contractor, from_date__lte=day)
    if not any(row.until is None or row.until >= day for row in running):
        raise Refused(
            _("%(shop)s does not look after these units on %(day)s.") % {"shop": shop, "day": day_words(day)}, "day"
        )


def _check_room(shop: Shop, day: dt.date, needed: int, today: dt.date, without: DropOff | None = None) -> None:
    """With the day's row locked: refuse what no longer fits."""
    load = loads(shop, day, day, today, without=() if without is None else (without.pk,))[day]
    if not load.is_open:
        raise Refused(_("The bench is closed on %(day)s. Choose another day.") % {"day": day_words(day)}, "day")
    if needed > load.left:
        raise Refused(
            _("%(day)s has %(left)s left and this visit takes %(needed)d. Choose another day, or bring less.")
            % {"day": day_words(day), "left": minutes_words(max(load.left, 0)), "needed": needed},
            "day",
        )


def _check_version(visit: DropOff, version: int) -> None:
    if visit.version != version:
        raise Refused(_("Somebody changed this visit meanwhile. Load the page again and look."))


def _offer_ends(booking: Booking, today: dt.date) -> dt.date:
    return min(today + dt.timedelta(days=bench_of(booking.shop).offer_days), booking.day)


def _stands_elsewhere(unit: Trimmer) -> Refused:
    line = DropOffLine.objects.known().filter(trimmer=unit, standing=True).select_related("drop_off").first()
    if line is None:
        return Refused(_("%(unit)s was booked just now. Load the page again.") % {"unit": unit.tag}, "units")
    words = _("%(unit)s is on a visit on %(day)s already. Move that one, or leave this unit out.")
    return Refused(words % {"unit": unit.tag, "day": day_words(line.drop_off.day)}, "units")
