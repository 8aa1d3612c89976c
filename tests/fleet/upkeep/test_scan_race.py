"""People write down what happened while a scan learns and refreshes: nothing they wrote is lost, and flags follow."""

from __future__ import annotations

import datetime as dt
import random
import threading
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from decimal import Decimal
from functools import partial
from pathlib import Path

import pytest

from fleet.models import ENTRY_KINDS, Crew, DueFlag, Entry, FitSnapshot, Snapshot, Trimmer, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.corrections import withdraw
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_crew_hours, record_hours
from fleet.record.units import move_unit, retire_unit
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import KIND_OF, Refused
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.scan import scan
from tests.fleet.upkeep.worn_fleet import COSTLY, CREW, SHOP, TODAY, WornFleet, worn_fleet
from tests.shared_database import in_own_connection, share_database

KINDS = ("run", "crew", "walk", "service", "failure", "move", "withdraw", "retire")
Written = list[tuple[str, int]]


def _write(kind: str, unit: Trimmer, crew: Crew, on: dt.date, dice: random.Random, mine: Written) -> list[Entry]:
    """One entry as a page would write it; what it added."""
    if kind == "run":
        hours = Decimal(dice.randint(1, 60)) / 10
        return [*record_hours(lines=[HoursLine(unit, on, hours_run=hours)], by=CREW, today=TODAY, confirmed=True)]
    if kind == "crew":
        return [record_crew_hours(crew=crew, week_of=on, by=CREW, today=TODAY, crew_hours=Decimal(dice.randint(9, 60)))]
    if kind == "walk":
        return [*record_walk(seen=[Seen(unit, dice.choice(["on", "off"]), "ok", "ok")], on=on, by=CREW, today=TODAY)]
    if kind == "service":
        return [record_service(work=Work(unit, "grease", on, "ok", "serviced"), by=SHOP, today=TODAY)]
    if kind == "failure":
        return [record_failure(broken=Broken(unit, "gearbox", on, done="repaired", **COSTLY), by=SHOP, today=TODAY)]
    if kind == "move":
        other = dice.choice(list(Crew.objects.filter(contractor=unit.contractor_id).order_by("pk")))
        return [move_unit(unit=unit, crew=other, on=on, by=CREW, today=TODAY)]
    if kind == "retire":
        return [retire_unit(unit=unit, on=on, why="sold", by=CREW, today=TODAY)]
    of, pk = dice.choice(mine)
    withdraw(kind=of, entry_id=pk, why="wrong unit", by=CREW)
    return []


def _person(number: int, entries: int, fleet: WornFleet, start: threading.Barrier) -> tuple[Written, int]:
    """What one person wrote, and how often they took something back."""
    dice, mine, back = random.Random(number), [], 0
    start.wait(60)
    for turn in range(entries):
        kind = KINDS[(number + turn) % len(KINDS)]
        if kind == "withdraw" and not mine:
            kind = "run"
        # Each person retires a unit of their own at most, late in the day.
        unit = fleet.units[number if kind == "retire" else dice.randrange(len(fleet.units))]
        on = TODAY - dt.timedelta(days=dice.randint(0, 12))
        try:
            added = _write(kind, Trimmer.objects.get(pk=unit.pk), dice.choice(fleet.crews), on, dice, mine)
        except Refused:
            continue
        mine += [(KIND_OF[type(entry)], entry.pk) for entry in added]
        back += kind == "withdraw"
    return mine, back


@pytest.mark.django_db(transaction=True)
# Some are refused, as they would be on a page: a unit was retired meanwhile, a total stands already.
@pytest.mark.parametrize(
    ("people", "entries", "at_least"),
    [(4, 8, 20), pytest.param(8, 42, 200, marks=pytest.mark.slow)],
    ids=["short", "200 entries"],
)
def test_entries_beside_a_scan_that_learns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, people: int, entries: int, at_least: int
) -> None:
    with all_tenants():
        fleet = worn_fleet(cycles=3)
        before = Counter({kind: model.objects.count() for kind, model in ENTRY_KINDS.items()})
    share_database(tmp_path, monkeypatch)
    start, done = threading.Barrier(people + 1), threading.Event()

    def scans() -> int:
        start.wait(60)
        ran = 0
        while not done.is_set() or not ran:
            scan(fleet.contractors, as_of=TODAY, today=TODAY)
            ran += 1
        return ran

    with ThreadPoolExecutor(people + 1) as pool:
        scanning = pool.submit(in_own_connection, scans)
        work = [partial(_person, n, entries, fleet, start) for n in range(people)]
        writing = [pool.submit(in_own_connection, one) for one in work]
        try:
            told = [one.result(500) for one in writing]
        finally:
            done.set()
        assert scanning.result(500) >= 1

    def check() -> None:
        written = [entry for mine, _back in told for entry in mine]
        assert len(written) + sum(back for _mine, back in told) >= at_least
        after = Counter({kind: model.objects.count() for kind, model in ENTRY_KINDS.items()})
        assert after - before == Counter(kind for kind, _pk in written)
        for kind, pk in written:
            assert ENTRY_KINDS[kind].objects.filter(pk=pk).exists()
        assert Withdrawal.objects.count() == len(set(Withdrawal.objects.values_list("kind", "entry_id"))) > 0
        assert Withdrawal.objects.count() <= sum(back for _mine, back in told)
        assert FitSnapshot.objects.exists()
        assert Snapshot.objects.exists()
        assert DueFlag.objects.filter(task="grease", interval_basis="model").exists()
        # What stands is what a fresh look at the whole ledger says.
        flags = list(DueFlag.objects.order_by("trimmer", "task").values_list())
        again = refresh_in_shards(unit_ids_of(), "scan")
        assert (again.added, again.changed, again.removed) == (0, 0, 0)
        assert list(DueFlag.objects.order_by("trimmer", "task").values_list()) == flags
        scan(fleet.contractors, as_of=TODAY, today=TODAY)
        last = scan(fleet.contractors, as_of=TODAY, today=TODAY)
        assert (last.learned, last.written.changed, last.snapshots) == (False, 0, 0)

    with ThreadPoolExecutor(1) as pool:
        pool.submit(in_own_connection, check).result(500)
