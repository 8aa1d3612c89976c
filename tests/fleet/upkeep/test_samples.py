"""The ledger as lifetimes, reckoned by hand. Usual day 1 h, Monday to Friday; every case logs all of its hours."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import pytest

from fleet.models import Trimmer
from fleet.record.corrections import withdraw
from fleet.record.units import retire_unit
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.refresh import answers_for
from fleet.upkeep.samples import PORT, Spells, take_samples
from tests.fleet.upkeep.conftest import CREW, MONDAY, SHOP, TODAY, Yard

INF = math.inf


def day(n: int) -> dt.date:
    return MONDAY + dt.timedelta(days=n)


def rows(unit: Trimmer, component: str) -> list[tuple[float, float, float, float | None]]:
    """(entry, lower, upper, since) of a component's rows; None: no task clock."""
    spells = _spells(unit)
    mine = spells.stream == (PORT if component == "port" else COMPONENT_CODE[component])
    return [
        (e, lo, up, None if np.isnan(s) else s)
        for e, lo, up, s in zip(
            spells.entry[mine], spells.lower[mine], spells.upper[mine], spells.since[mine], strict=True
        )
    ]


def _spells(unit: Trimmer) -> Spells:
    found = answers_for([unit.pk])
    return take_samples(found.histories, found.lines)


@pytest.fixture
def unit(yard: Yard) -> Trimmer:
    """Bought new, its meter at 10 h every week for ten weeks."""
    unit = yard.unit(bought_on=MONDAY)
    for week in range(1, 11):
        yard.meter(unit, day(7 * week), 10 * week)
    return unit


def test_a_component_nobody_touched_is_censored_where_hours_end(yard: Yard, unit: Trimmer) -> None:
    assert rows(unit, "starter") == [(0, 100, INF, None)]
    assert rows(unit, "gearbox") == [(0, 100, INF, 0)]
    spells = _spells(unit)
    assert len(spells.unit) == 18  # one row for each component and the port
    assert set(spells.crew) == {yard.north.pk}


def test_a_service_renews_the_task_and_leaves_the_component_its_age(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "grease", day(28))
    assert rows(unit, "gearbox") == [(0, 40, INF, 0), (40, 100, INF, 0)]


def test_a_failure_in_use_is_exact_and_a_repair_leaves_the_age(yard: Yard, unit: Trimmer) -> None:
    yard.fail(unit, "starter", day(21), found="in_use", done="repaired")
    assert rows(unit, "starter") == [(0, 30, 30, None), (30, 100, INF, None)]


def test_a_replaced_component_starts_anew_or_at_the_hours_of_the_part(yard: Yard, unit: Trimmer) -> None:
    yard.fail(unit, "starter", day(21), found="in_use", done="replaced")
    yard.fail(unit, "clutch", day(21), found="in_use", done="replaced", part_hours=25)
    assert rows(unit, "starter") == [(0, 30, 30, None), (0, 70, INF, None)]
    assert rows(unit, "clutch") == [(0, 30, 30, 0), (25, 95, INF, 30)]


def test_a_gearbox_mended_starts_a_new_grease_cycle(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "grease", day(14))
    yard.fail(unit, "gearbox", day(42), found="in_use", done="repaired")
    assert rows(unit, "gearbox") == [(0, 20, INF, 0), (20, 60, 60, 0), (60, 100, INF, 0)]


def test_what_a_look_found_lies_after_the_look_before(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "arrestor", day(14), "clear", done="looked")
    yard.serve(unit, "arrestor", day(35), "blocked", done="serviced")
    assert rows(unit, "exhaust") == [(0, 20, 50, 0), (50, 100, INF, 0)]


def test_a_first_look_that_finds_it_failed_says_only_that(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "grease", day(35), "dry", done="serviced")
    assert rows(unit, "gearbox") == [(0, 0, 50, 0), (50, 100, INF, 0)]


