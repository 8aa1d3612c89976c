"""How sure a job's state is told."""

from __future__ import annotations

import dataclasses
import datetime as dt

import pytest

from fleet.upkeep.job_words import state_words
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
