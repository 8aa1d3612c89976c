"""Any sequence of entries leaves the flags that a scan without refit would give, and the scan then writes nothing."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from fleet.models import (
    Contractor,
    Crew,
    CrewHours,
    DueFlag,
    Failure,
    GuardCheck,
    HoursEntry,
    Retirement,
    Service,
    Snapshot,
    TrimmerModel,
    UnitState,
)
from fleet.models.tenancy import all_tenants
from fleet.record.corrections import withdraw
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_crew_hours, record_hours
from fleet.record.units import move_unit, register_unit, retire_unit
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By, Refused
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.stored import Written
from fleet.vocabulary import AS_FOUND, COMPONENTS, FAILURE_DONE, GUARD_STATES, SAFETY_STATES, SERVICE_DONE, TASK_KEYS

START = dt.date(2025, 3, 20)
TODAY = dt.date(2025, 8, 1)
N_UNITS, N_CREWS = 4, 2

KINDS = {
    "hours": HoursEntry,
    "guard": GuardCheck,
    "service": Service,
    "failure": Failure,
    "crew_hours": CrewHours,
    "retirement": Retirement,
}

days = st.integers(0, (TODAY - START).days).map(lambda n: START + dt.timedelta(days=n))
units = st.integers(0, N_UNITS - 1)
hours = st.decimals(0, 40, places=1)
entry = st.one_of(
    st.tuples(st.just("run"), units, days, hours),
    st.tuples(st.just("meter"), units, days, st.decimals(0, 300, places=1), st.booleans()),
    st.tuples(st.just("litres"), units, days, hours),
    st.tuples(st.just("crew"), st.integers(0, N_CREWS - 1), days, st.decimals(0, 150, places=1), st.booleans()),
    st.tuples(st.just("walk"), units, days, st.sampled_from(list(GUARD_STATES)), st.sampled_from(list(SAFETY_STATES))),
    st.tuples(
        st.just("service"), units, days, st.sampled_from(TASK_KEYS), st.sampled_from(list(AS_FOUND)),
        st.sampled_from(list(SERVICE_DONE)), st.one_of(st.none(), st.decimals(0, 300, places=1)), st.booleans(),
    ),
    st.tuples(
        st.just("failure"), units, days, st.sampled_from(list(COMPONENTS)), st.sampled_from(["", *FAILURE_DONE])
    ),
    st.tuples(st.just("move"), units, days, st.integers(0, N_CREWS - 1)),
    st.tuples(st.just("retire"), units, days),
    st.tuples(st.just("withdraw"), st.sampled_from(sorted(KINDS))),
)  # fmt: skip
CREW, SHOP = By(None), By(None, seen_as="shop")


def _record(step: tuple, fleet: list, crews: list[Crew]) -> None:
    kind = step[0]
    if kind == "crew":
        figure = {"crew_litres": step[3], "trimmer_share": Decimal("0.5")} if step[4] else {"crew_hours": step[3]}
        record_crew_hours(crew=crews[step[1]], week_of=step[2], by=CREW, today=TODAY, **figure)
        return
    if kind == "withdraw":
        last = KINDS[step[1]].objects.order_by("-pk").first()
        if last is not None:
            withdraw(kind=step[1], entry_id=last.pk, why="wrong unit", by=CREW)
        return
    unit = fleet[step[1]]
    unit.refresh_from_db()
    on = step[2]
    if kind == "run":
        record_hours(lines=[HoursLine(unit, on, hours_run=step[3])], by=CREW, today=TODAY, confirmed=True)
    elif kind == "meter":
        line = HoursLine(unit, on, meter_hours=step[3], meter_replaced=step[4])
        record_hours(lines=[line], by=CREW, today=TODAY, confirmed=True)
    elif kind == "litres":
        record_hours(lines=[HoursLine(unit, on, litres=step[3])], by=CREW, today=TODAY, confirmed=True)
    elif kind == "walk":
        record_walk(seen=[Seen(unit, step[3], "ok", step[4])], on=on, by=CREW, today=TODAY)
    elif kind == "service":
        work = Work(unit, step[3], on, as_found=step[4], done=step[5], hours=step[6])
        record_service(work=work, by=SHOP if step[7] else CREW, today=TODAY)
    elif kind == "failure":
        record_failure(broken=Broken(unit, step[3], on, done=step[4]), by=SHOP, today=TODAY)
    elif kind == "move":
        move_unit(unit=unit, crew=crews[step[3]], on=on, by=CREW, today=TODAY)
    elif kind == "retire":
        retire_unit(unit=unit, on=on, why="sold", by=CREW, today=TODAY)


class EntriesAgreeWithScan(TestCase):
    def _portal(self) -> tuple[Contractor, list, list[Crew]]:
        contractor = Contractor.objects.create(name="Quarry Hill Grounds", order_by="02-01")
        crews = [Crew.objects.create(contractor=contractor, name=n, name_key=n) for n in ("north", "south")]
        model = TrimmerModel.objects.create(maker="Ostrel", name="Wren", key="ostrelwren")
        usage = {
            "day_rate": 0.8, "crew_rates": {str(crews[0].pk): 1.1}, "profile": [1.0] * 3 + [1.2] * 3 + [0.9] * 6,
            "week_cv": 0.5, "unit_cv": 0.3, "season_cv": 0.2, "scale": {"run": 1.2},
        }  # fmt: skip
        Snapshot.objects.create(contractor=contractor, as_of=START, version=1, data=usage)
        fleet = [
            register_unit(
                contractor=contractor, tag=f"QH-{i}", model=model, registered_on=START, by=CREW, today=TODAY,
                crew=crews[i % N_CREWS], hours_at_registration=Decimal(20 * (i % 2)),
            )
            for i in range(N_UNITS)
        ]  # fmt: skip
        return contractor, fleet, crews

    @settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.lists(entry, max_size=25))
    # Registered in mid-week: the days before it are no part of the usual week, however long the batch's calendar is.
    @example([("run", 0, START, Decimal(0)), ("run", 1, START + dt.timedelta(days=4), Decimal(0))])
    # A move later than every other entry of its unit.
    @example(
        [
            ("move", 3, TODAY, 0),
            ("service", 0, START + dt.timedelta(days=120), "head", "ok", "looked", None, True),
            ("service", 3, START + dt.timedelta(days=1), "mounts", "worn", "serviced", None, False),
        ]
    )
    def test_random_entries(self, steps: list[tuple]) -> None:
        with all_tenants():
            contractor, fleet, crews = self._portal()
            for step in steps:
                try:
                    _record(step, fleet, crews)
                except Refused:
                    continue
            stored = self._stored()
            written = refresh_in_shards(unit_ids_of([contractor.pk]), "scan")
            assert written == Written(DueFlag.objects.count(), 0, 0, 0)
            assert self._stored() == stored
            # A shard of one gives the same as all at once.
            assert refresh_in_shards(unit_ids_of([contractor.pk]), "scan", shard=1).changed == 0

    def _stored(self) -> list:
        return [
            *DueFlag.objects.order_by("trimmer", "task").values_list(),
            *UnitState.objects.order_by("pk").values_list(),
        ]
