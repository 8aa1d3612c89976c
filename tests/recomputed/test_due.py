"""Every figure of the Ready list, worked out again by other code from the files that the portal writes out.

Hours agree within what one decimal leaves, chances within three; states, dates, counts and reasons are the same.
Intervals shorter than the manual's are judged on the last day by what the record says, worked out again.
"""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pytest

from tests.recomputed import reasons
from tests.recomputed.choices import COMPONENT_OF, Judge
from tests.recomputed.components import COMPONENTS
from tests.recomputed.conftest import DAYS, LAST, Exported
from tests.recomputed.due import Learned, Record, ready_list
from tests.recomputed.messy import NAME
from tests.recomputed.reading import Party, Unit, read
from tests.recomputed.record import fleet_of

HOURS, CHANCE = 0.0501, 0.000501
SAME = (
    "crew", "model", "state", "manual_source", "due_on", "due_on_early", "due_on_late", "interval_basis",
    "failures_behind",
)  # fmt: skip
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
        found += [f"{k} reasons: {d}" for d in reasons.differences(theirs[k]["reasons"], mine[k]["reasons"])]
    return found


def learned_of(
    said: list[dict[str, Any]], parties: dict[str, Party], judge: Judge, *, chances: bool = False
) -> Learned:
    """What the failures of the files say about intervals as the portal chose them.

    ``chances`` has those of a failure worked out again too, on the day that the judge knows; else the portal's stand.
    """
    told = {key(r): r for r in said}

    def learned(unit: Unit, task: str) -> Record:
        row = told.get((unit.contractor, unit.tag, task))
        limit = parties[unit.contractor].limits[unit.model][task]
        component = COMPONENT_OF.get(task)
        if row is None or component is None or limit.hours is None:
            return Record(None if row is None else row["interval_hours"])
        failures = judge.failures(component)
        own, pooled = failures[judge.fleet.models.index(unit.model)], sum(failures)
        if not pooled:
            return Record(limit.hours)
        chosen = row["interval_hours"]
        shorter = chosen < limit.hours - 0.05
        basis = "manual" if not shorter else "model" if own else "pooled"
        chance = [0.0, 0.0]
        if shorter and chances:
            chance = judge.chances(component, unit.model, 0.0, (chosen, limit.hours))
        elif shorter:
            figures = [re.findall(r"(\d+) %", s) for s in row["reasons"] if s.startswith("Sooner")]
            chance = [float(n) / 100 for n in figures[0]] if figures else chance
        why = [reasons.learned(component, basis, own, pooled, limit.hours, limit.source, chance)]
        # How much is borrowed is worked out again with the model record.
        why += [s for s in row["reasons"] if s.startswith("About") and basis == "model"]
        return Record(chosen, basis, pooled if basis == "pooled" else own, tuple(why))

    return learned


def judge_on(exported: Exported, on: dt.date) -> Judge:
    parties = read(exported.folder, on)
    return Judge(parties, fleet_of(parties, COMPONENTS))


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
    parties = read(exported.folder, on)
    ours = ready_list(parties, on, before, learned_of(everything, parties, judge_on(exported, on)))
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


@pytest.mark.slow
def test_shorter_intervals_are_what_the_record_asks_for(exported: Exported, judge: Judge) -> None:
    """Each judged at a guard that is always on: without one nothing longer is earned."""
    parties = read(exported.folder, LAST)
    said = exported.ask("due", "--as-of", LAST.isoformat())
    ours = ready_list(parties, LAST, None, learned_of(said, parties, judge, chances=True))
    assert not (wrong := differences(said, ours)), f"{len(wrong)} differ\n" + "\n".join(wrong[:25])
    chosen = {
        (COMPONENT_OF[r["task"]], r["model"], r["contractor"], r["interval_hours"])
        for r in said
        if r["interval_basis"] in ("pooled", "model") and r["task"] in COMPONENT_OF
    }
    assert chosen
    complaints = [judge.complaint(part, model, parties[who], hours) for part, model, who, hours in sorted(chosen)]
    assert not any(complaints), complaints


def test_a_wrong_figure_would_be_seen(exported: Exported) -> None:
    """The comparison itself: an hour more at one failure is found in the rows of its unit, and nowhere else."""
    parties = read(exported.folder, LAST)
    unit = next(u for u in parties[NAME].units if u.tag == "7" and u.retired is None)
    (failure,) = unit.failures
    failure["hours"] = str(float(failure["hours"]) + 1)
    said = exported.ask("due", "--as-of", LAST.isoformat())
    learned = learned_of(said, parties, judge_on(exported, LAST))
    wrong = differences(said, ready_list(parties, LAST, learned=learned))
    assert wrong
    assert all(line.startswith(f"('{NAME}', '7', ") for line in wrong)
