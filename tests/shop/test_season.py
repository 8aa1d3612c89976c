"""The season plan: what is put to it, what is kept, and offers made from it that crews take; never over a day."""

from __future__ import annotations

import datetime as dt

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.models import Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.writing import By, Refused
from shop.bench.days import loads
from shop.bench.season import begin_plan, send_offers, work_out
from shop.bench.yard_mornings import travel_to
from shop.models import DropOff, Placement, SeasonPlan, Technician
from shop.views.season import why_words
from tests import factories
from tests.fleet.views.pages import errors, text

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
FIRST, LAST = TODAY + dt.timedelta(days=1), TODAY + dt.timedelta(days=10)


@pytest.fixture
def bench(portal):
    factories.make_bench(portal.shop, minutes=120)
    for unit in portal.units.values():
        factories.do_task(unit, "stop_switch", days=2, as_found="failed", done="looked", seen_as="shop")
    return portal


def planned(portal, **more) -> SeasonPlan:
    plan = begin_plan(
        shop=portal.shop, first=FIRST, last=LAST, due_by=LAST, today=TODAY, author=portal.people["manager"], **more
    )
    work_out(plan_id=plan.pk)
    plan.refresh_from_db()
    return plan


def placements(plan) -> list[Placement]:
    return list(Placement.objects.at_shops([plan.shop_id]).filter(plan=plan).select_related("trimmer").order_by("pk"))


def test_units_due_get_days_with_room(bench):
    plan = planned(bench)
    assert plan.state == "draft"
    rows = placements(plan)
    assert {row.trimmer.tag for row in rows} == {"QH-01", "QH-02", "QH-03", "ME-01"}
    assert all(row.day is not None and FIRST <= row.day <= LAST for row in rows)
    assert 0 <= plan.result["gap"] <= 1
    by_day: dict[dt.date, int] = {}
    for row in rows:
        by_day[row.day] = by_day.get(row.day, 0) + row.minutes
    assert all(minutes <= 90 for minutes in by_day.values())
    work_out(plan_id=plan.pk)
    assert len(placements(plan)) == len(rows)


def test_units_on_a_visit_already_are_left_alone(bench):
    factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=3)
    assert "QH-01" not in {row.trimmer.tag for row in placements(planned(bench))}


def test_offers_are_made_once_and_hold_their_minutes(bench):
    plan = planned(bench)
    by = By(bench.people["manager"], "screen", "shop")
    with all_tenants():
        sent, refused = send_offers(plan=plan, by=by, today=TODAY, now=timezone.now())
        assert (sent > 0, refused) == (True, [])
        visits = list(DropOff.objects.filter(plan=plan))
        assert {v.state for v in visits} == {"offered"}
        assert len(visits) == sent
        assert send_offers(plan=plan, by=by, today=TODAY, now=timezone.now()) == (0, [])
        assert all(row.line_id for row in placements(plan))
        assert all(load.left >= 0 for load in loads(bench.shop, FIRST, LAST, TODAY).values())


@pytest.fixture
def yardful(portal):
    """Five of Millrace's units due for the exhaust port, none held; a day without one costs much there."""
    factories.make_bench(portal.shop, minutes=600)
    portal.millrace.downtime_per_day = 400
    portal.millrace.working_days = "1111111"
    portal.millrace.save()
    model = factories.make_model("Rook", port=50, **dict.fromkeys(("stop_switch", "clutch", "mounts"), 9_000))
    for number in range(5):
        factories.make_unit(portal.park, f"ME-1{number}", model=model, run=60)
    return portal


def test_a_morning_at_the_yard_takes_what_needs_no_bench(yardful):
    assert {row.place for row in placements(planned(yardful))} == {"shop"}
    factories.break_part(yardful.units["theirs"], "gearbox", done="", cause="", what="Loose")
    plan = planned(yardful, yard_minutes=40)
    place = {row.trimmer.tag: row.place for row in placements(plan) if row.trimmer.tag.startswith("ME")}
    assert place.pop("ME-01") == "shop"
    assert place == dict.fromkeys([f"ME-1{n}" for n in range(5)], "yard")
    by = By(yardful.people["manager"], "screen", "shop")
    with all_tenants():
        assert send_offers(plan=plan, by=by, today=TODAY, now=timezone.now())[1] == []
        (visit,) = DropOff.objects.filter(plan=plan, place="yard")
        assert (visit.state, visit.travel_minutes, visit.lines.count()) == ("offered", 40, 5)
        load = loads(yardful.shop, visit.day, visit.day, TODAY)[visit.day]
        assert load.left >= 0


