"""Drop-offs on screen: picking, days, booking, moving, taking an offer; strangers, bad input, parts, queries."""

from __future__ import annotations

import datetime as dt
import re
import uuid

import pytest
from django.urls import reverse

from fleet.models.tenancy import all_tenants
from shop.models import DropOff, DropOffLine
from tests import factories
from tests.fleet.views.pages import errors, queries, text

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
TOMORROW = TODAY + dt.timedelta(days=1)


@pytest.fixture
def bench(portal):
    factories.make_bench(portal.shop, minutes=200)
    return portal


def ask(portal, *units, **more) -> str:
    query = "&".join([*(f"units={portal.units[u].pk}" for u in units), *(f"{k}={v}" for k, v in more.items())])
    return f"{reverse('drop_off_book')}?crew=all&{query}"


def press(day=TOMORROW, **more) -> dict:
    return {"client_entry_id": uuid.uuid4(), "day": day.isoformat(), "note": "", **more}


def only() -> DropOff:
    with all_tenants():
        return DropOff.objects.get()


def test_the_ready_list_offers_a_booking(bench):
    page = bench.client("boss").get("/").content.decode()
    assert reverse("drop_off_book") in page


def test_from_a_units_row_to_the_page_with_the_unit_picked(bench):
    client = bench.client("boss")
    response = client.get(reverse("unit_book", args=[bench.units["due"].pk]), follow=True)
    html = response.content.decode()
    assert f'value="{bench.units["due"].pk}" checked' in html
    assert "for 1 unit" in text(response)


def test_first_the_units_then_the_days_with_minutes_left_and_units_away(bench):
    client = bench.client("boss")
    first = text(client.get(reverse("drop_off_book") + "?crew=all"))
    assert "QH-01" in first
    assert "ME-01" not in first
    assert "Which day?" not in first
    second = text(client.get(ask(bench, "due", "fresh", kit="Blower%0D%0AEdger")))
    assert "About 84 minutes at Alder Street Small Engine for 2 units and 2 pieces of other kit" in second
    assert "150 min left · 2 of 3 units away then" in second


def test_a_booking_and_what_the_shop_sees_of_it(bench):
    response = bench.client("boss").post(ask(bench, "due", kit="Blower"), press(note="Gate code at the office"))
    visit = only()
    assert response["Location"] == reverse("drop_off", args=[visit.pk])
    assert (visit.day, visit.state, visit.crew, visit.note) == (TOMORROW, "booked", None, "Gate code at the office")
    page = text(bench.client("technician").get(reverse("drop_off", args=[visit.pk])))
    assert "QH-01" in page
    assert "Gate code at the office" in page
    week = text(bench.client("technician").get(reverse("bench_week") + f"?week={TOMORROW}"))
    assert "QH-01, Blower" in week


def test_a_day_that_filled_up_meanwhile_keeps_what_was_typed(bench):
    factories.make_drop_off(bench.shop, bench.park, days=1, kit=("A", "B", "C", "D", "E"))
    response = bench.client("boss").post(ask(bench, "due"), press(note="Behind the shed"))
    assert "0 minutes left and this visit takes" in errors(response)["id_day" if "id_day" in errors(response) else ""]
    assert "Behind the shed" in response.content.decode()
    assert "full and left out" in text(response, 422)


def test_bad_input_is_answered_on_the_page(bench):
    client = bench.client("boss")
    response = client.post(ask(bench, "due"), {"client_entry_id": uuid.uuid4(), "day": "soon", "note": "x" * 300})
    assert response.status_code == 422
    assert client.get(ask(bench, kit="x" * 100)).status_code == 200
    assert "other kit" in text(client.post(ask(bench, kit="x" * 100), press()), 422)
    assert client.get(reverse("drop_off_book") + "?units=abc&crew=all").status_code == 200
    assert client.get(reverse("drop_off_book") + "?units=999999&crew=all").status_code == 200
    with all_tenants():
        assert not DropOff.objects.exists()


def test_a_press_from_an_old_page_is_refused_by_name_and_the_same_press_twice_is_one_visit(bench):
    client, first = bench.client("boss"), press()
    address = ask(bench, "due", kit="Blower")
    booked = client.post(address, first)
    assert client.post(address, first)["Location"] == booked["Location"]
    again = client.post(address, press())
    assert "QH-01 is on a visit on" in text(again, 422)
    # What is left can be booked from there, and says what it is.
    assert "for 1 piece of other kit" in text(again, 422)
    assert only().pk


def test_asking_for_days_with_nothing_picked_says_so(bench):
    page = bench.client("boss").get(reverse("drop_off_book") + "?crew=all&kit=&place=shop")
    assert "Pick at least one unit, or name other kit." in text(page)


def test_a_unit_stopped_by_a_fault_says_stop_where_it_is_booked(bench):
    client = bench.client("boss")
    unit = bench.units["fresh"]
    fault = {"client_entry_id": uuid.uuid4(), "unit": unit.pk, "fault": "gearbox", "occurred_on": TODAY.isoformat()}
    said = client.post(reverse("report_fault"), fault)
    assert said.status_code == 302, text(said)
    offers = {o.unit.pk: o for o in client.get(reverse("drop_off_book") + "?crew=all").context["offers"]}
    assert (offers[unit.pk].state, offers[unit.pk].state_words) == ("hold", "stop: do not start")


def test_a_strangers_unit_in_the_address_is_not_booked(bench):
    url = f"{reverse('drop_off_book')}?crew=all&units={bench.units['theirs'].pk}"
    page = text(bench.client("boss").post(url, press()), 422)
    assert "ME-01" not in page
    assert "at least one unit" in page


