"""Recall notices: put up, matched, ended."""

from __future__ import annotations

import datetime as dt

from django.urls import reverse

from fleet.models import RecallNotice
from tests import factories
from tests.fleet.views.pages import errors, queries, text


def notice(portal, **more):
    model = portal.units["due"].model
    return {
        "model": model.pk,
        "serials": "OH2310000 - OH2319999",
        "text": "Stop using the unit.",
        "source": "Maker's letter",
        "issued_on": "2026-01-05",
        **more,
    }


def test_a_notice_names_the_units_in_sight(portal):
    response = portal.client("manager").post(reverse("recall_add"), notice(portal), follow=True)
    assert "1 notice is running. 1 unit you look after is named" in text(response)
    page = text(portal.client("boss").get(reverse("recalls")))
    assert "QH-01" in page
    assert "no repair takes its place" in page
    # A unit whose serial nobody entered is asked about.
    assert "QH-02" in page
    assert "Read their plates and compare" in page


def test_those_without_such_a_unit_are_not_told(portal):
    factories.make_notice(portal.units["due"].model)
    assert "No notice is running" in text(portal.client("stranger").get(reverse("recalls")))


def test_bad_notices_are_answered_on_the_page(portal):
    client, url = portal.client("manager"), reverse("recall_add")
    bad = client.post(url, notice(portal, serials="OH1\nOH9 - OW1"))
    assert "Line 2" in errors(bad)["id_serials"]
    tomorrow = (dt.date.today() + dt.timedelta(days=2)).isoformat()
    assert "id_issued_on" in errors(client.post(url, notice(portal, issued_on=tomorrow)))
    assert errors(client.post(url, {})).keys() == {"id_model", "id_text", "id_source", "id_issued_on"}
    assert not RecallNotice.objects.exists()


def test_the_same_notice_twice_stands_once(portal):
    for _ in range(2):
        portal.client("manager").post(reverse("recall_add"), notice(portal))
    assert RecallNotice.objects.count() == 1


def test_a_notice_ends_and_stays_among_those_ended(portal):
    row = factories.make_notice(portal.units["due"].model)
    client = portal.client("manager")
    bad = client.post(reverse("recall_end", args=[row.pk]), {"ended_on": "2020-01-01"})
    assert "id_ended_on" in errors(bad)
    client.post(reverse("recall_end", args=[row.pk]), {"ended_on": dt.date.today().isoformat()})
    assert "No notice is running" in text(client.get(reverse("recalls")))
    assert "fuel cap" in text(client.get(reverse("recalls"), {"all": "yes"}))
    assert client.get(reverse("recall_end", args=[row.pk])).status_code == 404


def test_owners_and_crews_put_up_none(portal):
    for who in ("owner", "boss", "technician"):
        assert portal.client(who).post(reverse("recall_add"), notice(portal)).status_code == 404


def test_as_many_queries_for_twenty_notices_as_for_two(portal):
    model, client = portal.units["due"].model, portal.client("owner")
    for number in range(2):
        factories.make_notice(model, f"A{number}")
    few = queries(client, reverse("recalls"))
    for number in range(2, 20):
        factories.make_notice(model, f"A{number}")
        if number % 4 == 0:
            factories.make_unit(portal.north, f"U-{number}", model=model, run=None)
    assert queries(client, reverse("recalls")) == few
