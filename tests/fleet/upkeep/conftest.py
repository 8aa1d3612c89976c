"""A contractor with two crews and units whose hours can be reckoned by hand."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from decimal import Decimal

import pytest

from fleet.models import Contractor, Crew, Snapshot, Trimmer, TrimmerModel
from fleet.models.tenancy import all_tenants
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_crew_hours, record_hours
from fleet.record.units import move_unit, register_unit
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By
from fleet.upkeep.lists import due_jobs, stored_rows
from fleet.upkeep.ready import Job, UnitHours

MONDAY = dt.date(2025, 4, 7)
TODAY = dt.date(2025, 10, 1)
CREW, SHOP = By(None), By(None, seen_as="shop")


class Yard:
    """Short words for entries, all of one contractor; usual day 1 h, flat over the season."""

    def __init__(self) -> None:
        self.contractor = Contractor.objects.create(name="Quarry Hill Grounds")
        self.north = self.crew("North")
        self.south = self.crew("South")
        self.model = TrimmerModel.objects.create(maker="Ostrel", name="Heron", key="ostrelheron")
        usage = {
            "day_rate": 1.0, "crew_rates": {}, "profile": [1.0] * 12, "week_cv": 0.5, "unit_cv": 0.3,
            "season_cv": 0.2, "scale": {},
        }  # fmt: skip
        Snapshot.objects.create(contractor=self.contractor, as_of=dt.date(2025, 1, 1), version=1, data=usage)

    def crew(self, name: str) -> Crew:
        return Crew.objects.create(contractor=self.contractor, name=name, name_key=name.lower())

    def unit(self, tag: str = "QH-1", crew: Crew | None = None, on: dt.date = MONDAY, **more) -> Trimmer:
        return register_unit(
            contractor=self.contractor, tag=tag, model=self.model, registered_on=on, by=CREW, today=TODAY,
            crew=crew or self.north, **more,
        )  # fmt: skip

    def run(self, unit: Trimmer, on: dt.date, hours: float) -> None:
        line = HoursLine(unit, on, hours_run=Decimal(str(hours)))
        record_hours(lines=[line], by=CREW, today=TODAY, confirmed=True)

    def meter(self, unit: Trimmer, on: dt.date, reads: float, replaced: bool = False) -> None:
        line = HoursLine(unit, on, meter_hours=Decimal(str(reads)), meter_replaced=replaced)
        record_hours(lines=[line], by=CREW, today=TODAY, confirmed=True)

    def litres(self, unit: Trimmer, on: dt.date, litres: float) -> None:
        record_hours(lines=[HoursLine(unit, on, litres=Decimal(str(litres)))], by=CREW, today=TODAY, confirmed=True)

    def crew_total(self, crew: Crew, week: dt.date, **figures: float) -> None:
        amounts = {name: Decimal(str(value)) for name, value in figures.items()}
        record_crew_hours(crew=crew, week_of=week, by=CREW, today=TODAY, **amounts)

    def serve(self, unit: Trimmer, task: str, on: dt.date, found: str = "", by: By = CREW, **more) -> None:
        record_service(work=Work(unit, task, on, as_found=found, **more), by=by, today=TODAY)

    def fail(self, unit: Trimmer, component: str, on: dt.date, by: By = SHOP, **more) -> None:
        record_failure(broken=Broken(unit, component, on, **more), by=by, today=TODAY)

    def see(self, unit: Trimmer, on: dt.date, guard: str = "", line: str = "", safety: str = "", by: By = CREW) -> None:
        record_walk(seen=[Seen(unit, guard, line, safety)], on=on, by=by, today=TODAY)

    def move(self, unit: Trimmer, crew: Crew, on: dt.date) -> None:
        move_unit(unit=unit, crew=crew, on=on, by=CREW, today=TODAY)

    def hours(self, unit: Trimmer) -> UnitHours:
        return stored_rows([self.contractor.pk], unit_id=unit.pk)[0][0]

    def job(self, unit: Trimmer, task: str, as_of: dt.date, before: dt.date | None = None, afresh: bool = False) -> Job:
        jobs = due_jobs([self.contractor], as_of=as_of, before=before, unit_id=unit.pk, afresh=afresh)
        return next(job for job in jobs if job.task == task)


@pytest.fixture
def yard(db: None) -> Iterator[Yard]:
    with all_tenants():
        yield Yard()
