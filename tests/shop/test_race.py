"""A hundred people press at once for the last minutes of a day: one of them gets them.

Each racer is of another contractor, so that nothing but the day's own row stands between them.
"""

from __future__ import annotations

import datetime as dt
import threading
from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest
from django.utils import timezone

from fleet.record.writing import By, Refused
from shop.bench.booking import Booking, book
from shop.bench.days import loads
from shop.models import BenchDay, DropOff
from tests import factories
from tests.shared_database import in_own_connection, share_database

RACERS, AT_ONCE = 100, 10
TOMORROW = dt.date.today() + dt.timedelta(days=1)


@pytest.fixture
def shared(tmp_path, monkeypatch):
    """Asked for once everything is set up."""
    share_database(tmp_path, monkeypatch)


def _in_thread(work):
    """Run beside the test's own connection, and give back what it gave."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(in_own_connection, work).result(120)


@pytest.mark.django_db(transaction=True)
def test_the_last_slot_goes_to_one(monkeypatch, request):
    monkeypatch.setattr("fleet.background.start", lambda *args, **kwargs: None)
    shop = factories.make_shop()
    crews = [factories.make_crew(factories.make_contractor(f"Racer {n}", shop)) for n in range(AT_ONCE)]
    # 60 minutes less a quarter for walk-ins: room for one piece of kit of 30 minutes, not for two.
    factories.make_bench(shop, minutes=60)
    # The day was asked for before: making its row anew would keep racers apart by itself.
    BenchDay.objects.create(shop=shop, day=TOMORROW)
    request.getfixturevalue("shared")
    gate = threading.Barrier(AT_ONCE)

    def press(number: int) -> list[str]:
        outcome = []
        for turn in range(RACERS // AT_ONCE):
            gate.wait(60)
            wanted = Booking(shop, crews[number].contractor, TOMORROW, crews[number], kit=(f"Blower {number}-{turn}",))
            try:
                book(booking=wanted, by=By(None), today=dt.date.today(), now=timezone.now())
                outcome.append("booked")
            except Refused as refusal:
                outcome.append(refusal.field)
        return outcome

    with ThreadPoolExecutor(AT_ONCE) as pool:
        racers = [pool.submit(in_own_connection, partial(press, n)) for n in range(AT_ONCE)]
        outcomes = [one for racer in racers for one in racer.result(300)]
    assert sorted(outcomes) == ["booked"] + ["day"] * (RACERS - 1)
    assert _in_thread(DropOff.objects.count) == 1
    load = _in_thread(lambda: loads(shop, TOMORROW, TOMORROW, dt.date.today())[TOMORROW])
    assert (load.booked, load.left) == (30, 15)