def test_the_shop_offers_and_the_crew_takes_or_moves_it(bench):
    manager, boss = bench.client("manager"), bench.client("boss")
    manager.post(ask(bench, "due", contractor=bench.quarry.pk), press(offer="1"))
    visit = only()
    assert visit.state == "offered"
    assert "1 offer waits for an answer" in text(boss.get(reverse("drop_offs")))
    take = reverse("drop_off_accept", args=[visit.pk])
    assert manager.post(take, {"version": visit.version}).status_code == 404
    boss.post(take, {"version": visit.version})
    assert only().state == "booked"
    move = reverse("drop_off_move", args=[visit.pk])
    assert "Now on" in text(boss.get(move))
    later = TODAY + dt.timedelta(days=3)
    response = boss.post(move, {"day": later.isoformat(), "version": visit.version})
    assert "Somebody changed this visit" in text(response, 422)
    assert boss.post(move, {"day": later.isoformat(), "version": only().version}).status_code == 302
    assert only().day == later


def test_moving_offers_days_near_the_visit_and_counts_its_own_units_once(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=60)
    day = TODAY + dt.timedelta(days=60)
    html = bench.client("boss").get(reverse("drop_off_move", args=[visit.pk])).content.decode()
    offered = [dt.date.fromisoformat(value) for value in re.findall(r'name="day" value="([\d-]+)"', html)]
    assert day not in offered
    assert min(offered) < day < max(offered)
    assert all(abs(found - day) <= dt.timedelta(days=30) for found in offered)
    assert len(re.findall(r"1 of \d units away then", html)) == len(offered)


def test_a_visit_signs_the_units_that_rest(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"])
    url = reverse("drop_off", args=[visit.pk])
    for who in ("boss", "technician"):
        assert "Recall: do as the notice says" not in text(bench.client(who).get(url))
    factories.make_notice(bench.units["due"].model)
    for who in ("boss", "technician"):
        assert "Recall: do as the notice says" in text(bench.client(who).get(url))


def test_calling_off_and_leaving_out(bench):
    boss = bench.client("boss")
    boss.post(ask(bench, "due", "fresh"), press())
    visit = only()
    with all_tenants():
        line = DropOffLine.objects.get(trimmer=bench.units["fresh"])
    boss.post(reverse("line_cancel", args=[line.pk]))
    visit.refresh_from_db()
    assert visit.state == "booked"
    boss.post(reverse("drop_off_cancel", args=[visit.pk]), {"version": visit.version})
    assert only().state == "cancelled"
    assert "What happened" in text(boss.get(reverse("drop_off", args=[visit.pk])))


@pytest.mark.parametrize("who", ["neighbor", "stranger", "other_bench", "administrator"])
def test_strangers_see_no_visit(bench, who):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"])
    client = bench.client(who)
    for name in ("drop_off", "drop_off_move", "drop_off_cancel", "drop_off_accept"):
        assert client.post(reverse(name, args=[visit.pk]), {"version": 0}).status_code == 404
    assert only().state == "booked"


def test_the_shop_keeps_its_visits_after_the_arrangement_and_loses_the_units(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], state="ready", days=0)
    bench.quarry.arrangements.update(until=TODAY - dt.timedelta(days=1))
    client = bench.client("technician")
    with all_tenants():
        line = visit.lines.get()
    page = text(client.get(reverse("bench_line", args=[line.pk])))
    assert "The arrangement with this contractor has ended" in page
    assert "Last time on this unit" not in page
    client.post(reverse("line_step", args=[line.pk]), {"to": "picked_up"})
    assert only().state == "picked_up"
    assert client.get(reverse("unit", args=[bench.units["due"].pk])).status_code == 404


def test_without_a_shop_there_is_nowhere_to_book(bench):
    bench.quarry.arrangements.update(until=TODAY - dt.timedelta(days=1))
    assert "No shop to book with" in text(bench.client("boss").get(reverse("drop_off_book")))


def test_parts_for_htmx(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"])
    for url in (reverse("drop_offs"), reverse("drop_off", args=[visit.pk]), reverse("drop_off_book")):
        html = bench.htmx("boss", url).get(url).content.decode()
        assert html.lstrip().startswith('<div id="page">')
        assert "<html" not in html


def test_as_many_queries_for_many_visits_as_for_two(bench):
    def counts() -> dict[str, int]:
        with all_tenants():
            visit = DropOff.objects.order_by("pk").first()
        pages = {
            "boss": [reverse("drop_offs"), reverse("drop_off", args=[visit.pk]), ask(bench, "due")],
            "technician": [
                reverse("drop_offs"), reverse("bench_week"), reverse("bench_today"), reverse("check_in"),
                reverse("check_in") + "?tag=QH",
            ],
            "manager": [reverse("bench_calendar"), reverse("job_minutes")],
        }  # fmt: skip
        return {f"{who} {url}": queries(bench.client(who), url) for who, urls in pages.items() for url in urls}

    first = factories.make_drop_off(bench.shop, bench.north, bench.units["fresh"], days=0, kit=("A",))
    factories.make_drop_off(bench.shop, bench.north, bench.units["held"], days=0, state="on_bench")
    few = counts()
    with all_tenants():
        for number in range(20):
            unit = factories.make_unit(bench.north, f"QH-{300 + number}", model=bench.units["due"].model, run=None)
            state = ("booked", "checked_in", "ready", "no_show")[number % 4]
            factories.make_drop_off(bench.shop, bench.north, unit, days=0, state=state)
            owner = {"contractor": bench.quarry, "shop": bench.shop, "drop_off": first, "minutes": 5}
            DropOffLine.objects.create(kit=f"Kit {number}", **owner)
    many = counts()
    assert {name: (few[name], n) for name, n in many.items() if n > few[name]} == {}
