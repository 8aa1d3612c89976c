"""Booking a day: what fits, what is refused, and that the last minutes go to one."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.utils import timezone

from fleet.models.tenancy import all_tenants
from fleet.record.writing import By, Refused
from shop.bench.booking import Booking, Brought, accept, book, cancel, cancel_line, move
from shop.bench.calendar_keeping import add_closed_days
from shop.bench.days import loads
from shop.models import DropOff, DropOffLine, LineJob, VisitEvent, VisitMail
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
TOMORROW = TODAY + dt.timedelta(days=1)


@pytest.fixture
def bench(portal):
    factories.make_bench(portal.shop, minutes=200)
    with all_tenants():
        yield portal


def booking(portal, *tags, day=TOMORROW, jobs=("task.port",), **more) -> Booking:
    units = [Brought(portal.units[tag], jobs) for tag in tags]
    return Booking(portal.shop, portal.quarry, day, portal.north, units, **more)


def by(portal, who="boss", press=None) -> By:
    seen_as = "shop" if who in ("technician", "manager") else "crew"
    return By(portal.people[who], "screen", seen_as, press)


def say(call, **given):
    return call(**given, now=timezone.now())


def test_a_booking_keeps_jobs_minutes_steps_and_a_letter(bench):
    visit = say(book, booking=booking(bench, "due", kit=("Blower",)), by=by(bench), today=TODAY)
    lines = list(DropOffLine.objects.filter(drop_off=visit).order_by("pk"))
    assert [(line.name, line.minutes, line.state) for line in lines] == [
        ("QH-01", 42, "booked"),
        ("Blower", 30, "booked"),
    ]
    assert list(LineJob.objects.filter(line=lines[0]).values_list("job", "minutes")) == [
        ("intake", 12),
        ("task.port", 30),
    ]
    assert VisitEvent.objects.get().what == "booked"
    assert VisitMail.objects.get().kind == "booking"
    day = loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW]
    assert (day.open_minutes, day.held, day.booked, day.left) == (200, 50, 72, 78)


def test_the_same_press_books_once_and_another_wish_under_it_is_refused(bench):
    press = uuid.uuid4()
    first = say(book, booking=booking(bench, "due"), by=by(bench, press=press), today=TODAY)
    assert say(book, booking=booking(bench, "due"), by=by(bench, press=press), today=TODAY) == first
    with pytest.raises(Refused, match="saved before"):
        say(book, booking=booking(bench, "fresh"), by=by(bench, press=press), today=TODAY)
    assert DropOff.objects.count() == 1


def test_what_does_not_fit_is_refused_with_what_is_left(bench):
    say(book, booking=booking(bench, "due", "held", kit=("Blower",)), by=by(bench), today=TODAY)
    with pytest.raises(Refused, match=r"has 36 minutes left and this visit takes 42") as refusal:
        say(book, booking=booking(bench, "fresh"), by=by(bench), today=TODAY)
    assert refusal.value.field == "day"
    assert DropOff.objects.count() == 1


def test_days_that_cannot_be_booked(bench):
    add_closed_days(shop=bench.shop, first=TOMORROW, last=TOMORROW, why="Stock count")
    for day, words in (
        (TOMORROW, "closed"),
        (TODAY - dt.timedelta(days=1), "over"),
        (TODAY + dt.timedelta(days=500), "next year"),
    ):
        with pytest.raises(Refused, match=words):
            say(book, booking=booking(bench, "due", day=day), by=by(bench), today=TODAY)
    bench.quarry.arrangements.update(until=TODAY + dt.timedelta(days=3))
    with pytest.raises(Refused, match="does not look after"):
        say(book, booking=booking(bench, "due", day=TODAY + dt.timedelta(days=4)), by=by(bench), today=TODAY)


def test_a_unit_is_expected_once(bench):
    say(book, booking=booking(bench, "due"), by=by(bench), today=TODAY)
    with pytest.raises(Refused, match="QH-01 is on a visit"):
        say(book, booking=booking(bench, "due", day=TODAY + dt.timedelta(days=2)), by=by(bench), today=TODAY)
    assert DropOff.objects.count() == 1


def test_other_peoples_units_retired_ones_and_nothing_at_all(bench):
    for wrong, words in (
        (booking(bench, "theirs"), "not in use"),
        (booking(bench), "at least one unit"),
        (booking(bench, "due", travel_minutes=30), "yard visit"),
        (booking(bench, "due", kit=("x" * 90,)), "other kit"),
        (Booking(bench.shop, bench.quarry, TOMORROW, bench.park, [Brought(bench.units["due"])]), "answers offered"),
    ):
        with pytest.raises(Refused, match=words):
            say(book, booking=wrong, by=by(bench), today=TODAY)


def test_moving_frees_one_day_and_takes_the_other(bench):
    later = TODAY + dt.timedelta(days=5)
    visit = say(book, booking=booking(bench, "due"), by=by(bench), today=TODAY)
    moved = say(move, visit=visit, day=later, by=by(bench), today=TODAY, version=visit.version)
    days = loads(bench.shop, TOMORROW, later, TODAY)
    assert (moved.day, days[TOMORROW].booked, days[later].booked) == (later, 0, 42)
    with pytest.raises(Refused, match="Somebody changed"):
        say(move, visit=visit, day=TOMORROW, by=by(bench), today=TODAY, version=visit.version)
    assert set(VisitEvent.objects.values_list("what", flat=True)) == {"booked", "moved"}


def test_moving_within_a_full_day_needs_no_second_room(bench):
    visit = say(book, booking=booking(bench, "due", "held", "fresh"), by=by(bench), today=TODAY)
    moved = say(move, visit=visit, day=TODAY + dt.timedelta(days=2), by=by(bench), today=TODAY, version=visit.version)
    back = say(move, visit=moved, day=TOMORROW, by=by(bench), today=TODAY, version=moved.version)
    assert back.day == TOMORROW


def test_cancelling_frees_the_day_and_the_units(bench):
    visit = say(book, booking=booking(bench, "due", "fresh"), by=by(bench), today=TODAY)
    fresh = DropOffLine.objects.get(trimmer=bench.units["fresh"])
    row = say(cancel_line, visit=visit, line=fresh, by=by(bench))
    assert row.state == "booked"
    row = say(cancel, visit=row, by=by(bench), version=row.version, why="Rain all week")
    assert row.state == "cancelled"
    assert loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW].booked == 0
    assert say(book, booking=booking(bench, "due"), by=by(bench), today=TODAY).state == "booked"


def test_an_offer_holds_its_minutes_until_it_lapses(bench):
    visit = say(book, booking=booking(bench, "due", offered=True), by=by(bench, "manager"), today=TODAY)
    assert (visit.state, visit.offer_until) == ("offered", TOMORROW)
    assert loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW].offered == 42
    DropOff.objects.filter(pk=visit.pk).update(offer_until=TODAY - dt.timedelta(days=1))
    assert loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW].offered == 0
    taken = say(accept, visit=visit, by=by(bench), today=TODAY, version=visit.version)
    assert taken.state == "booked"
    assert loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW].booked == 42
    assert list(VisitMail.objects.order_by("pk").values_list("kind", flat=True)) == ["offer", "booking"]


def test_a_lapsed_offer_is_not_taken_where_the_day_filled_up(bench):
    offer = say(book, booking=booking(bench, "due", offered=True), by=by(bench, "manager"), today=TODAY)
    DropOff.objects.filter(pk=offer.pk).update(offer_until=TODAY - dt.timedelta(days=1))
    say(book, booking=booking(bench, "fresh", "held", kit=("A", "B")), by=by(bench), today=TODAY)
    with pytest.raises(Refused, match="left and this visit takes"):
        say(accept, visit=offer, by=by(bench), today=TODAY, version=offer.version)


def test_an_offer_moved_by_the_crew_is_taken_and_by_the_shop_stays_an_offer(bench):
    offer = say(book, booking=booking(bench, "due", offered=True), by=by(bench, "manager"), today=TODAY)
    later = TODAY + dt.timedelta(days=3)
    again = say(move, visit=offer, day=later, by=by(bench, "manager"), today=TODAY, version=offer.version)
    assert (again.state, again.offer_until) == ("offered", later)
    taken = say(move, visit=again, day=TOMORROW, by=by(bench), today=TODAY, version=again.version)
    assert taken.state == "booked"


def test_walk_ins_beyond_their_share_come_off_the_day(bench):
    for number in range(2):
        visit = factories.make_drop_off(bench.shop, bench.north, days=1, kit=(f"Saw {number}",), walk_in=True)
    day = loads(bench.shop, TOMORROW, TOMORROW, TODAY)[TOMORROW]
    assert (day.held, day.walk_in, day.left) == (50, 60, 140)
    assert visit.walk_in


def test_work_left_over_comes_off_today(bench):
    factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=-2, state="on_bench")
    days = loads(bench.shop, TODAY, TOMORROW, TODAY)
    assert (days[TODAY].carried, days[TOMORROW].carried) == (42, 0)
