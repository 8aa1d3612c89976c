"""A new portal gets somebody who can invite: from the machine, with a password that is good enough, once."""

from __future__ import annotations

import io

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from fleet.models import Membership, User

pytestmark = pytest.mark.django_db


def add(monkeypatch: pytest.MonkeyPatch, name: str, password: str) -> str:
    monkeypatch.setattr("sys.stdin", io.StringIO(password + "\n"))
    out = io.StringIO()
    call_command("add_administrator", name, stdout=out)
    return out.getvalue()


def test_an_empty_portal_gets_an_administrator_who_can_sign_in_and_create_a_shop(monkeypatch, client):
    assert "is an administrator now" in add(monkeypatch, "keeper", "oiled gearbox 42")
    assert client.login(username="keeper", password="oiled gearbox 42")
    assert client.get("/home/")["Location"] == reverse("portal")
    assert client.get(reverse("shop_add")).status_code == 200
    with pytest.raises(SystemExit) as once:
        add(monkeypatch, "Keeper", "")
    assert once.value.code == 1
    assert Membership.objects.count() == 1


@pytest.mark.parametrize(("name", "password"), [("keeper", "12345"), ("two words", "oiled gearbox 42"), ("", "x")])
def test_bad_names_and_passwords_make_nobody(monkeypatch, name, password):
    with pytest.raises(CommandError) as refused:
        add(monkeypatch, name, password)
    assert refused.value.returncode == 2
    assert not User.objects.exists()


def test_somebody_who_is_there_gets_the_role_and_keeps_the_password(monkeypatch, client):
    User.objects.create_user("keeper", password="oiled gearbox 42")
    add(monkeypatch, "keeper", "another")
    assert client.login(username="keeper", password="oiled gearbox 42")
    assert Membership.objects.get().role == "administrator"
