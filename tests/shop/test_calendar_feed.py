"""Drop-offs as a calendar: what RFC 5545 asks of the file, and what each private address opens.

The file is read back with the icalendar library, and its lines are checked as text, apart from it. Rules by section of
RFC 5545; section numbers from memory.
"""

from __future__ import annotations

import datetime as dt
import re
from zoneinfo import ZoneInfo

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from icalendar import Calendar

from fleet.models import Membership
from fleet.models.tenancy import all_tenants
from fleet.record.writing import By
from shop.bench.booking import cancel, move
from shop.calendar_zone import zone_rules
from shop.models import Bench, DropOff, FeedAddress
from tests import factories
from tests.fleet.views.pages import queries, text

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
LONG = 'Blower, größer; \\ than a line may be, with commas, and quotes " in it'


def address_of(portal, owner: str = "north") -> FeedAddress:
    with all_tenants():
        if owner == "shop":
            return FeedAddress.objects.create(shop=portal.shop, made_by=portal.people["manager"])
        crew = getattr(portal, owner)
        maker = portal.people[{"north": "boss", "south": "south", "park": "neighbor"}[owner]]
        return FeedAddress.objects.create(crew=crew, contractor_id=crew.contractor_id, made_by=maker)


def ask(address: FeedAddress, **headers: str):
    return Client().get(reverse("drop_off_feed", args=[address.token]), headers=headers)


def calendar(address: FeedAddress) -> Calendar:
    response = ask(address)
    assert response.status_code == 200
    return Calendar.from_ical(response.content)


def only_event(address: FeedAddress):
    (event,) = calendar(address).events
    return event


@pytest.fixture
def visit(portal) -> DropOff:
    factories.make_bench(portal.shop)
    return factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=3, kit=(LONG,))


def test_lines_end_and_fold_as_the_standard_says(portal, visit):
    """3.1: lines end in CR LF and hold at most 75 octets; a line that goes on begins with a space. 3.3.11: escapes."""
    response = ask(address_of(portal))
    assert response["Content-Type"] == "text/calendar; charset=utf-8"
    raw = response.content
    assert raw.endswith(b"\r\n")
    assert not re.search(rb"(?<!\r)\n|\r(?!\n)", raw)
    lines = raw.split(b"\r\n")[:-1]
    assert all(0 < len(line) <= 75 for line in lines)
    assert any(line.startswith(b" ") for line in lines)
    for line in lines:
        line.decode("utf-8")
    unfolded = raw.replace(b"\r\n ", b"").decode()
    assert "Blower\\, größer\\; \\\\ than a line may be\\, with commas" in unfolded
    for line in unfolded.split("\r\n")[:-1]:
        assert re.match(r"[A-Z][A-Z0-9-]*[;:]", line), line


