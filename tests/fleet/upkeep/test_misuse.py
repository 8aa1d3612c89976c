"""Crew costs: against a second, slow reckoning from the exported files, and rule by rule."""

from __future__ import annotations

import datetime as dt
import io
import json

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from fleet.models import Contractor
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import export_files
from fleet.record.importing import import_files
from fleet.reliability import excess_failures
from fleet.upkeep.crew_cost_store import from_data, refresh_crew_costs, stored
from fleet.upkeep.misuse import crew_costs
from tests import factories
from tests.fleet.upkeep.conftest import CREW, MONDAY, SHOP, TODAY
from tests.fleet.upkeep.misuse_by_hand import ByHand
from tests.fleet.upkeep.misuse_fleet import files_of

KEYS = [
    "crew", "hours", "guard_off_hours", "failures", "spent", "excess_failures", "excess_low", "excess_high",
    "excess_cost", "excess_cost_low", "excess_cost_high", "cost_per_100_hours", "verdict",
]  # fmt: skip
FIRST, LAST = dt.date(2024, 4, 1), dt.date(2024, 12, 31)


def command(*words: str) -> list[dict]:
    out = io.StringIO()
    call_command("crew_costs", "--contractor", "hollow grounds", "--format", "json", *words, stdout=out)
    return json.loads(out.getvalue())


def taken_in(seed: int) -> dict[str, bytes]:
    """A fleet imported, and what the portal exports of it."""
    plan = import_files(files_of(seed), today=dt.date(2025, 1, 15))
    assert not [part.table.bad for part in plan.files if part.table.bad]
    with all_tenants():
        return {name: data for name, data, _rows in export_files(Contractor.objects.all())}


@pytest.mark.django_db
@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("days", [(), ("--from", "2024-06-03", "--to", "08/30/2024")])
def test_the_command_agrees_with_a_slow_reckoning_from_the_exported_files(seed, days):
    files = taken_in(seed)
    rows = command(*days)
    hand = ByHand(files, *((dt.date(2024, 6, 3), dt.date(2024, 8, 30)) if days else (FIRST, LAST)))
    assert [list(row) for row in rows] == [KEYS] * 3
    by_crew = {row["crew"]: row for row in rows}
    hours, spent, failures = hand.crew_hours(), hand.spent(), hand.failures()
    for crew, row in by_crew.items():
        assert row["hours"] == pytest.approx(hours[crew], abs=0.06)
        assert row["spent"] == pytest.approx(spent[crew], abs=0.006)
        assert row["failures"] == failures[crew]
        assert row["cost_per_100_hours"] == pytest.approx(100 * spent[crew] / hours[crew], abs=0.02)
    # The estimate, from rows counted out by hand.
    names = sorted(by_crew)
    spans = [span for span in hand.spans() if span[3] > span[2]]
    looks, hurt = hand.looks(), hand.hurt()
    states = {None: np.nan}
    told = excess_failures(
        unit=[s[0] for s in spans], crew=[names.index(s[1]) for s in spans],
        entry=[s[2] for s in spans], end=[s[3] for s in spans],
        look_unit=[k[0] for k in looks], look_hour=[k[1] for k in looks],
        look_found=[states.get(k[2], k[2]) for k in looks],
        look_left=[np.nan if k[3] in (None, "nothing") else k[3] for k in looks],
        failure_unit=[f[0] for f in hurt], failure_hour=[f[1] for f in hurt],
        failure_off=[states.get(f[2], f[2]) for f in hurt],
        failure_cost=hand.cost_each(), spent=[spent[name] for name in names],
    )  # fmt: skip
    for i, name in enumerate(names):
        row = by_crew[name]
        assert row["guard_off_hours"] == pytest.approx(told.guard_off_hours[i], rel=0.01, abs=1)
        assert row["excess_failures"] == pytest.approx(told.excess[i], rel=0.02, abs=0.05)
        assert row["excess_cost"] == pytest.approx(told.excess_cost[i], rel=0.02, abs=5)
        assert row["excess_cost_low"] == pytest.approx(told.excess_cost_low[i], rel=0.03, abs=8)
        assert row["excess_cost_high"] == pytest.approx(told.excess_cost_high[i], rel=0.03, abs=8)
        assert row["verdict"] == told.verdict[i]


@pytest.mark.django_db
def test_the_crew_without_guards_is_found_and_the_others_are_not_accused():
    taken_in(3)
    verdict = {row["crew"]: row["verdict"] for row in command()}
    assert verdict["Verge"] == "costs_more"
    assert verdict["Bank"] != "costs_more"


@pytest.mark.django_db
def test_what_is_kept_for_the_page_is_what_the_command_prints():
    taken_in(1)
    today = dt.date(2025, 1, 15)
    with all_tenants():
        contractor = Contractor.objects.get()
        assert refresh_crew_costs([contractor], today=today) == 3  # all on record, 2024, 2025
        assert refresh_crew_costs([contractor], today=today) == 0
        rows = stored(contractor)
        assert list(rows) == [2025, 2024, 0]
        kept = from_data(rows[0].data, {})
        assert kept == crew_costs(contractor, first=kept.first, last=kept.last, as_of=today)
        assert [round(c.spent, 2) for c in kept.crews] == [row["spent"] for row in command()]
        # A change of what an hour costs moves the answer.
        contractor.labour_rate += 10
        contractor.save()
        assert refresh_crew_costs([contractor], today=today) == 3


def answer(yard, last=TODAY):
    return crew_costs(yard.contractor, first=MONDAY, last=last, as_of=TODAY)


