"""Every figure of the Ready list, worked out again by other code from the files that the portal writes out.

Hours agree within what one decimal leaves, chances within three; states and dates are the same.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from tests.recomputed.conftest import DAYS, LAST, Exported
from tests.recomputed.due import Learned, ready_list
from tests.recomputed.messy import NAME
from tests.recomputed.reading import read

HOURS, CHANCE = 0.0501, 0.000501
SAME = ("crew", "model", "state", "manual_source", "due_on", "due_on_early", "due_on_late")
IN_HOURS = ("hours_now", "hours_now_low", "hours_now_high", "last_done_hours", "interval_hours", "due_hours")

# Without the mark no test database is made, and the fixture would work on the one in use.
pytestmark = pytest.mark.django_db


def key(row: dict[str, Any]) -> tuple[str, str, str]:
    return row["contractor"], row["unit"], row["task"]


def differences(said: list[dict[str, Any]], ours: list[dict[str, Any]]) -> list[str]:
    mine, theirs = ({key(r): r for r in rows} for rows in (ours, said))
    assert len(mine) == len(ours)
    found = [f"{k}: only one of both lists it" for k in mine.keys() ^ theirs.keys()]
    for k in mine.keys() & theirs.keys():
        for name in (*SAME, *IN_HOURS, "probability_by"):
            a, b = theirs[k][name], mine[k][name]
            if isinstance(b, dt.date):
                b = b.isoformat()
            limit = CHANCE if name == "probability_by" else HOURS
            if a != b and (name in SAME or a is None or b is None or abs(a - b) > limit):
                found.append(f"{k} {name}: the portal says {a}, worked out again {b}")
    return found


def intervals_of(said: list[dict[str, Any]]) -> Learned:
    """Intervals as the portal learned them. What they rest on is worked out again with the model record."""
    hours = {key(r): r["interval_hours"] for r in said}
    return lambda unit, task: hours.get((unit.contractor, unit.tag, task))


@pytest.mark.parametrize("on", DAYS, ids=str)
def test_intervals_are_the_manuals_or_shorter_and_say_so(exported: Exported, on: dt.date) -> None:
    parties, bases = read(exported.folder, on), set()
    for row in exported.ask("due", "--as-of", on.isoformat()):
        manual = parties[row["contractor"]].limits[row["model"]][row["task"]].hours
        hours, basis = row["interval_hours"], row["interval_basis"]
        bases.add(basis)
        assert (hours is None) == (manual is None), row
        if basis == "manual":
            assert hours == manual, row
        elif basis in ("pooled", "model"):
            assert hours < manual, row
            assert basis == "pooled" or row["failures_behind"] > 0, row
        else:
            assert basis == "safety"
            assert row["state"] == "hold"
            assert hours is None or hours <= manual, row
    assert {"manual", "safety"} <= bases


@pytest.mark.parametrize("on", DAYS, ids=str)
@pytest.mark.parametrize("ahead", [None, 40], ids=["all", "before"])
def test_every_figure_of_the_ready_list(exported: Exported, on: dt.date, ahead: int | None) -> None:
    before = None if ahead is None else on + dt.timedelta(days=ahead)
    more = [] if before is None else ["--before", before.isoformat()]
    said = exported.ask("due", "--as-of", on.isoformat(), *more)
    everything = said if before is None else exported.ask("due", "--as-of", on.isoformat())
    ours = ready_list(read(exported.folder, on), on, before, intervals_of(everything))
    assert len(said) > 100
    assert not (wrong := differences(said, ours)), f"{len(wrong)} differ\n" + "\n".join(wrong[:25])


def test_the_fleet_is_untidy_enough(exported: Exported) -> None:
    """What is compared holds every state, every kind of hours, and the books of the untidy contractor."""
    said = exported.ask("due", "--as-of", LAST.isoformat())
    assert {r["state"] for r in said} == {"hold", "past_due", "due_now", "due_by", "later"}
    told = " ".join(sentence for r in said for sentence in r["reasons"])
    for words in ("the meter", "hours logged", "fuel drawn", "crew's totals", "last service", "No hours logged"):
        assert words in told, words
    assert {r["unit"] for r in said if r["contractor"] == NAME} == {"7", "8", "9", "10", "11"}
    assert any(r["last_done_hours"] is None for r in said)


def test_a_wrong_figure_would_be_seen(exported: Exported) -> None:
    """The comparison itself: an hour more at one failure is found in the rows of its unit, and nowhere else."""
    parties = read(exported.folder, LAST)
    unit = next(u for u in parties[NAME].units if u.tag == "7" and u.retired is None)
    (failure,) = unit.failures
    failure["hours"] = str(float(failure["hours"]) + 1)
    said = exported.ask("due", "--as-of", LAST.isoformat())
    wrong = differences(said, ready_list(parties, LAST, learned=intervals_of(said)))
    assert wrong
    assert all(line.startswith(f"('{NAME}', '7', ") for line in wrong)