def test_a_calendar_and_its_entries_say_what_they_must(portal, visit):
    """3.6: PRODID and VERSION once. 3.6.1: UID and DTSTAMP once, DTSTART where there is no METHOD, DTEND after it."""
    found = calendar(address_of(portal))
    assert found["VERSION"] == "2.0"
    assert found["PRODID"].startswith("-//")
    assert "METHOD" not in found
    assert not found.errors
    (event,) = found.events
    for name in ("UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "SEQUENCE", "LAST-MODIFIED", "STATUS"):
        assert name in event
        assert not isinstance(event[name], list), name
    assert event.end > event.start
    assert event["STATUS"] == "CONFIRMED"
    assert event["SEQUENCE"] == visit.version
    # 3.3.5, form 2: the stamp is in UTC. 3.8.7.2: without a METHOD it is when the entry was last revised.
    assert event.DTSTAMP == event.LAST_MODIFIED == visit.changed_at.replace(microsecond=0)
    assert event["DTSTAMP"].to_ical().endswith(b"Z")


def test_times_are_the_shops_own_and_the_zone_is_told(portal, visit):
    """3.2.19: a zone that is named has its rules beside it, good for that day."""
    portal.shop.time_zone = "America/Denver"
    portal.shop.save()
    Bench.objects.filter(shop=portal.shop).update(bring_by=dt.time(8, 15))
    found = calendar(address_of(portal))
    assert found.get_missing_tzids() == set()
    (event,) = found.events
    assert event["DTSTART"].params["TZID"] == "America/Denver"
    assert event.end == dt.datetime.combine(visit.day, dt.time(8, 15), tzinfo=ZoneInfo("America/Denver"))
    (zone,) = found.timezones
    assert event.end.replace(tzinfo=zone.to_tz()).utcoffset() == event.end.utcoffset()


def test_clocks_change_at_two_as_the_law_says():
    """In the United States at two o'clock of the time that holds until then (15 U.S.C. 260a; days from memory)."""
    rules = zone_rules("America/New_York", 2027, 2027)
    by_start = {rule["DTSTART"].dt: rule for rule in rules.subcomponents}
    hours = dt.timedelta(hours=1)
    spring, fall = by_start[dt.datetime(2027, 3, 14, 2)], by_start[dt.datetime(2027, 11, 7, 2)]
    assert (spring.name, spring["TZOFFSETFROM"].td, spring["TZOFFSETTO"].td) == ("DAYLIGHT", -5 * hours, -4 * hours)
    assert (fall.name, fall["TZOFFSETFROM"].td, fall["TZOFFSETTO"].td) == ("STANDARD", -4 * hours, -5 * hours)


@pytest.mark.parametrize("name", ["America/Phoenix", "America/St_Johns", "Australia/Lord_Howe", "Europe/Dublin"])
def test_rules_agree_with_the_zone_on_every_day(name):
    """Zones without a change, with half hours, and whose winter time is the one put on."""
    rules = sorted(zone_rules(name, 2027, 2027).subcomponents, key=lambda rule: rule["DTSTART"].dt)
    for n in range(365):
        noon = dt.datetime(2027, 1, 1, 12) + dt.timedelta(days=n)
        holds = [rule for rule in rules if rule["DTSTART"].dt <= noon][-1]
        assert holds["TZOFFSETTO"].td == noon.replace(tzinfo=ZoneInfo(name)).utcoffset(), noon


def test_the_same_visit_keeps_its_name_and_counts_its_steps(portal, visit):
    mine, shops = address_of(portal), address_of(portal, "shop")
    before = only_event(mine)
    assert only_event(shops)["UID"] == before["UID"]
    assert visit.token not in before["UID"]
    by = By(portal.people["boss"], "screen", "crew")
    with all_tenants():
        moved = move(
            visit=visit, day=TODAY + dt.timedelta(days=5), by=by, today=TODAY, now=timezone.now(), version=visit.version
        )
    after = only_event(mine)
    assert after["UID"] == before["UID"]
    assert after["SEQUENCE"] > before["SEQUENCE"]
    assert after.start.date() == TODAY + dt.timedelta(days=5)
    with all_tenants():
        cancel(visit=moved, by=by, now=timezone.now(), version=moved.version)
    gone = only_event(mine)
    assert (gone["UID"], gone["STATUS"]) == (before["UID"], "CANCELLED")
    assert gone["SEQUENCE"] > after["SEQUENCE"]


def test_an_offer_is_not_certain_yet_and_a_yard_visit_takes_the_day(portal):
    factories.make_drop_off(
        portal.shop, portal.north, portal.units["due"], state="offered", place="yard", offer_until=TODAY
    )
    event = only_event(address_of(portal))
    assert event["STATUS"] == "TENTATIVE"
    assert (event.start, event.end) == (TODAY + dt.timedelta(days=1), TODAY + dt.timedelta(days=2))
    assert "comes to the yard" in event["SUMMARY"]


def test_a_crew_reads_its_own_visits_and_its_yards_and_nothing_else(portal, visit):
    units = portal.units
    yard = factories.make_drop_off(portal.shop, portal.north, kit=("Of the whole yard",))
    DropOff._base_manager.filter(pk=yard.pk).update(crew=None)
    factories.make_drop_off(portal.shop, portal.south, units["held"])
    factories.make_drop_off(portal.shop, portal.park, units["theirs"], kit=("Their blower",))
    said = ask(address_of(portal)).content.decode().replace("\r\n ", "")
    assert "QH-01" in said
    assert "Of the whole yard" in said
    for other in ("QH-03", "ME-01", "Millrace", "Park", "Their blower"):
        assert other not in said
    assert "ME-01" in ask(address_of(portal, "shop")).content.decode()
    theirs = ask(address_of(portal, "park")).content.decode().replace("\r\n ", "")
    assert "ME-01" in theirs
    assert not re.search("QH-0|Quarry|North|South|whole yard", theirs)


def test_people_telephones_and_notes_stay_in_the_portal(portal, visit):
    DropOff._base_manager.filter(pk=visit.pk).update(note="Gate code 4711", made_by=portal.people["boss"])
    Bench.objects.filter(shop=portal.shop).update(phone="555-0140")
    for owner in ("north", "shop"):
        said = ask(address_of(portal, owner)).content.decode().replace("\r\n ", "")
        assert not re.search("4711|555-0140|North Boss|north.boss", said)


def test_an_unchanged_calendar_is_answered_without_its_content(portal, visit):
    address = address_of(portal)
    first = ask(address)
    again = ask(address, **{"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    DropOff._base_manager.get(pk=visit.pk).save()  # touched, and so told anew
    DropOff._base_manager.filter(pk=visit.pk).update(version=9)
    changed = ask(address, **{"If-None-Match": first["ETag"]})
    assert changed.status_code == 200
    assert changed["ETag"] != first["ETag"]
    assert "no-cache" in changed["Cache-Control"]


def test_old_visits_leave_and_recent_ones_stay(portal):
    for days in (-400, -61, -59):
        factories.make_drop_off(portal.shop, portal.north, days=days, kit=(f"{-days} days ago",), state="picked_up")
    assert "59 days ago" in only_event(address_of(portal))["SUMMARY"]


def test_an_empty_calendar_is_one_all_the_same(portal):
    found = calendar(address_of(portal))
    assert found.events == []
    assert found["X-WR-CALNAME"] == "Drop-offs, North, Quarry Hill Grounds"


def test_revoked_renewed_and_unknown_addresses_give_nothing(portal, visit):
    boss, page = portal.client("boss"), reverse("calendar_addresses")
    change = reverse("crew_calendar", args=[portal.north.pk])
    assert "No address yet" in text(boss.get(page))
    boss.post(change, {"address": ""})
    with all_tenants():
        first = FeedAddress.objects.get()
    assert len(first.token) >= 22
    html = boss.get(page).content.decode()
    assert f"http://testserver/calendar/{first.token}.ics" in html
    assert f"webcal://testserver/calendar/{first.token}.ics" in html
    assert "No calendar has asked yet" in text(boss.get(page))
    assert ask(first).status_code == 200
    assert "A calendar last asked" in text(boss.get(page))

    assert "The old address no longer works" in text(boss.post(change, {"address": first.pk}, follow=True))
    with all_tenants():
        second = FeedAddress.objects.get(revoked_at=None)
    assert ask(first).status_code == 404
    assert ask(second).status_code == 200
    # The page shown before the change cannot end what somebody else has made since.
    assert "meanwhile" in text(boss.post(change, {"address": first.pk, "revoke": ""}, follow=True))
    assert ask(second).status_code == 200
    boss.post(change, {"address": second.pk, "revoke": ""})
    assert ask(second).status_code == 404
    assert Client().get(reverse("drop_off_feed", args=["A" * 22])).status_code == 404


def test_an_address_ends_with_the_role_of_whoever_made_it(portal, visit):
    page, change = reverse("calendar_addresses"), reverse("crew_calendar", args=[portal.north.pk])
    portal.client("boss").post(change, {"address": ""})
    with all_tenants():
        address = FeedAddress.objects.get()
    assert ask(address).status_code == 200
    role = Membership.objects.get(user=portal.people["boss"])
    role.ended_on = dt.date.today()
    role.save()
    assert ask(address).status_code == 404
    owner = portal.client("owner")
    assert "shows nothing any more" in text(owner.get(page))
    owner.post(change, {"address": address.pk})
    with all_tenants():
        assert ask(FeedAddress.objects.get(revoked_at=None)).status_code == 200


def test_who_hands_out_which_address(portal, visit):
    for owner in ("north", "south", "park", "shop"):
        address_of(portal, owner)
    with all_tenants():
        crews = {name: FeedAddress.objects.get(crew=getattr(portal, name)).token for name in ("north", "south", "park")}
        tokens = {**crews, "shop": FeedAddress.objects.get(shop=portal.shop).token}
    sees = {
        "boss": {"north"}, "south": {"south"}, "owner": {"north", "south"}, "neighbor": {"park"},
        "manager": {"shop"}, "technician": {"shop"}, "stranger": set(), "other_bench": set(),
    }  # fmt: skip
    for who, expected in sees.items():
        html = portal.client(who).get(reverse("calendar_addresses")).content.decode()
        assert {name for name, token in tokens.items() if token in html} == expected, who
    assert portal.client("administrator").get(reverse("calendar_addresses")).status_code == 404
    for who, name, owner in (
        ("south", "crew_calendar", portal.north), ("manager", "crew_calendar", portal.north),
        ("technician", "shop_calendar", portal.shop), ("owner", "shop_calendar", portal.shop),
    ):  # fmt: skip
        assert portal.client(who).post(reverse(name, args=[owner.pk]), {"address": ""}).status_code == 404
    portal.client("manager").post(reverse("shop_calendar", args=[portal.shop.pk]), {"address": "", "revoke": ""})
    assert Client().get(reverse("drop_off_feed", args=[tokens["shop"]])).status_code == 200


def test_only_looking_is_answered(portal):
    url = reverse("drop_off_feed", args=[address_of(portal).token])
    assert Client().post(url).status_code == 405
    assert Client().head(url).status_code == 200


def test_as_many_queries_for_many_visits_as_for_one(portal, visit):
    address, _of_crew = address_of(portal, "shop"), address_of(portal)
    urls = (reverse("drop_off_feed", args=[address.token]), reverse("calendar_addresses"))
    client = portal.client("owner")
    few = [queries(client, url) for url in urls]
    for number in range(20):
        factories.make_drop_off(portal.shop, portal.park, days=number, kit=(f"Kit {number}",))
        address_of(portal, "south") if number == 0 else factories.make_crew(portal.quarry, f"Crew {number}")
    assert [queries(client, url) for url in urls] == few


def test_the_part_for_htmx(portal):
    url = reverse("calendar_addresses")
    assert portal.htmx("boss", url).get(url).content.decode().lstrip().startswith('<div id="page">')
