"""Taking an invitation up."""

from __future__ import annotations

import datetime as dt

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from fleet.access import access_of
from fleet.models import Invitation, Membership, User
from fleet.record.people import Place, invite
from tests.fleet.views.pages import errors, text

GOOD = {"name": "Olive Ash", "email": "olive@example.org", "username": "", "password": "moss and straw 41"}


def offer(portal, role="owner", **more) -> str:
    crew = portal.north if role == "crew_boss" else None
    said = {"name": "Olive", "email": "olive@example.org", "crew": crew, "now": timezone.now(), **more}
    _row, token = invite(place=Place(contractor=portal.quarry), role=role, by=portal.people["owner"], **said)
    return reverse("invitation", args=[token])


def test_a_new_person_joins_and_is_signed_in(portal):
    url, client = offer(portal), Client()
    page = client.get(url)
    assert "invites you as contractor owner to Quarry Hill Grounds" in text(page)
    assert "Choose how you sign in from now on: a password" in text(page)
    assert "Password (optional)" not in text(page)
    assert 'value="olive@example.org"' in page.content.decode()
    assert "no-store" in page["Cache-Control"]
    response = client.post(url, GOOD)
    assert response.status_code == 302
    user = User.objects.get(email="olive@example.org")
    assert access_of(user).roles == {"owner"}
    assert client.get(reverse("people")).status_code == 200
    assert Client().get(url).status_code == 404
    assert Invitation.objects.get().accepted_by == user
    # The address is not proof that its owner joined: it is unverified until mail to it is answered.
    assert not user.emailaddress_set.get().verified


def test_the_password_then_signs_in(portal):
    Client().post(offer(portal), GOOD)
    client = Client()
    client.post(reverse("account_login"), {"login": "olive@example.org", "password": GOOD["password"]})
    assert "_auth_user_id" in client.session


def test_a_crew_boss_needs_a_pin_only(portal):
    client = Client()
    client.post(offer(portal, "crew_boss"), {"name": "Bram", "pin": "402718"})
    row = Membership.objects.get(user__display_name="Bram")
    assert row.crew == portal.north
    assert row.pin.startswith("argon2")
    assert client.get("/").status_code == 200


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"password": "short"}, "id_password"),
        ({"password": "1234567890123"}, "id_password"),
        ({"password": "olive@example.org"}, "id_password"),
        ({"password": ""}, "id_password"),
        ({"name": ""}, "id_name"),
        ({"email": "no address"}, "id_email"),
        ({"email": "", "username": ""}, "id_username"),
        ({"username": "two words"}, "id_username"),
        ({"username": "quarry.owner"}, "id_username"),
    ],
)
def test_what_is_wrong_is_said_on_the_page(portal, said, field):
    url, before = offer(portal), User.objects.count()
    assert list(errors(Client().post(url, {**GOOD, **said}))) == [field]
    assert User.objects.count() == before
    assert Client().get(url).status_code == 200


@pytest.mark.parametrize(
    ("pin", "words"), [("", "Choose a PIN"), ("123456", "no pattern like 111111"), ("12x456", "six digits")]
)
def test_a_poor_pin_is_refused(portal, pin, words):
    url = offer(portal, "crew_boss")
    assert words in errors(Client().post(url, {"name": "Bram", "pin": pin}))["id_pin"]
    assert not Membership.objects.filter(user__display_name="Bram").exists()


def test_a_person_with_an_account_takes_the_role_with_it(portal):
    url, client = offer(portal), portal.client("boss")
    assert "The role is added to this account" in text(client.get(url))
    before = User.objects.count()
    assert client.post(url).status_code == 302
    assert User.objects.count() == before
    assert access_of(portal.people["boss"]).roles == {"crew_boss", "owner"}


def test_looking_takes_nothing_up(portal):
    url = offer(portal)
    portal.client("boss").get(url)
    Client().get(url)
    assert Invitation.objects.get().accepted_at is None


def test_it_runs_out(portal):
    url = offer(portal, now=timezone.now() - dt.timedelta(days=15))
    assert Client().get(url).status_code == 404
    assert Client().post(url, GOOD).status_code == 404
    assert not User.objects.filter(email=GOOD["email"]).exists()
