"""Scanning a tag: to the unit's page, or to a PIN with few tries."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Membership, Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.pins import hash_pin
from fleet.views import tag_sign_in
from tests.fleet.views.pages import errors, text

PIN, WRONG = "402718", "402719"


@pytest.fixture
def unit(portal) -> Trimmer:
    Membership.objects.filter(user=portal.people["boss"]).update(pin=hash_pin(pin=PIN, crew_id=portal.north.pk))
    return portal.units["due"]


def at(unit) -> str:
    return reverse("tag", args=[unit.tag_token])


def test_signed_in_it_opens_the_unit(portal, unit):
    for who in ("boss", "south", "owner", "technician"):
        response = portal.client(who).get(at(unit))
        assert response["Location"] == reverse("unit", args=[unit.pk])


def test_signed_in_strangers_get_404(portal, unit):
    for who in ("neighbor", "stranger", "other_bench"):
        assert portal.client(who).get(at(unit)).status_code == 404


def test_signed_out_it_tells_the_tag_and_nothing_else(portal, unit):
    response = Client().get(at(unit))
    page = text(response)
    assert "QH-01" in page
    for word in ("Quarry", "North", "Ostrel", "Heron", "OH2310001", "past due", "hold"):
        assert word not in page
    assert "no-store" in response["Cache-Control"]


def test_the_right_pin_signs_the_crew_boss_in(portal, unit):
    client = Client()
    response = client.post(at(unit), {"pin": PIN})
    assert response["Location"] == reverse("unit", args=[unit.pk])
    assert client.get(response["Location"]).status_code == 200
    assert int(client.session["_auth_user_id"]) == portal.people["boss"].pk


def test_the_session_of_a_visitor_is_not_kept(portal, unit):
    client = Client()
    client.get(reverse("account_login"))
    session = client.session
    session["planted"] = "yes"
    session.save()
    before = session.session_key
    client.cookies["sessionid"] = before
    client.post(at(unit), {"pin": PIN})
    assert client.session.session_key != before


def test_a_wrong_pin_says_the_same_for_every_tag(portal, unit):
    said = {
        errors(Client().post(at(portal.units[name]), {"pin": WRONG}))["id_pin"] for name in ("due", "held", "theirs")
    }
    assert len(said) == 1
    assert "_auth_user_id" not in Client().session


@pytest.mark.parametrize("pin", ["", "40271", "abcdef ", "4027188"])
def test_what_is_no_pin_signs_nobody_in(unit, pin):
    client = Client()
    response = client.post(at(unit), {"pin": pin})
    assert response.status_code == 422
    assert "_auth_user_id" not in client.session


def test_after_five_wrong_tries_the_right_pin_is_not_tried(unit):
    answers = [Client().post(at(unit), {"pin": WRONG}, REMOTE_ADDR=f"192.0.2.{n}").status_code for n in range(6)]
    assert answers == [422] * 5 + [429]
    client = Client()
    assert client.post(at(unit), {"pin": PIN}, REMOTE_ADDR="192.0.2.99").status_code == 429
    assert "_auth_user_id" not in client.session


def test_tries_count_over_all_tags_of_one_address(portal, unit, monkeypatch):
    monkeypatch.setattr(tag_sign_in, "PER_ADDRESS", replace(tag_sign_in.PER_ADDRESS, tries=2))
    for name in ("held", "theirs"):
        assert Client().post(at(portal.units[name]), {"pin": WRONG}).status_code == 422
    assert Client().post(at(unit), {"pin": PIN}).status_code == 429
    assert Client().post(at(unit), {"pin": PIN}, REMOTE_ADDR="192.0.2.7").status_code == 302


def test_tries_count_over_all_tags_of_one_crew(portal, unit, monkeypatch):
    monkeypatch.setattr(tag_sign_in, "PER_CREW", replace(tag_sign_in.PER_CREW, tries=1))
    Client().post(at(portal.units["fresh"]), {"pin": WRONG})
    assert Client().post(at(unit), {"pin": PIN}).status_code == 429


def test_right_pins_use_up_no_tries(unit):
    answers = [Client().post(at(unit), {"pin": PIN}).status_code for _ in range(8)]
    assert answers == [302] * 8


def test_an_address_is_believed_behind_trusted_proxies_only(rf, settings):
    from fleet.limits import address_of

    request = rf.get("/", headers={"X-Forwarded-For": "203.0.113.5, 198.51.100.7"}, REMOTE_ADDR="10.0.0.1")
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 0
    assert address_of(request) == "10.0.0.1"
    settings.ALLAUTH_TRUSTED_PROXY_COUNT = 1
    assert address_of(request) == "198.51.100.7"


def test_the_tag_of_a_retired_unit_lets_nobody_in(portal, unit):
    with all_tenants():
        Trimmer.objects.filter(pk=unit.pk).update(retired_on="2026-01-01")
    assert Client().get(at(unit)).status_code == 404
    assert Client().post(at(unit), {"pin": PIN}).status_code == 404
    assert portal.client("owner").get(at(unit)).status_code == 302


def test_a_lost_tag_is_dead_and_the_new_one_works(portal, unit):
    old, url = at(unit), reverse("unit_tag", args=[unit.pk])
    client = portal.client("owner")
    assert unit.tag_token in client.get(url).content.decode()
    assert portal.client("boss").post(url).status_code == 404
    assert portal.client("neighbor").post(url).status_code == 404
    page = client.post(url, follow=True)
    assert "old address no longer works" in text(page)
    unit.refresh_from_db()
    assert old != at(unit)
    assert Client().get(old).status_code == 404
    assert Client().get(at(unit)).status_code == 200


def test_the_address_on_a_tag_can_be_typed(unit):
    client, url = Client(), reverse("crew_sign_in")
    assert "Point your phone's camera" in text(client.get(url))
    for typed in (f"https://portal.example.org/t/{unit.tag_token}/", unit.tag_token, f" t/{unit.tag_token} "):
        assert client.post(url, {"address": typed})["Location"] == at(unit)
    for typed in ("", "QH 01", "../../x y"):
        assert "id_address" in errors(client.post(url, {"address": typed}))
