"""How sure a job's state is told."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from fleet.upkeep.job_words import state_words
from fleet.upkeep.reasons import hours_rest_on
from tests.fleet.upkeep.conftest import Yard


@pytest.mark.parametrize(
    ("over", "doubt", "said"),
    [
        (9.0, 2.0, "past due 9 h"),
        (9.0, 23.0, "past due about 9 h"),
        (0.4, 0.1, "past due, under 1 h"),
        (0.4, 23.0, "past due, or about to be"),
    ],
)
def test_hours_past_due_are_as_sure_as_the_hours_are(yard: Yard, over: float, doubt: float, said: str) -> None:
    job = yard.job(yard.unit(), "grease", dt.date(2025, 4, 8))
    now = float(job.flag.due_hours or 0) + over
    late = dataclasses.replace(
        job, state="past_due", hours_now=now, hours_now_low=now - doubt, hours_now_high=now + doubt
    )
    assert state_words(late) == said


def test_what_hours_rest_on_names_the_week_logged_and_what_the_usual_week_added_since(yard: Yard) -> None:
    """An entry in mid-week speaks for its week, which may not be over: no day still to come is said to be logged."""
    unit = yard.unit()
    yard.run(unit, dt.date(2025, 4, 9), 6)
    soon = hours_rest_on(yard.job(unit, "grease", dt.date(2025, 4, 9)))
    assert soon == "Hours rest on hours logged, the last for the week that ends Apr 13, 2025."
    yard.meter(unit, dt.date(2025, 4, 30), 40)
    late = yard.job(unit, "grease", dt.date(2025, 7, 30))
    added = round(late.hours_now - 40)
    assert added > 50
    assert hours_rest_on(late).endswith(f"Since then the usual week is assumed: {added} h of them.")
