"""Invitations, roles, PINs: what they let in and what they keep out."""

from __future__ import annotations

import datetime as dt

import pytest
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from argon2 import PasswordHasher
from django.utils import timezone

from fleet.access import access_of
from fleet.models import Invitation, Membership, User
from fleet.models.tenancy import all_tenants
from fleet.record.people import (
    Place,
    accept_as,
    accept_as_new,
    add_crew,
    end_membership,
    find_invitation,
    invite,
    rename_crew,
    revoke_invitation,
)
from fleet.record.pins import easily_guessed, hash_pin, new_pin, reset_pin, who_has_pin
from fleet.record.writing import Refused
from tests import factories

pytestmark = pytest.mark.django_db
NOW = timezone.now()
TODAY = dt.date.today()


@pytest.fixture
def crew():
    return factories.make_crew(factories.make_contractor())


@pytest.fixture
def owner(crew):
    return factories.make_person("owner", "owner", contractor=crew.contractor)


def offer(crew, owner, role="crew_boss", **more):
    said = {"name": "Bram", "email": "", "crew": crew if role == "crew_boss" else None, "now": NOW, **more}
    return invite(place=Place(contractor=crew.contractor), role=role, by=owner, **said)


def join(token, pin="402718", **more):
    said = {"name": "Bram", "username": "", "email": "", "password": "", "now": NOW, **more}
    return accept_as_new(invitation=find_invitation(token, NOW), pin=pin, **said)


def test_the_address_is_not_kept(crew, owner):
    invitation, token = offer(crew, owner)
    assert token not in Invitation.objects.values_list("token", flat=True)
    assert find_invitation(token, NOW) == invitation
    assert find_invitation(invitation.token, NOW) is None
    assert find_invitation("", NOW) is None


def test_an_invitation_works_once(crew, owner):
    invitation, token = offer(crew, owner)
    user = join(token)
    assert access_of(user).crew_ids == {crew.pk}
    assert not user.has_usable_password()
    assert find_invitation(token, NOW) is None
    with pytest.raises(Refused):
        accept_as(invitation=invitation, user=owner, now=NOW)
    assert Membership.objects.filter(crew=crew).count() == 1


def test_an_invitation_runs_out_and_can_be_taken_back(crew, owner):
    _invitation, token = offer(crew, owner)
    assert find_invitation(token, NOW + dt.timedelta(days=13, hours=23)) is not None
    assert find_invitation(token, NOW + dt.timedelta(days=14, seconds=1)) is None
    invitation, token = offer(crew, owner)
    assert revoke_invitation(invitation=invitation, now=NOW)
    assert find_invitation(token, NOW) is None
    assert not revoke_invitation(invitation=invitation, now=NOW)


def test_nobody_is_invited_to_what_does_not_fit_the_place(crew, owner):
    other = factories.make_crew(factories.make_contractor("Millrace Estates"))
    for role, its_crew in (
        ("administrator", None),
        ("manager", None),
        ("crew_boss", other),
        ("crew_boss", None),
        ("owner", crew),
    ):
        with pytest.raises(Refused):
            invite(
                place=Place(contractor=crew.contractor), role=role, name="X", email="", crew=its_crew, by=owner, now=NOW
            )


def test_a_taken_name_or_address_is_refused_and_leaves_nothing(crew, owner):
    factories.make_person("taken", "owner", contractor=crew.contractor)
    User.objects.filter(username="taken").update(email="taken@example.org")
    for said, field in (({"username": "TAKEN"}, "username"), ({"email": "Taken@example.org"}, "email")):
        _invitation, token = offer(crew, owner)
        before = User.objects.count()
        with pytest.raises(Refused) as refused:
            join(token, password="moss and straw 41", **said)
        assert refused.value.field == field
        assert User.objects.count() == before
        assert find_invitation(token, NOW) is not None


def test_ending_a_role_works_at_once(crew, owner):
    boss = factories.make_person("boss", "crew_boss", crew=crew)
    membership = Membership.objects.get(user=boss)
    end_membership(membership=membership, by=owner, on=TODAY)
    assert access_of(boss).contractor_ids == frozenset()


def test_nobody_ends_their_own_last_role(crew, owner):
    with pytest.raises(Refused):
        end_membership(membership=Membership.objects.get(user=owner), by=owner, on=TODAY)
    assert access_of(owner).roles == {"owner"}


