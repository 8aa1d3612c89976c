"""A simulated fleet: the same for the same seed, acceptable to a strict reader, whatever the day."""

import datetime as dt
import time
from decimal import Decimal

import numpy as np
import pytest

from fleet.simulation import columns as words
from fleet.simulation.fleet import simulate
from fleet.simulation.scenario import demo_parameters
from tests.fleet.simulation.conftest import TODAY
from tests.fleet.simulation.paper import complaints


def test_same_seed_same_fleet(demo):
    again = simulate(demo_parameters(TODAY), seed=1)
    assert again.files == demo.files
    np.testing.assert_array_equal(again.truth.hours, demo.truth.hours)


def test_another_seed_another_fleet(demo):
    other = simulate(demo_parameters(TODAY), seed=2)
    assert other.files["failures"] != demo.files["failures"]
    assert other.files["contractors"] == demo.files["contractors"]


def test_strict_reader_has_nothing_to_say(demo):
    assert complaints(demo.files, TODAY) == []


@pytest.mark.parametrize(
    ("today", "seed"),
    [
        (dt.date(2027, 1, 4), 3),
        (dt.date(2027, 3, 15), 4),
        (dt.date(2027, 5, 30), 5),
        (dt.date(2028, 2, 29), 6),
        (dt.date(2026, 8, 1), 7),
        (dt.date(2026, 12, 1), 8),
    ],
)
def test_good_files_on_any_day_of_the_year(today, seed):
    fleet = simulate(demo_parameters(today).with_units(60), seed)
    assert complaints(fleet.files, today) == []
    assert len(fleet.truth.parameters.first_opening().isoformat()) == 10
    years = {row["date"].year for row in fleet.files["services"]}
    assert len(years) >= 3


def test_rows_carry_the_columns_and_the_products_words(demo):
    vocabulary = pytest.importorskip("fleet.vocabulary")
    assert tuple(vocabulary.TASKS) == words.TASKS
    assert tuple(vocabulary.COMPONENTS) == words.COMPONENTS
    assert tuple(vocabulary.GUARD_STATES) == words.GUARD
    assert tuple(vocabulary.SAFETY_STATES) == words.SAFETY
    assert tuple(vocabulary.AS_FOUND) == words.AS_FOUND
    assert tuple(vocabulary.CAUSES) == words.CAUSE
    assert frozenset(words.EVENTS_AT_LOOK) == vocabulary.AS_FOUND_EVENTS
    for row in demo.files["services"]:
        found = vocabulary.FINDINGS_OF_TASK[row["task"]]
        assert row["as_found"] in found, row


def test_dates_are_dates_hours_have_one_decimal_and_money_two(demo):
    row = demo.files["units"][0]
    assert type(row["bought_on"]) is dt.date
    assert isinstance(row["price"], Decimal)
    for service in demo.files["services"]:
        assert service["hours"] is None or round(service["hours"], 1) == service["hours"]
        assert service["parts_cost"].as_tuple().exponent == -2


def test_unmetered_units_seldom_carry_hours(demo):
    metered = {row["unit"] for row in demo.files["hours"] if row["meter_hours"] is not None}
    unmetered = [row for row in demo.files["services"] if row["unit"] not in metered]
    assert 0 < np.mean([row["hours"] is not None for row in unmetered]) < 0.1


def test_looks_that_find_a_failure_and_its_write_up_fall_on_one_day(demo):
    """A failure found at a look is the same event as the look: same unit, component and day."""
    task_of = {component: task for task, component in words.TASK_COMPONENT.items()} | {"throttle": "stop_switch"}
    looks = {(row["unit"], row["date"], row["task"]) for row in demo.files["services"]}
    at_look = [row for row in demo.files["failures"] if row["found"] == "at_look"]
    assert at_look
    for row in at_look:
        assert (row["unit"], row["date"], task_of[row["component"]]) in looks


def test_demo_takes_less_than_two_seconds():
    begin = time.process_time()
    simulate(demo_parameters(TODAY), seed=9)
    assert time.process_time() - begin < 4  # the goal is 2 s on a quiet machine; this one may be busy
