"""The administrator's pages, and a contractor's settings."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.models import Arrangement, Contractor, Shop, UnitState
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.fleet.views.pages import errors, queries, text

SETTINGS = {
    "season_opens": "04-01",
    "season_closes": "11-15",
    "working_days": ["0", "1", "2", "3", "4", "5"],
    "time_zone": "America/Chicago",
    "order_by": "01-31",
    "labour_rate": "95",
    "downtime_per_day": "70",
    "spare_on_trailer": "on",
    "risk_limit": "12.5",
    "confidence_gate": "65",
    "discount_rate": "8",
    "resale": "15",
}


def test_shops_and_contractors_with_who_looks_after_whom(portal):
    page = text(portal.client("administrator").get(reverse("portal")))
    assert "2 shops , 3 contractors." in page or "2 shops, 3 contractors." in page
    assert "Quarry Hill Grounds Alder Street Small Engine" in page


def test_it_is_the_administrators_alone(portal):
    for who in ("boss", "owner", "technician", "manager"):
        for name in ("portal", "shop_add", "contractor_add", "arrangement_add"):
            assert portal.client(who).get(reverse(name)).status_code == 404


def test_shops_and_contractors_are_added(portal):
    client = portal.client("administrator")
    client.post(reverse("shop_add"), {"name": "Mill Lane Engines", "time_zone": "America/Denver"})
    shop = Shop.objects.get(name="Mill Lane Engines")
    client.post(reverse("contractor_add"), {"name": "Brook Lawn", "time_zone": "America/Denver", "shop": shop.pk})
    contractor = Contractor.objects.get(name="Brook Lawn")
    assert contractor.arrangements.get().shop == shop
    assert client.get(reverse("contractor_settings", args=[contractor.pk])).status_code == 200


def test_a_name_that_is_there_is_refused(portal):
    client = portal.client("administrator")
    for name, taken in (("shop_add", "alder street small-engine"), ("contractor_add", "QUARRY HILL GROUNDS")):
        assert "id_name" in errors(client.post(reverse(name), {"name": taken, "time_zone": "America/Denver"}))
    assert "id_time_zone" in errors(client.post(reverse("shop_add"), {"name": "X", "time_zone": "Mars/Base"}))
    assert errors(client.post(reverse("shop_add"), {})).keys() == {"id_name", "id_time_zone"}


def test_an_arrangement_opens_and_shuts_the_units_to_a_shop(portal):
    fenwick = portal.people["stranger"].memberships.get().contractor
    client, shop = portal.client("administrator"), portal.shop
    seen = lambda: fenwick.pk in {c.pk for c in Contractor.objects.filter(arrangements__shop=shop)}  # noqa: E731
    said = {"shop": shop.pk, "contractor": fenwick.pk, "from_date": dt.date.today().isoformat()}
    client.post(reverse("arrangement_add"), said)
    assert seen()
    assert "id_from_date" in errors(client.post(reverse("arrangement_add"), said))
    assert portal.client("technician").get(reverse("units"), {"q": "x"}).status_code == 200
    row = Arrangement.objects.get(shop=shop, contractor=fenwick)
    end = reverse("arrangement_end", args=[row.pk])
    assert "id_until" in errors(client.post(end, {"until": "2020-01-01"}))
    client.post(end, {"until": dt.date.today().isoformat()})
    assert client.get(end).status_code == 404


def test_as_many_queries_for_twenty_contractors_as_for_two(portal):
    client = portal.client("administrator")
    few = queries(client, reverse("portal"))
    for number in range(18):
        factories.make_contractor(f"Contractor {number}", portal.shop)
    assert queries(client, reverse("portal")) == few


def settings_of(contractor) -> str:
    return reverse("contractor_settings", args=[contractor.pk])


def test_an_owner_changes_the_settings(portal):
    page = portal.client("owner").post(settings_of(portal.quarry), SETTINGS, follow=True)
    assert "Saved." in text(page)
    portal.quarry.refresh_from_db()
    assert portal.quarry.working_days == "1111110"
    assert portal.quarry.risk_limit == Decimal("0.125")
    assert (portal.quarry.season_opens, portal.quarry.spare_on_trailer) == ("04-01", True)
    page = portal.client("owner").post(settings_of(portal.quarry), SETTINGS, follow=True)
    assert "Nothing to change" in text(page)


def test_hours_follow_a_changed_season(portal):
    def hours():
        with all_tenants():
            return UnitState.objects.get(trimmer=portal.units["due"]).day_rate

    before = hours()
    portal.client("owner").post(settings_of(portal.quarry), SETTINGS)
    assert hours() != before or before > 0


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"season_opens": "13-01"}, "id_season_opens"),
        ({"season_opens": "02-30"}, "id_season_opens"),
        ({"season_closes": "04-31"}, "id_season_closes"),
        ({"season_closes": "04-01"}, "id_season_closes"),
        ({"working_days": []}, "id_working_days"),
        ({"working_days": ["9"]}, "id_working_days"),
        ({"order_by": "Jan"}, "id_order_by"),
        ({"labour_rate": "-1"}, "id_labour_rate"),
        ({"risk_limit": "95"}, "id_risk_limit"),
        ({"confidence_gate": "40"}, "id_confidence_gate"),
        ({"resale": "101"}, "id_resale"),
    ],
)
def test_bad_settings_are_answered_on_the_page(portal, said, field):
    assert field in errors(portal.client("owner").post(settings_of(portal.quarry), {**SETTINGS, **said}))
    portal.quarry.refresh_from_db()
    assert portal.quarry.season_opens == "01-01"


def test_settings_are_the_owners_and_the_administrators(portal):
    for who in ("boss", "technician", "manager", "neighbor"):
        assert portal.client(who).post(settings_of(portal.quarry), SETTINGS).status_code == 404
    assert portal.client("owner").get(settings_of(portal.millrace)).status_code == 404
    assert portal.client("administrator").get(settings_of(portal.quarry)).status_code == 200


def test_new_figures_wait_for_the_night_and_the_page_says_so(portal):
    waits = "Intervals are worked out at these figures tonight; until then the manuals' stand."
    client = portal.client("owner")
    assert waits in text(client.post(settings_of(portal.quarry), SETTINGS, follow=True))
    assert waits in text(client.post(settings_of(portal.quarry), {**SETTINGS, "risk_limit": "5"}, follow=True))
    assert waits not in text(client.post(settings_of(portal.quarry), {**SETTINGS, "risk_limit": "5"}, follow=True))
    later = {**SETTINGS, "risk_limit": "5", "resale": "20"}
    assert waits not in text(client.post(settings_of(portal.quarry), later, follow=True))
