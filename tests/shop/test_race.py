"""A hundred people press at once for the last minutes of a day: one of them gets them."""

from __future__ import annotations

import datetime as dt
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest
from django.db import connection, connections
from django.utils import timezone

from fleet.models.tenancy import all_tenants
from fleet.record.writing import By, Refused
from shop.bench.booking import Booking, book
from shop.bench.days import loads
from shop.models import DropOff
from tests import factories

RACERS, AT_ONCE = 100, 20
TOMORROW = dt.date.today() + dt.timedelta(days=1)


@pytest.fixture
def shared(tmp_path, monkeypatch):
    """A database that threads share: SQLite's test database lives in memory, so it is copied to a file for them."""
    if connection.vendor == "sqlite":
        copy = sqlite3.connect(tmp_path / "race.sqlite3")
        connection.ensure_connection()
        connection.connection.backup(copy)
        copy.close()
        monkeypatch.setitem(connections.settings["default"], "NAME", str(tmp_path / "race.sqlite3"))


def _in_thread(work):
    """Run beside the test's own connection, and give back what it gave."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(_closing, work).result(120)


def _closing(work):
    try:
        with all_tenants():
            return work()
    finally:
        connections.close_all()


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_the_last_slot_goes_to_one(monkeypatch, request):
    monkeypatch.setattr("fleet.background.start", lambda *args, **kwargs: None)
    shop = factories.make_shop()
    contractor = factories.make_contractor(shop=shop)
    crew = factories.make_crew(contractor)
    # 60 minutes less a quarter for walk-ins: room for one piece of kit of 30 minutes, not for two.
    factories.make_bench(shop, minutes=60)
    request.getfixturevalue("shared")
    gate = threading.Barrier(AT_ONCE)

    def press(number: int) -> list[str]:
        outcome = []
        for turn in range(RACERS // AT_ONCE):
            gate.wait(60)
            wanted = Booking(shop, contractor, TOMORROW, crew, kit=(f"Blower {number}-{turn}",))
            try:
                book(booking=wanted, by=By(None), today=dt.date.today(), now=timezone.now())
                outcome.append("booked")
            except Refused as refusal:
                outcome.append(refusal.field)
        return outcome

    with ThreadPoolExecutor(AT_ONCE) as pool:
        racers = [pool.submit(_closing, partial(press, n)) for n in range(AT_ONCE)]
        outcomes = [one for racer in racers for one in racer.result(300)]
    assert sorted(outcomes) == ["booked"] + ["day"] * (RACERS - 1)
    assert _in_thread(DropOff.objects.count) == 1
    load = _in_thread(lambda: loads(shop, TOMORROW, TOMORROW, dt.date.today())[TOMORROW])
    assert (load.booked, load.left) == (30, 15)