def test_partly_worn_and_loose_are_no_events(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "arrestor", day(35), "partly", done="serviced")
    yard.serve(unit, "mounts", day(35), "loose", done="looked")
    assert rows(unit, "exhaust") == [(0, 50, INF, 0), (50, 100, INF, 0)]
    assert rows(unit, "mounts") == [(0, 50, INF, 0), (50, 100, INF, 0)]


def test_a_finding_and_its_failure_of_one_day_are_one_event(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "mounts", day(35), "failed", by=SHOP, done="replaced")
    yard.fail(unit, "mounts", day(35), found="at_look", done="replaced")
    assert rows(unit, "mounts") == [(0, 0, 50, 0), (0, 50, INF, 0)]


def test_what_was_left_failed_is_not_at_risk_until_it_is_mended(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "arrestor", day(21), "holed", done="looked")
    yard.serve(unit, "arrestor", day(35), "holed", done="looked")
    yard.serve(unit, "arrestor", day(42), "holed", done="replaced")
    assert rows(unit, "exhaust") == [(0, 0, 30, 0), (0, 40, INF, 0)]
    yard.fail(unit, "starter", day(21), found="in_use")
    assert rows(unit, "starter") == [(0, 30, 30, None)]
    yard.fail(unit, "starter", day(28), found="in_use", done="repaired")
    assert rows(unit, "starter") == [(0, 30, 30, None), (40, 100, INF, None)]


def test_an_unknown_past_gives_age_but_no_task_clock(yard: Yard) -> None:
    unit = yard.unit(hours_at_registration=200)
    yard.meter(unit, day(0), 200)
    yard.meter(unit, day(70), 300)
    yard.serve(unit, "grease", day(35), hours=250)
    assert rows(unit, "gearbox") == [(200, 250, INF, None), (250, 300, INF, 0)]
    assert rows(unit, "starter") == [(200, 300, INF, None)]


def test_a_unit_sold_is_censored_at_its_last_known_hours(yard: Yard, unit: Trimmer) -> None:
    retire_unit(unit=unit, on=day(80), why="sold", by=CREW, today=TODAY)
    assert rows(unit, "starter") == [(0, 100, INF, None)]


def test_a_scrapped_component_ends_there(yard: Yard, unit: Trimmer) -> None:
    yard.fail(unit, "crank", day(70), found="in_use", done="scrapped")
    assert rows(unit, "crank") == [(0, 100, 100, None)]
    assert rows(unit, "starter") == [(0, 100, INF, None)]


def test_a_withdrawn_failure_never_was(yard: Yard, unit: Trimmer) -> None:
    from fleet.models import Failure

    yard.fail(unit, "starter", day(21), found="in_use", done="repaired")
    withdraw(kind="failure", entry_id=Failure.objects.get().pk, why="wrong unit", by=SHOP)
    assert rows(unit, "starter") == [(0, 100, INF, None)]


def test_the_port_is_looked_at_by_a_task_of_its_own(yard: Yard, unit: Trimmer) -> None:
    yard.serve(unit, "port", day(35), "blocked", by=SHOP, done="serviced")
    assert rows(unit, "port") == [(0, 0, 50, 0), (50, 100, INF, 0)]
    assert rows(unit, "exhaust") == [(0, 100, INF, 0)]


def test_rows_do_not_depend_on_who_else_is_loaded(yard: Yard, unit: Trimmer) -> None:
    other = yard.unit("QH-2", crew=yard.south, hours_at_registration=80)
    yard.serve(unit, "grease", day(28))
    yard.fail(other, "starter", day(21), hours=95, found="in_use", done="replaced")
    found = answers_for([unit.pk, other.pk])
    together = take_samples(found.histories, found.lines)
    for one in (unit, other):
        alone, mine = _spells(one), together.unit == one.pk
        for name in ("model", "crew", "stream", "entry", "lower", "upper", "since", "at"):
            assert np.array_equal(getattr(together, name)[mine], getattr(alone, name), equal_nan=True)