def test_the_portal_keeps_an_administrator(crew):
    one, two = (factories.make_person(name, "administrator") for name in ("one", "two"))
    end_membership(membership=Membership.objects.get(user=two), by=one, on=TODAY)
    Membership.objects.create(user=one, role="owner", contractor=crew.contractor)
    with pytest.raises(Refused):
        end_membership(membership=Membership.objects.get(user=one, role="administrator"), by=one, on=TODAY)


def test_crews_of_a_contractor_never_share_a_name(crew):
    with all_tenants():
        other = add_crew(contractor=crew.contractor, name="  South   crew ")
        assert other.name == "South crew"
        with pytest.raises(Refused):
            add_crew(contractor=crew.contractor, name="south-crew")
        with pytest.raises(Refused):
            rename_crew(crew=other, name="NORTH")
        rename_crew(crew=other, name="Verge")
        other.refresh_from_db()
        assert (other.name, other.name_key) == ("Verge", "verge")


@pytest.mark.parametrize("pin", ["000000", "123456", "987654", "121212", "345345", "890123"])
def test_pins_that_are_guessed_first(pin):
    assert easily_guessed(pin)


def test_new_pins_are_no_such_pins():
    pins = {new_pin() for _ in range(200)}
    assert all(len(pin) == 6 and not easily_guessed(pin) for pin in pins)
    assert len(pins) > 190


@pytest.mark.parametrize("pin", ["", "12345", "1234567", "40271x", "４０２７１８"])
def test_what_is_no_pin(crew, pin):
    with pytest.raises(Refused):
        hash_pin(pin=pin, crew_id=crew.pk)


@pytest.fixture
def boss(crew):
    user = factories.make_person("boss", "crew_boss", crew=crew)
    Membership.objects.filter(user=user).update(pin=hash_pin(pin="402718", crew_id=crew.pk))
    return user


@pytest.fixture
def unit(crew, boss):
    return factories.make_unit(crew, run=None)


def opens(unit, pin="402718"):
    with all_tenants():
        unit = type(unit).objects.select_related("state").get(pk=unit.pk)
        return who_has_pin(unit=unit, pin=pin)


def test_pins_are_kept_as_slow_hashes_that_another_library_agrees_with(boss):
    kept = Membership.objects.get(user=boss).pin
    assert kept.startswith("argon2$argon2id$")
    # The stored text is the encoded form of RFC 9106 after a prefix; argon2-cffi reads it on its own.
    assert PasswordHasher().verify(kept.removeprefix("argon2"), "402718")


def test_a_pin_opens_the_tags_of_its_own_crew_only(crew, boss, unit):
    other = factories.make_unit(factories.make_crew(crew.contractor, "South"), run=None)
    assert opens(unit) == boss
    assert opens(unit, "402719") is None
    assert opens(other) is None


def test_a_pin_never_opens_more_than_crews(crew, boss, unit):
    Membership.objects.create(user=boss, role="owner", contractor=crew.contractor)
    assert opens(unit) is None


def test_a_pin_does_not_go_around_the_second_proof(boss, unit):
    TOTP.activate(boss, generate_totp_secret())
    assert opens(unit) is None


@pytest.mark.parametrize("how", ["staff", "inactive", "ended", "retired"])
def test_who_else_is_kept_out(boss, unit, how):
    if how == "staff":
        User.objects.filter(pk=boss.pk).update(is_staff=True)
    elif how == "inactive":
        User.objects.filter(pk=boss.pk).update(is_active=False)
    elif how == "ended":
        Membership.objects.filter(user=boss).update(ended_on=TODAY)
    else:
        with all_tenants():
            type(unit).objects.filter(pk=unit.pk).update(retired_on=TODAY)
    assert opens(unit) is None


def test_two_on_a_crew_never_share_a_pin(crew, boss):
    with pytest.raises(Refused) as taken:
        hash_pin(pin="402718", crew_id=crew.pk)
    with pytest.raises(Refused) as easy:
        hash_pin(pin="111111", crew_id=crew.pk)
    assert taken.value.message == easy.value.message
    assert hash_pin(pin="402718", crew_id=crew.pk, user=boss)


def test_a_new_pin_ends_the_old_one_and_its_sessions(boss, unit):
    before = boss.get_session_auth_hash()
    pin = reset_pin(membership=Membership.objects.get(user=boss))
    boss.refresh_from_db()
    assert opens(unit, pin) == boss
    assert opens(unit) is None
    assert boss.get_session_auth_hash() != before
