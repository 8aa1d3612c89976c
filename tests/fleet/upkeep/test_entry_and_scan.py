"""Any sequence of entries leaves the flags that a scan without refit would give, and the scan then writes nothing.

Once at the manuals' intervals, and once with learned intervals in force: of two models, at two contractors with figures
of their own, one of whom serves every second unit sooner, at every share of hours without a guard.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from decimal import Decimal

from django.db import connection
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
    TaskInterval,
    Trimmer,
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
from fleet.upkeep.fit_records import MANUAL, MODEL, POOLED, Choice, IntervalRecord
from fleet.upkeep.fit_store import add_fits
from fleet.upkeep.interval_settings import LEARNED_TASKS, settings_of
from fleet.upkeep.intervals import Catalog
from fleet.upkeep.learned import EXPOSURES
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.stored import Written
from fleet.vocabulary import AS_FOUND, COMPONENTS, FAILURE_DONE, GUARD_STATES, SAFETY_STATES, SERVICE_DONE, TASK_KEYS

START = dt.date(2025, 3, 20)
TODAY = dt.date(2025, 8, 1)
N_UNITS, N_CREWS = 4, 2
# On another database a few tell whether rows are written and read alike.
EXAMPLES = 80 if connection.vendor == "sqlite" else 16

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


@dataclass(frozen=True)
class World:
    """Units, and the crews of each contractor; totals are of the first contractor's crews."""

    fleet: list[Trimmer]
    crews: dict[int, list[Crew]]


def _record(step: tuple, fleet: list, crews: list[Crew], all_crews: dict[int, list[Crew]]) -> None:
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
        move_unit(unit=unit, crew=all_crews[unit.contractor_id][step[3]], on=on, by=CREW, today=TODAY)
    elif kind == "retire":
        retire_unit(unit=unit, on=on, why="sold", by=CREW, today=TODAY)


def _contractor(name: str, crew_names: tuple[str, str], **figures: object) -> tuple[Contractor, list[Crew]]:
    contractor = Contractor.objects.create(name=name, order_by="02-01", **figures)
    crews = [Crew.objects.create(contractor=contractor, name=n, name_key=n) for n in crew_names]
    usage = {
        "day_rate": 0.8, "crew_rates": {str(crews[0].pk): 1.1}, "profile": [1.0] * 3 + [1.2] * 3 + [0.9] * 6,
        "week_cv": 0.5, "unit_cv": 0.3, "season_cv": 0.2, "scale": {"run": 1.2},
    }  # fmt: skip
    Snapshot.objects.create(contractor=contractor, as_of=START, version=1, data=usage)
    return contractor, crews


def _unit(contractor: Contractor, crews: list[Crew], model: TrimmerModel, i: int) -> Trimmer:
    return register_unit(
        contractor=contractor, tag=f"QH-{i}", model=model, registered_on=START, by=CREW, today=TODAY,
        crew=crews[i % N_CREWS], hours_at_registration=Decimal(20 * (i % 2)),
    )  # fmt: skip


def _learned(manual: float, share: float, at: int) -> IntervalRecord:
    """An interval that gets shorter with each share of hours without guard; some stay the manual's with a guard on."""
    steps = [min(1.0, share + 0.25 * (at % 2) - 0.1 * k) for k in range(len(EXPOSURES))]
    choices = tuple(
        Choice(e, round(manual * s, 1), MANUAL if s >= 1 else (MODEL, POOLED)[at % 2])
        for e, s in zip(EXPOSURES, steps, strict=True)
    )
    return IntervalRecord(
        task="", component="", method="least_cost", manual_hours=manual, manual_source="maker", choices=choices,
        failures=3, pooled_failures=9, rows=40, contractors=2,
    )  # fmt: skip


def _put_in_force(world: World) -> None:
    """A learning of the interval of every task of every setting in the world, but for one in five."""
    pairs = sorted({(u.contractor_id, u.model_id) for u in world.fleet})
    contractors = Contractor.objects.in_bulk([c for c, _m in pairs])
    asked = settings_of(pairs, Catalog(pairs), contractors)
    intervals = {
        (model, task, setting.digest): _learned(setting.manual_hours, 0.5 + 0.1 * (at % 6), at)
        for at, ((_c, model, task), setting) in enumerate(sorted(asked.items(), key=lambda item: item[0]))
        if at % 5
    }
    add_fits(as_of=START, content_key="made for a test", data={}, fits={}, intervals=intervals)


