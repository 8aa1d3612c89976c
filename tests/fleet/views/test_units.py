"""Units in sight, registering one."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.models import Assignment, Trimmer, TrimmerModel
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.fleet.views.pages import PART, errors, queries, text


def listed(portal, who="owner", **query) -> str:
    return text(portal.client(who).get(reverse("units"), query))


def test_units_in_sight_with_their_state(portal):
    page = listed(portal)
    assert "3 units." in page
    assert "QH-01 Ostrel Heron OH2310001 North" in page
    assert "past due" in page
    assert "hold: do not start" in page
    assert "ME-01" not in page
    assert "ME-01" in listed(portal, "technician")
    assert "Millrace Estates" in listed(portal, "technician")


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("qh-01", {"QH-01"}),
        ("OH2310", {"QH-01"}),
        ("heron ostrel", {"QH-01", "QH-02", "QH-03"}),
        ("heron 03", {"QH-03"}),
        ("ME-01", set()),
        ("%", set()),
        ("' OR 1=1", set()),
    ],
)
def test_search_by_tag_serial_and_model(portal, words, found):
    page = listed(portal, q=words)
    assert {tag for tag in ("QH-01", "QH-02", "QH-03", "ME-01") if tag in page} == found


def test_htmx_gets_the_list_alone(portal):
    html = portal.client("owner").get(reverse("units"), {"q": "QH-02"}, headers=PART).content.decode()
    assert html.strip().startswith('<div id="found">')
    assert "QH-02" in html
    assert "<html" not in html


def test_retired_units_are_shown_when_asked_for(portal):
    with all_tenants():
        Trimmer.objects.filter(pk=portal.units["fresh"].pk).update(retired_on=dt.date(2026, 3, 4))
    assert "QH-02" not in listed(portal)
    assert "retired Mar 4, 2026" in listed(portal, show="retired")
    assert "4 units" not in listed(portal, show="all")
    assert listed(portal, show="anything") == listed(portal)


def test_pages_beyond_the_last_show_the_last(portal):
    assert "QH-01" in listed(portal, page="999")
    assert "QH-01" in listed(portal, page="x")


def test_as_many_queries_for_twenty_units_as_for_two(portal):
    client = portal.client("owner")
    few = queries(client, reverse("units"))
    for number in range(10, 28):
        factories.make_unit(portal.north, f"QH-{number}", model=portal.units["due"].model)
    assert queries(client, reverse("units")) == few


def unit_said(portal, **said):
    return {
        "tag": "QH-50",
        "model": portal.units["due"].model_id,
        "maker": "",
        "model_name": "",
        "serial": " OH2600001 ",
        "crew": portal.north.pk,
        "registered_on": dt.date.today().isoformat(),
        "hours_at_registration": "12.5",
        "guard": "on",
        "bought_on": "03/02/2026",
        "price": "389",
        **said,
    }


def register(portal, who="owner", **said):
    return portal.client(who).post(reverse("register_unit"), unit_said(portal, **said))


def test_a_unit_is_registered_and_rides_with_its_crew(portal):
    response = register(portal)
    with all_tenants():
        unit = Trimmer.objects.get(tag="QH-50")
        assert response["Location"] == reverse("unit", args=[unit.pk])
        assert (unit.contractor, unit.serial, unit.price) == (portal.quarry, "OH2600001", 389)
        assert unit.hours_at_registration == Decimal("12.5")
        assert unit.bought_on == dt.date(2026, 3, 2)
        assert Assignment.objects.get(trimmer=unit).crew == portal.north
    assert "QH-50" in listed(portal)


def test_another_model_may_be_named(portal):
    register(portal, model="", maker="Kindrake", model_name="Smew")
    with all_tenants():
        assert str(Trimmer.objects.get(tag="QH-50").model) == "Kindrake Smew"
    register(portal, tag="QH-51", model="", maker="KINDRAKE", model_name="smew")
    assert TrimmerModel.objects.filter(maker="Kindrake").count() == 1


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"tag": ""}, "id_tag"),
        ({"tag": "qh 01"}, "id_tag"),
        ({"tag": "---"}, None),
        ({"model": ""}, "id_maker"),
        ({"registered_on": "2999-01-01"}, "id_registered_on"),
        ({"registered_on": "soon"}, "id_registered_on"),
        ({"bought_on": dt.date.today().isoformat(), "registered_on": "2026-01-01"}, "id_bought_on"),
        ({"hours_at_registration": "-1"}, "id_hours_at_registration"),
        ({"guard": "gone"}, "id_guard"),
        ({"price": "cheap"}, "id_price"),
    ],
)
def test_what_is_wrong_is_said_on_the_page(portal, said, field):
    response = register(portal, **said)
    if field is None:
        assert response.status_code in {302, 422}
        return
    assert field in errors(response)
    with all_tenants():
        assert not Trimmer.objects.filter(tag="QH-50").exists()


def test_a_refused_unit_leaves_no_new_model_behind(portal):
    register(portal, tag="QH-01", model="", maker="Kindrake", model_name="Smew")
    assert not TrimmerModel.objects.filter(maker="Kindrake").exists()


def test_nobody_registers_for_a_stranger(portal):
    assert register(portal, contractor=portal.millrace.pk).status_code == 404
    assert register(portal, "boss").status_code == 404
    assert register(portal, "technician").status_code == 404
    assert "id_crew" in errors(register(portal, crew=portal.park.pk))


def test_a_shop_says_first_for_which_contractor(portal):
    client, url = portal.client("manager"), reverse("register_unit")
    page = text(client.get(url))
    assert "For which contractor?" in page
    assert "Quarry Hill Grounds Millrace Estates" in page or "Millrace Estates Quarry Hill Grounds" in page
    assert "For Millrace Estates." in text(client.get(url, {"contractor": portal.millrace.pk}))
    assert client.get(url, {"contractor": "x"}).status_code == 404
