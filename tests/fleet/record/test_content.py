"""The key of an entry's content: the same however it is written, another for anything else recorded."""

import datetime as dt
from decimal import Decimal as D

import pytest

from fleet.models import ENTRY_KINDS
from fleet.record.content import RECORDED, content_key, free_number

DAY = dt.date(2025, 5, 1)


def test_numbers_and_dates_agree_however_they_are_written():
    keys = {
        content_key("hours", {"occurred_on": day, "hours_run": hours, "litres": None, "meter_replaced": box})
        for day in (DAY, "2025-05-01", dt.datetime(2025, 5, 1, 7))
        for hours in (10, 10.0, D("10"), D("10.00"), "10.0")
        for box in (False, None)
    }
    assert len(keys) == 1
    assert 0 <= keys.pop() < 2**63


def test_everything_recorded_counts():
    base = {"occurred_on": DAY, "component": "gearbox", "what": "10", "warranty": False}
    others = [
        base | {"occurred_on": dt.date(2025, 5, 2)},
        base | {"component": "clutch"},
        base | {"what": "10.0"},
        base | {"warranty": None},
        base | {"warranty": True},
        base | {"hours": 0},
    ]
    keys = {content_key("failure", values) for values in [base, *others]}
    assert len(keys) == 7


def test_numbered_occurrences_differ_and_the_first_is_unnumbered():
    values = {"occurred_on": DAY, "guard": "on"}
    assert content_key("guard", values) == content_key("guard", values, 1)
    assert content_key("guard", values) != content_key("guard", values, 2)
    taken = {content_key("guard", values, n) for n in (1, 2)}
    assert free_number(lambda n: content_key("guard", values, n), taken) == 3


def test_crews_are_compared_by_name():
    assert content_key("move", {"occurred_on": DAY, "crew": "North"}) == content_key(
        "move", {"occurred_on": DAY, "crew": "north "}
    )
    assert content_key("move", {"occurred_on": DAY, "crew": "North"}) != content_key("move", {"occurred_on": DAY})


@pytest.mark.parametrize("kind", list(ENTRY_KINDS))
def test_what_is_recorded_are_the_models_fields(kind):
    shared = {"id", "contractor", "recorded_at", "author", "source", "client_entry_id", "content_key", "trimmer"}
    fields = {field.name for field in ENTRY_KINDS[kind]._meta.get_fields()} - shared
    if kind == "crew_hours":
        fields -= {"crew", "occurred_on"}  # the owner, and the Sunday of week_of
    assert fields == set(RECORDED[kind])
