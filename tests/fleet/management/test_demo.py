"""``manage.py demo``: builds once, keeps what is there, builds anew when asked, and refuses where it must."""

from __future__ import annotations

import io
import re
import socket

import pytest
from django.core.management import CommandError, call_command
from django.test import override_settings

from fleet.models import Contractor, Service, Trimmer, User
from fleet.models.tenancy import all_tenants
from fleet.record.demo_people import PASSWORD, PIN

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def no_threads(monkeypatch) -> None:
    """Letters wait: threads that send them and this one would shut each other out of the one database in memory."""
    monkeypatch.setattr("fleet.background.start", lambda work, **_given: None)


def _demo(*options: str) -> str:
    out = io.StringIO()
    call_command("demo", "--no-serve", "--units", "12", *options, stdout=out, stderr=io.StringIO())
    return out.getvalue()


@pytest.mark.once
def test_second_run_keeps_the_demo_and_reset_builds_it_anew() -> None:
    first = _demo()
    assert re.search(r"\d+ units in use, \d+ entries of three seasons, \d+ jobs", first)
    with all_tenants():
        note = Trimmer.objects.order_by("pk")[0]
        Trimmer.objects.filter(pk=note.pk).update(note="written by a visitor")
        services = Service.objects.count()
    second = _demo()
    assert "there already" in second
    assert second.splitlines()[1:] == first.splitlines()[1:]
    with all_tenants():
        assert Trimmer.objects.filter(note="written by a visitor").exists()
    third = _demo("--reset")
    assert "units in use" in third
    with all_tenants():
        assert not Trimmer.objects.filter(note="written by a visitor").exists()
        assert Service.objects.count() == services


@pytest.mark.once
def test_prints_the_address_and_a_login_of_every_kind_of_person() -> None:
    told = _demo("--port", "8123")
    assert "Everything here is invented" in told
    assert "http://127.0.0.1:8123/" in told
    for user in User.objects.exclude(password__startswith="!"):
        assert re.search(rf"  {re.escape(user.username)} +{PASSWORD}", told), user
    assert PIN in told


def test_refuses_a_database_with_own_data() -> None:
    Contractor.objects.create(name="Somebody's own")
    with pytest.raises(CommandError, match="Somebody's own") as refusal:
        _demo("--reset")
    assert refusal.value.returncode == 2
    assert Contractor.objects.exists()


def test_refuses_a_public_address() -> None:
    with override_settings(PUBLIC_URL="https://portal.example.org"), pytest.raises(CommandError, match="PUBLIC_URL"):
        _demo()


def test_says_so_when_the_port_is_taken() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(CommandError, match=str(port)):
            call_command("demo", "--port", str(port), stdout=io.StringIO())
