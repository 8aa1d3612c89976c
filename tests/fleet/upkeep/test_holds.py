"""What holds a unit and who lifts it."""

from __future__ import annotations

import datetime as dt

import pytest

from fleet.models import DueFlag
from fleet.upkeep.lists import due_jobs
from fleet.upkeep.reasons import sentences
from tests.fleet.upkeep.conftest import CREW, SHOP, TODAY, Yard

FOUND, NEXT = dt.date(2025, 5, 5), dt.date(2025, 5, 6)


def held(yard: Yard, unit) -> set[str]:  # type: ignore[no-untyped-def]
    return set(DueFlag.objects.filter(trimmer=unit, on_hold=True).values_list("task", flat=True))


@pytest.mark.parametrize("guard", ["off", "damaged"])
def test_a_guard_off_holds_until_it_is_back(yard: Yard, guard: str) -> None:
    unit = yard.unit()
    yard.see(unit, FOUND, guard=guard)
    assert held(yard, unit) == {"head"}
    job = yard.job(unit, "head", FOUND)
    assert (job.state, job.flag.interval_basis) == ("hold", "safety")
    yard.see(unit, NEXT, guard="refitted")
    assert held(yard, unit) == set()


def test_a_missing_cutter_is_no_hold(yard: Yard) -> None:
    unit = yard.unit()
    yard.see(unit, FOUND, guard="no_cutter", line="long")
    assert held(yard, unit) == set()


def test_registered_without_guard_is_on_hold(yard: Yard) -> None:
    assert held(yard, yard.unit(guard="off")) != set()


@pytest.mark.parametrize(
    ("safety", "task"),
    [
        ("no_stop", "stop_switch"),
        ("trigger_sticks", "stop_switch"),
        ("turns_at_idle", "clutch"),
        ("fuel_leak", "fuel_filter"),
        ("cracked_head", "head"),
        ("loose_handle", "mounts"),
    ],
)
def test_safety_findings_hold_under_the_task_that_clears_them(yard: Yard, safety: str, task: str) -> None:
    unit = yard.unit()
    yard.see(unit, FOUND, safety=safety)
    assert held(yard, unit) == {task}
    yard.see(unit, NEXT, safety="ok", by=CREW)
    assert held(yard, unit) == (set() if safety == "cracked_head" else {task})
    yard.see(unit, NEXT, safety="ok", by=SHOP)
    assert held(yard, unit) == set()


@pytest.mark.parametrize("word", ["holed", "missing"])
def test_a_screen_is_only_cleared_by_the_shop_and_never_by_cleaning(yard: Yard, word: str) -> None:
    unit = yard.unit()
    yard.serve(unit, "arrestor", FOUND, word, done="serviced", by=SHOP)
    assert held(yard, unit) == {"arrestor"}
    yard.serve(unit, "arrestor", NEXT, done="replaced", by=CREW)
    assert held(yard, unit) == {"arrestor"}
    yard.serve(unit, "arrestor", NEXT, done="replaced", by=SHOP)
    assert held(yard, unit) == set()


@pytest.mark.parametrize("task", ["stop_switch", "clutch", "mounts", "fuel_filter"])
def test_a_failed_check_holds_until_the_shop_puts_it_right(yard: Yard, task: str) -> None:
    unit = yard.unit()
    yard.serve(unit, task, FOUND, "failed", done="looked", by=CREW)
    assert held(yard, unit) == {task}
    yard.serve(unit, task, NEXT, "failed", done="replaced", by=SHOP)
    assert held(yard, unit) == set()


def test_other_rows_keep_their_state_and_hours_are_still_taken(yard: Yard) -> None:
    unit = yard.unit()
    yard.see(unit, FOUND, guard="off")
    yard.run(unit, dt.date(2025, 5, 9), 6)
    jobs = due_jobs([yard.contractor], as_of=TODAY, unit_id=unit.pk)
    assert jobs[0].state == "hold"
    assert [j.task for j in jobs if j.state == "hold"] == ["head"]
    assert yard.hours(unit).hours > 6


def test_an_open_fault_of_the_stop_switch_holds_and_its_repair_lifts(yard: Yard) -> None:
    unit = yard.unit()
    yard.fail(unit, "stop_switch", FOUND)
    assert held(yard, unit) == {"stop_switch"}
    yard.fail(unit, "stop_switch", NEXT, done="replaced")
    assert held(yard, unit) == set()


def test_a_service_of_the_same_day_clears_what_the_walk_found(yard: Yard) -> None:
    unit = yard.unit()
    yard.serve(unit, "head", FOUND, "ok", done="looked")
    yard.see(unit, FOUND, guard="off")
    assert held(yard, unit) == set()
    yard.see(unit, NEXT, guard="off")
    assert held(yard, unit) == {"head"}


def test_a_hold_tells_what_was_found_and_who_clears_it_and_no_interval(yard: Yard) -> None:
    unit = yard.unit()
    yard.see(unit, FOUND, guard="off")
    job = yard.job(unit, "head", FOUND)
    assert job.flag.interval_hours == 25  # the head check's own figure keeps its place among the columns
    assert sentences(job) == [
        "Guard found off on May 5, 2025.",
        "Do not start it until it is put right; the crew records that.",
    ]