def crew(found, name):
    return next(c for c in found.crews if c.crew == name)


def test_hours_and_money_go_to_the_crew_of_the_date(yard):
    unit = yard.unit()
    yard.run(unit, MONDAY + dt.timedelta(days=4), 10)
    yard.move(unit, yard.south, MONDAY + dt.timedelta(days=7))
    yard.run(unit, MONDAY + dt.timedelta(days=11), 6)
    more = {"done": "repaired", "minutes": 60, "parts_cost": 20, "downtime_days": 2}
    yard.fail(unit, "gearbox", MONDAY + dt.timedelta(days=4), **more)
    yard.fail(unit, "starter", MONDAY + dt.timedelta(days=11), **{**more, "warranty": True})
    found = answer(yard)
    north, south = crew(found, "North"), crew(found, "South")
    assert north.hours == pytest.approx(10, abs=0.01)
    assert south.hours == pytest.approx(6, abs=0.01)
    assert (north.failures, north.hurt_failures, south.failures, south.hurt_failures) == (1, 1, 1, 0)
    assert north.spent == pytest.approx(90 + 20 + 2 * 60)
    # Warranty paid the repair; the days without the unit are lost all the same.
    assert south.spent == pytest.approx(2 * 60)
    yard.contractor.spare_on_trailer = True
    yard.contractor.save()
    assert crew(answer(yard), "South").spent == 0


def test_without_such_a_failure_there_is_nothing_to_compare(yard):
    unit = yard.unit()
    yard.run(unit, MONDAY + dt.timedelta(days=4), 10)
    yard.fail(unit, "starter", MONDAY + dt.timedelta(days=4), done="repaired")
    found = answer(yard)
    assert found.within_crews is None
    assert crew(found, "North").excess is None
    assert crew(found, "North").verdict == "cannot_tell"


def test_a_crew_is_counted_off_by_its_walks_and_not_by_what_the_shop_finds(yard):
    for number in range(6):
        unit = yard.unit(f"QH-{number}")
        for week in range(8):
            friday = MONDAY + dt.timedelta(weeks=week, days=4)
            yard.run(unit, friday, 8)
            yard.see(unit, friday, "on", by=CREW)
        day = MONDAY + dt.timedelta(weeks=3, days=2)
        yard.fail(unit, "gearbox", day, done="repaired", guard_as_found="off")
        yard.see(unit, day, "off", by=SHOP)
        yard.see(unit, day + dt.timedelta(days=1), "refitted", by=SHOP)
    north = crew(answer(yard), "North")
    assert north.guard_off_hours < 0.1 * north.hours
    assert (north.walks.walks, north.walks.walks_off, north.walks.shop, north.walks.shop_off) == (48, 0, 6, 6)
    assert north.walks.more_than_walks_say


def test_line_past_the_cutter_counts_as_long_and_so_does_a_guard_without_one(yard):
    units = [yard.unit(f"QH-{number}") for number in range(3)]
    for week in range(8):
        friday = MONDAY + dt.timedelta(weeks=week, days=4)
        for unit, seen in zip(
            units, ({"line": "long"}, {"guard": "no_cutter", "line": "ok"}, {"line": "ok"}), strict=True
        ):
            yard.run(unit, friday, 8)
            yard.see(unit, friday, **seen)
    north = crew(answer(yard), "North")
    assert north.line_long_hours == pytest.approx(2 / 3 * north.hours, rel=0.1)


def test_avoidable_spend_counts_each_failure_under_one_cause(yard):
    unit = yard.unit(bought_on=MONDAY)
    day = MONDAY + dt.timedelta(days=4)
    yard.run(unit, day, 10)
    yard.fail(unit, "carburetor", day, done="repaired", cause="stale_fuel", parts_cost=30)
    yard.fail(unit, "gearbox", day, done="replaced", cause="wear", parts_cost=70, guard_as_found="off")
    yard.fail(unit, "clutch", day, done="replaced", cause="wear", parts_cost=25, guard_as_found="damaged")
    yard.fail(unit, "exhaust", day, done="replaced", cause="wear", parts_cost=15, guard_as_found="on")
    yard.serve(unit, "grease", day, "dry", by=SHOP)
    found = answer(yard)
    assert {(a.cause, a.failures, a.amount) for a in found.avoidable} == {
        ("stale_fuel", 1, 30.0), ("no_grease", 1, 70.0), ("guard_off", 1, 25.0),
    }  # fmt: skip
    assert found.warranty_lost == 0  # nobody entered months of warranty


def test_hours_in_the_yard_are_told_apart(yard):
    unit = yard.unit()
    yard.run(unit, MONDAY + dt.timedelta(days=4), 10)
    yard.move(unit, None, MONDAY + dt.timedelta(days=7))
    yard.run(unit, MONDAY + dt.timedelta(days=11), 3)
    found = answer(yard)
    assert found.hours == pytest.approx(10, abs=0.01)
    assert found.no_crew_hours == pytest.approx(3, abs=0.01)


@pytest.mark.django_db
def test_bad_options_end_with_code_2():
    factories.make_contractor("Hollow Grounds")
    here = ["--contractor", "hollow grounds"]
    for words in (
        ["--contractor", "Nobody"],
        [*here, "--from", "soon"],
        [*here, "--from", "2025-02-01", "--to", "2025-01-01"],
    ):
        with pytest.raises(CommandError) as refused:
            call_command("crew_costs", *words, stdout=io.StringIO())
        assert refused.value.returncode == 2
    assert command() == []
