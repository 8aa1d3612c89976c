"""Engine hours from the ledger, reckoned by hand: every way hours arrive, alone and together."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest

from fleet.upkeep.histories import load_histories
from fleet.upkeep.refresh import answer, read_setting
from fleet.upkeep.usage import PRACTICE_BURN
from tests.fleet.upkeep.conftest import MONDAY, Yard


def day(week: int, weekday: int = 4) -> dt.date:
    """A weekday (default Friday) so many weeks after the first Monday."""
    return MONDAY + dt.timedelta(weeks=week, days=weekday)


def test_hours_run_add_up(yard: Yard) -> None:
    unit = yard.unit()
    yard.run(unit, day(0), 5)
    yard.run(unit, day(1, 2), 2)
    yard.run(unit, day(1), 4)
    assert yard.hours(unit).hours == pytest.approx(11)
    assert yard.hours(unit).basis == "run"


def test_a_week_without_entry_counts_as_the_usual_one_and_is_marked_guessed(yard: Yard) -> None:
    unit = yard.unit()
    yard.run(unit, day(0), 5)
    yard.run(unit, day(2), 5)
    hours = yard.hours(unit)
    # Usual week: 5 working days of 1 h; the unit's own two weeks say the same.
    assert hours.hours == pytest.approx(15, abs=0.01)
    assert hours.guessed_share == pytest.approx(1 / 3, abs=0.01)


def test_off_season_nothing_is_guessed(yard: Yard) -> None:
    unit = yard.unit(on=dt.date(2025, 1, 6))
    job = yard.job(unit, "grease", dt.date(2025, 3, 14))
    assert job.hours_now == 0


def test_fuel_drawn_is_hours_at_the_burn_rate(yard: Yard) -> None:
    unit = yard.unit()
    yard.litres(unit, day(0), 2.6)
    assert yard.hours(unit).hours == pytest.approx(2.6 / PRACTICE_BURN, abs=1e-3)


def test_a_meter_is_believed_over_guesses_between_readings(yard: Yard) -> None:
    unit = yard.unit(hours_at_registration=Decimal(100))
    yard.meter(unit, day(4), 112)
    hours = yard.hours(unit)
    assert hours.hours == pytest.approx(112)
    assert hours.since_reading == pytest.approx(0, abs=1e-6)
    # 10 of 25 working days gone, as much of the gain: the usual weeks are squeezed alike.
    yard.serve(unit, "grease", day(1))
    assert yard.job(unit, "grease", day(4)).flag.last_done_hours == pytest.approx(100 + 12 * 10 / 25, abs=0.1)


def test_an_engine_never_runs_backwards_be_it_by_rounding(yard: Yard) -> None:
    """Bought before the season, and after its first days the meter still stands at nothing."""
    units = [yard.unit(f"N-{n}", on=dt.date(2025, 3, 3) + dt.timedelta(days=n)) for n in range(10)]
    for number, unit in enumerate(units):
        yard.meter(unit, dt.date(2025, 3, 17) + dt.timedelta(days=number % 4), 0)
        yard.meter(unit, dt.date(2025, 4, 4), 7.6 + number)
    h = load_histories([unit.pk for unit in units])
    line = answer(h, read_setting(h)).lines.line
    assert (line >= 0).all()
    assert (np.diff(line, axis=1) >= 0).all()


def test_entries_give_way_less_than_guesses_when_a_meter_disagrees(yard: Yard) -> None:
    unit = yard.unit()
    yard.run(unit, day(0), 5)
    yard.meter(unit, day(1), 13)
    yard.serve(unit, "grease", day(0, 6))
    # 5 h were logged, 5 h usual: the 3 h more fall mostly on the guessed week.
    done = yard.job(unit, "grease", day(1)).flag.last_done_hours
    assert done is not None
    assert 5 < done < 5.6


def test_hours_on_a_service_are_a_reading_too(yard: Yard) -> None:
    unit = yard.unit()
    yard.run(unit, day(0), 5)
    yard.serve(unit, "grease", day(1), hours=Decimal(20))
    assert yard.hours(unit).hours == pytest.approx(20)
    assert yard.hours(unit).basis == "service"


def test_a_replaced_meter_goes_on_from_that_days_estimate(yard: Yard) -> None:
    unit = yard.unit(hours_at_registration=Decimal(200))
    yard.meter(unit, day(0), 210)
    yard.meter(unit, day(1), 3, replaced=True)
    yard.meter(unit, day(3), 15)
    yard.serve(unit, "grease", day(1))
    estimate = yard.job(unit, "grease", day(3)).flag.last_done_hours
    # Five working days at about the rate of the two readings before and after: 2 h and 1.2 h a day.
    assert estimate is not None
    assert 215 < estimate < 220
    assert yard.hours(unit).hours == pytest.approx(estimate + 12, abs=0.01)


def test_a_crew_total_goes_to_units_without_their_own_entry(yard: Yard) -> None:
    own, one, two = (yard.unit(f"QH-{i}") for i in range(3))
    elsewhere = yard.unit("QH-9", crew=yard.south)
    yard.run(own, day(0), 6)
    yard.crew_total(yard.north, day(0, 2), crew_hours=20)
    assert yard.hours(own).hours == pytest.approx(6)
    assert yard.hours(one).hours == yard.hours(two).hours == pytest.approx(7)
    assert yard.hours(one).basis == "crew"
    assert yard.hours(elsewhere).basis == "none"
    # A later entry of the same week takes its part out of everybody's share.
    yard.run(one, day(0), 10)
    assert yard.hours(two).hours == pytest.approx(4)


def test_a_shared_can_counts_the_trimmers_part(yard: Yard) -> None:
    one, two = yard.unit("QH-1"), yard.unit("QH-2")
    yard.crew_total(yard.north, day(0), crew_litres=26, trimmer_share=0.5)
    assert yard.hours(one).hours == yard.hours(two).hours == pytest.approx(10, abs=1e-3)


def test_hours_go_to_the_crew_of_the_date(yard: Yard) -> None:
    unit, stays = yard.unit("QH-1"), yard.unit("QH-2")
    yard.move(unit, yard.south, day(1, 0))
    yard.crew_total(yard.north, day(0), crew_hours=10)
    yard.crew_total(yard.north, day(1), crew_hours=8)
    yard.crew_total(yard.south, day(1), crew_hours=3)
    assert yard.hours(unit).hours == pytest.approx(5 + 3)
    assert yard.hours(stays).hours == pytest.approx(5 + 8)


def test_after_the_last_entry_the_usual_rate_runs_on_with_growing_doubt(yard: Yard) -> None:
    unit = yard.unit()
    for week in range(4):
        yard.run(unit, day(week), 5)
    soon, later = yard.job(unit, "grease", day(5, 6)), yard.job(unit, "grease", day(9, 6))
    assert soon.hours_now == pytest.approx(30, abs=0.1)
    assert later.hours_now == pytest.approx(50, abs=0.1)
    assert later.hours_now_high - later.hours_now_low > soon.hours_now_high - soon.hours_now_low > 0
