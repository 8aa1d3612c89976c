"""The whole demo, and a season's worth of random entries on top: a scan without refit finds nothing to change."""

from __future__ import annotations

import datetime as dt
import random
from decimal import Decimal

import pytest

from fleet.models import Contractor, Crew, DueFlag, Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.corrections import withdraw
from fleet.record.demo import build_demo
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_crew_hours, record_hours
from fleet.record.units import move_unit
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By, Refused
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.stored import Written
from fleet.vocabulary import COMPONENTS, FINDINGS_OF_TASK, GUARD_STATES, SAFETY_STATES

TODAY = dt.date(2027, 6, 14)
ENTRIES = 150


def one_entry(draw: random.Random, units: list[Trimmer], crews: list[Crew]) -> None:
    """A random entry of any kind, on a random unit and day of the last eight weeks."""
    unit = Trimmer.objects.get(pk=draw.choice(units).pk)
    on = TODAY - dt.timedelta(days=draw.randrange(56))
    by = By(None, seen_as=draw.choice(("crew", "shop")))
    kind = draw.choice(("run", "meter", "walk", "service", "failure", "move", "crew"))
    if kind in ("run", "meter"):
        figure = {"hours_run": Decimal(draw.randrange(0, 80)) / 10}
        if kind == "meter":
            figure = {"meter_hours": Decimal(draw.randrange(0, 9000)) / 10, "meter_replaced": draw.random() < 0.3}
        entry = record_hours(lines=[HoursLine(unit, on, **figure)], by=by, today=TODAY, confirmed=True)[0]
        if draw.random() < 0.2:
            withdraw(kind="hours", entry_id=entry.pk, why="typed twice", by=by)
    elif kind == "walk":
        seen = Seen(unit, draw.choice(list(GUARD_STATES)), "ok", draw.choice(list(SAFETY_STATES)))
        record_walk(seen=[seen], on=on, by=by, today=TODAY)
    elif kind == "service":
        task, found = draw.choice([(t, f) for t, words in FINDINGS_OF_TASK.items() for f in words])
        done = draw.choice(("looked", "serviced", "replaced"))
        record_service(work=Work(unit, task, on, found, done), by=by, today=TODAY)
    elif kind == "failure":
        broken = Broken(unit, draw.choice(list(COMPONENTS)), on, done=draw.choice(("", "repaired", "replaced")))
        record_failure(broken=broken, by=by, today=TODAY)
    elif kind == "move":
        crew = draw.choice([c for c in crews if c.contractor_id == unit.contractor_id])
        move_unit(unit=unit, crew=crew, on=on, by=by, today=TODAY)
    else:
        record_crew_hours(
            crew=draw.choice(crews), week_of=on, by=by, today=TODAY, crew_litres=Decimal(draw.randrange(50)),
            trimmer_share=Decimal("0.7"),
        )  # fmt: skip


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_entries_on_the_demo_leave_what_a_scan_gives() -> None:
    draw = random.Random(20270614)
    with all_tenants():
        build_demo(today=TODAY, progress=lambda *_: None)
        units, crews = list(Trimmer.objects.filter(retired_on=None)), list(Crew.objects.all())
        everyone = unit_ids_of(Contractor.objects.values_list("pk", flat=True))
        assert refresh_in_shards(everyone, "scan") == Written(DueFlag.objects.count(), 0, 0, 0)
        refused = 0
        for _ in range(ENTRIES):
            try:
                one_entry(draw, units, crews)
            except Refused:
                refused += 1
        assert refused < ENTRIES / 2
        assert refresh_in_shards(everyone, "scan") == Written(DueFlag.objects.count(), 0, 0, 0)