def test_a_morning_holds_half_a_days_minutes(yardful):
    """Five units of 42 minutes and 40 on the road do not go into half of 480."""
    Technician.objects.filter(shop=yardful.shop).update(
        **dict.fromkeys(("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"), 480)
    )
    places = [row.place for row in placements(planned(yardful, yard_minutes=40))]
    assert places.count("yard") in (0, 4)


def test_the_way_to_a_yard_is_the_last_visits_where_there_was_one(yardful):
    factories.make_drop_off(
        yardful.shop, yardful.park, days=-30, kit=("A",), state="picked_up", place="yard", travel_minutes=70
    )
    ids = [yardful.millrace.pk, yardful.quarry.pk]
    assert travel_to(yardful.shop.pk, ids, 40) == {yardful.millrace.pk: 70, yardful.quarry.pk: 40}


def test_the_page_tells_mornings_at_a_yard_and_asks_for_minutes(yardful, monkeypatch):
    monkeypatch.setattr("fleet.background.start", lambda work, *, task="", **kwargs: work(**kwargs))
    manager, url = yardful.client("manager"), reverse("season_plan")
    said = {"first_day": FIRST, "last_day": LAST, "due_by": LAST, "yard_minutes": 40}
    assert "id_yard_minutes" in errors(manager.post(url, {**said, "yard_minutes": 500}))
    page = text(manager.post(url, said, follow=True))
    assert "is a morning at a contractor's yard" in page
    assert "Millrace Estates, in their yard ME-10, ME-11, ME-12, ME-13, ME-14" in page


def test_nothing_placed_is_an_answer_too(bench, monkeypatch):
    monkeypatch.setattr("fleet.background.start", lambda work, *, task="", **kwargs: work(**kwargs))
    manager, url = bench.client("manager"), reverse("season_plan")
    Technician.objects.filter(shop=bench.shop).delete()
    page = text(manager.post(url, {"first_day": FIRST, "last_day": LAST, "due_by": LAST}, follow=True))
    assert "No unit could be given a day; why stands below." in page
    assert "No day of the plan is open to it." in page
    assert "inf" not in str(SeasonPlan.objects.get().result)
    Trimmer._base_manager.update(retired_on=TODAY)
    page = text(manager.post(url, {"first_day": FIRST, "last_day": LAST, "due_by": LAST}, follow=True))
    assert "No unit needs a day" in page


def test_a_full_bench_says_why(bench):
    for n in range(10):
        factories.make_drop_off(bench.shop, bench.park, days=n + 1, kit=("A", "B", "C"))
    rows = placements(planned(bench))
    assert all(row.day is None for row in rows)
    assert "The bench is full" in why_words(rows[0])


@pytest.mark.parametrize(
    ("first", "last", "due_by"),
    [(-1, 5, 5), (3, 2, 5), (1, 200, 5), (1, 5, 0), (1, 5, 400)],
)
def test_what_cannot_be_planned_is_refused(bench, first, last, due_by):
    days = [TODAY + dt.timedelta(days=n) for n in (first, last, due_by)]
    with pytest.raises(Refused):
        begin_plan(shop=bench.shop, first=days[0], last=days[1], due_by=days[2], today=TODAY, author=None)


def test_the_screen_from_asking_to_offers_taken(bench, monkeypatch):
    monkeypatch.setattr("fleet.background.start", lambda work, *, task="", **kwargs: work(**kwargs))
    manager, url = bench.client("manager"), reverse("season_plan")
    assert "No plan yet" in text(manager.get(url))
    said = {"first_day": FIRST, "last_day": LAST, "due_by": LAST}
    assert "id_last_day" in errors(manager.post(url, {**said, "last_day": TODAY}))
    page = text(manager.post(url, said, follow=True))
    assert "4 units have a day" in page
    assert "Load, before and after" in page
    plan = SeasonPlan.objects.get()
    assert "offers sent" in text(manager.post(reverse("season_plan_send", args=[plan.pk]), follow=True))
    boss = bench.client("boss")
    with all_tenants():
        visit = DropOff.objects.filter(contractor=bench.quarry).order_by("pk").first()
    boss.post(reverse("drop_off_accept", args=[visit.pk]), {"version": visit.version})
    visit.refresh_from_db()
    assert visit.state == "booked"


def test_only_the_manager_plans_and_only_the_own_shop(bench):
    plan = planned(bench)
    for who in ("technician", "boss", "owner", "administrator", "stranger"):
        client = bench.client(who)
        assert client.get(reverse("season_plan")).status_code == 404
        assert client.post(reverse("season_plan_send", args=[plan.pk])).status_code == 404
    html = bench.htmx("manager", reverse("season_plan")).get(reverse("season_plan")).content.decode()
    assert html.lstrip().startswith('<div id="page">')