def _stored() -> list:
    return [
        *DueFlag.objects.order_by("trimmer", "task").values_list(),
        *UnitState.objects.order_by("pk").values_list(),
    ]


def _entries_agree_with_a_scan(world: World, steps: list[tuple]) -> None:
    crews = world.crews[world.fleet[0].contractor_id]
    for step in steps:
        try:
            _record(step, world.fleet, crews, world.crews)
        except Refused:
            continue
    stored = _stored()
    units = unit_ids_of(world.crews)
    written = refresh_in_shards(units, "scan")
    assert written == Written(DueFlag.objects.count(), 0, 0, 0)
    assert _stored() == stored
    # A shard of one gives the same as all at once.
    assert refresh_in_shards(units, "scan", shard=1).changed == 0


class EntriesAgreeWithScan(TestCase):
    @settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=[HealthCheck.too_slow])
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
            contractor, crews = _contractor("Quarry Hill Grounds", ("north", "south"))
            model = TrimmerModel.objects.create(maker="Ostrel", name="Wren", key="ostrelwren")
            fleet = [_unit(contractor, crews, model, i) for i in range(N_UNITS)]
            _entries_agree_with_a_scan(World(fleet, {contractor.pk: crews}), steps)


OFF, AT = "off", START + dt.timedelta(days=1)


class EntriesAgreeWithScanAtLearnedIntervals(TestCase):
    def _world(self) -> World:
        mine, crews = _contractor("Quarry Hill Grounds", ("north", "south"), stagger=True)
        other, others = _contractor("Millrace Estates", ("park", "lake"), labour_rate=Decimal(120))
        wren = TrimmerModel.objects.create(maker="Ostrel", name="Wren", key="ostrelwren")
        teal = TrimmerModel.objects.create(maker="Kindrake", name="Teal", key="kindraketeal")
        for task, hours in (("grease", 40), ("arrestor", 60), ("clutch", 90)):
            TaskInterval.objects.create(model=teal, task=task, hours=hours, hours_given=True, source="maker")
        fleet = [_unit(mine, crews, model, i) for i, model in enumerate((wren, teal, wren))]
        fleet.append(_unit(other, others, wren, 3))
        world = World(fleet, {mine.pk: crews, other.pk: others})
        _put_in_force(world)
        refresh_in_shards(unit_ids_of(world.crews), "scan")
        return world

    @settings(max_examples=EXAMPLES // 2, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(st.lists(entry, max_size=25))
    # Guards off from the first day on, and one only for its last hours.
    @example([*(("walk", i, AT, OFF, "ok") for i in (0, 3)), ("run", 0, TODAY, Decimal(20))])
    @example([("run", 1, AT, Decimal(30)), ("walk", 1, AT, OFF, "ok"), ("crew", 1, TODAY, Decimal(150), False)])
    def test_random_entries(self, steps: list[tuple]) -> None:
        with all_tenants():
            _entries_agree_with_a_scan(self._world(), steps)

    def test_they_are_in_force(self) -> None:
        """What the property is about: flags of both bases, staggered ones, and others once the guard is off."""
        with all_tenants():
            world = self._world()
            learned = DueFlag.objects.filter(interval_basis__in=[MODEL, POOLED])
            assert set(learned.values_list("interval_basis", flat=True)) == {MODEL, POOLED}
            assert learned.filter(staggered=True).exists()
            assert set(learned.values_list("trimmer", flat=True)) == {unit.pk for unit in world.fleet}
            told = set(DueFlag.objects.exclude(setting="").values_list("task", "setting"))
            assert max(sum(t == task for t, _setting in told) for task in LEARNED_TASKS) == 3
            with_guard = dict(DueFlag.objects.values_list("pk", "interval_hours"))
            steps = [("walk", 0, AT, OFF, "ok"), ("run", 0, TODAY, Decimal(20))]
            _entries_agree_with_a_scan(world, steps)
            without = {pk: hours for pk, hours in DueFlag.objects.values_list("pk", "interval_hours") if hours}
            assert any(hours < with_guard[pk] for pk, hours in without.items())
            assert UnitState.objects.get(pk=world.fleet[0].pk).guard_off > EXPOSURES[1]
