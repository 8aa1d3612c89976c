"""When tasks fall due and which state that is, by the settled meanings of the file formats."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models import TaskInterval
from fleet.upkeep.lists import due_jobs
from fleet.upkeep.reasons import sentences
from tests.fleet.upkeep.conftest import MONDAY, SHOP, TODAY, Yard


def give(yard: Yard, task: str, hours: float | None, months: int | None, source: str = "maker") -> None:
    TaskInterval.objects.update_or_create(
        model=yard.model, task=task, contractor=yard.contractor, shop=None,
        defaults={"hours": hours, "hours_given": True, "months": months, "months_given": True, "source": source},
    )  # fmt: skip


def test_without_a_manual_common_practice_stands_and_says_so(yard: Yard) -> None:
    unit = yard.unit()
    job = yard.job(unit, "grease", MONDAY)
    assert (job.flag.interval_hours, job.flag.interval_basis, job.flag.manual_source) == (50, "manual", "practice")
    assert any("common practice, check the manual" in s for s in sentences(job))


def test_the_makers_figure_takes_its_place(yard: Yard) -> None:
    give(yard, "grease", 40, None)
    job = yard.job(yard.unit(), "grease", MONDAY)
    assert (job.flag.interval_hours, job.flag.interval_months, job.flag.manual_source) == (40, None, "maker")


def test_a_task_that_does_not_apply_has_no_row(yard: Yard) -> None:
    give(yard, "arrestor", None, None)
    unit = yard.unit()
    tasks = {j.task for j in due_jobs([yard.contractor], as_of=MONDAY, unit_id=unit.pk)}
    assert "arrestor" not in tasks
    assert "grease" in tasks


def test_bought_new_counts_from_nought_and_the_day_bought(yard: Yard) -> None:
    give(yard, "plug", 100, 12)
    unit = yard.unit(bought_on=dt.date(2025, 3, 1))
    job = yard.job(unit, "plug", TODAY)
    assert job.flag.last_done_hours is None
    assert job.flag.due_hours == 100
    assert job.flag.due_date == dt.date(2026, 3, 1)
    assert any("counted from new" in s for s in sentences(job))


def test_registered_with_hours_counts_from_registration(yard: Yard) -> None:
    give(yard, "plug", 100, 12)
    job = yard.job(yard.unit(hours_at_registration=Decimal(130), bought_on=dt.date(2023, 3, 1)), "plug", MONDAY)
    assert job.flag.last_done_hours is None
    assert job.flag.due_hours == 230
    assert job.flag.due_date == dt.date(2026, 4, 7)
    assert any("counted from its registration at 130 h" in s for s in sentences(job))


def test_hours_or_months_whichever_first(yard: Yard) -> None:
    give(yard, "grease", 40, 2)
    unit = yard.unit()
    yard.run(unit, MONDAY + dt.timedelta(days=4), 1)
    job = yard.job(unit, "grease", dt.date(2025, 6, 1))
    assert job.due_on == dt.date(2025, 6, 7)
    assert job.state == "due_now"
    assert yard.job(unit, "grease", dt.date(2025, 6, 7)).state == "due_now"
    assert yard.job(unit, "grease", dt.date(2025, 6, 8)).state == "past_due"


def test_the_last_of_the_month_stays_in_its_month(yard: Yard) -> None:
    give(yard, "plug", None, 6)
    unit = yard.unit(on=dt.date(2025, 4, 7))
    yard.serve(unit, "plug", dt.date(2025, 8, 31))
    assert yard.job(unit, "plug", TODAY).flag.due_date == dt.date(2026, 2, 28)


def test_past_due_only_beyond_the_hours(yard: Yard) -> None:
    give(yard, "grease", 40, None)
    unit = yard.unit()
    yard.meter(unit, dt.date(2025, 5, 2), 40)
    assert yard.job(unit, "grease", dt.date(2025, 5, 2)).state == "due_now"
    yard.meter(unit, dt.date(2025, 5, 9), 41)
    job = yard.job(unit, "grease", dt.date(2025, 5, 9))
    assert job.state == "past_due"
    # The record tells the day it went past.
    assert dt.date(2025, 5, 2) < job.due_on <= dt.date(2025, 5, 9)


def test_due_by_from_an_even_chance_on(yard: Yard) -> None:
    give(yard, "grease", 40, None)
    unit = yard.unit()
    for week in range(4):
        yard.run(unit, MONDAY + dt.timedelta(weeks=week, days=4), 5)
    as_of = MONDAY + dt.timedelta(weeks=4)
    # 20 h gone, 5 h a week: the middle of the doubt is four weeks on.
    far = yard.job(unit, "grease", as_of, before=as_of + dt.timedelta(weeks=6))
    assert far.state == "due_by"
    assert abs((far.due_on - (as_of + dt.timedelta(weeks=4))).days) <= 4
    assert far.due_on_early < far.due_on < far.due_on_late
    jobs = due_jobs([yard.contractor], as_of=as_of, before=as_of + dt.timedelta(weeks=2), unit_id=unit.pk)
    assert "grease" not in {j.task for j in jobs}
    assert yard.job(unit, "grease", as_of).state == "due_by"  # by the next opening it surely is


def test_looking_renews_checks_but_not_greasing(yard: Yard) -> None:
    unit = yard.unit()
    on = dt.date(2025, 5, 5)
    yard.serve(unit, "grease", on, "ok", done="looked")
    yard.serve(unit, "mounts", on, "ok", done="looked")
    assert yard.job(unit, "grease", TODAY).flag.last_done_on is None
    assert yard.job(unit, "mounts", TODAY).flag.last_done_on == on


def test_a_mended_gearbox_starts_a_new_grease_cycle(yard: Yard) -> None:
    unit = yard.unit()
    yard.fail(unit, "gearbox", dt.date(2025, 5, 5), done="repaired", hours=Decimal(18))
    flag = yard.job(unit, "grease", TODAY).flag
    assert (flag.last_done_hours, flag.due_hours) == (18, 68)
    yard.fail(unit, "gearbox", dt.date(2025, 6, 5), by=SHOP)  # broken, not mended yet
    assert yard.job(unit, "grease", TODAY).flag.last_done_on == dt.date(2025, 5, 5)


def test_an_earlier_service_entered_late_does_not_win(yard: Yard) -> None:
    unit = yard.unit()
    yard.serve(unit, "grease", dt.date(2025, 6, 5))
    yard.serve(unit, "grease", dt.date(2025, 5, 5))
    assert yard.job(unit, "grease", TODAY).flag.last_done_on == dt.date(2025, 6, 5)


def test_as_of_sees_what_was_dated_by_then(yard: Yard) -> None:
    unit = yard.unit()
    yard.serve(unit, "grease", dt.date(2025, 5, 5))
    yard.serve(unit, "grease", dt.date(2025, 7, 1))
    assert yard.job(unit, "grease", dt.date(2025, 6, 1), afresh=True).flag.last_done_on == dt.date(2025, 5, 5)


def test_afresh_and_stored_give_the_same_list(yard: Yard) -> None:
    unit, other = yard.unit(), yard.unit("QH-2", crew=yard.south, hours_at_registration=Decimal(60))
    yard.run(unit, dt.date(2025, 5, 9), 6)
    yard.serve(unit, "grease", dt.date(2025, 5, 9))
    yard.meter(other, dt.date(2025, 5, 9), 75)
    yard.see(other, dt.date(2025, 5, 9), guard="off")
    stored = due_jobs([yard.contractor], as_of=TODAY)
    afresh = due_jobs([yard.contractor], as_of=TODAY, afresh=True)
    said = [(j.unit.tag, j.task, j.state, j.due_on, round(j.hours_now, 2), sentences(j)) for j in stored]
    assert said == [(j.unit.tag, j.task, j.state, j.due_on, round(j.hours_now, 2), sentences(j)) for j in afresh]


@pytest.mark.parametrize(
    ("as_of", "done", "due"),
    [
        (dt.date(2025, 9, 1), None, dt.date(2025, 11, 30)),
        (dt.date(2025, 9, 30), dt.date(2025, 9, 20), dt.date(2025, 11, 30)),  # too early to count for this winter
    ],
)
def test_lay_up_follows_the_seasons_close(yard: Yard, as_of: dt.date, done: dt.date | None, due: dt.date) -> None:
    unit = yard.unit()
    if done:
        yard.serve(unit, "lay_up", done)
    job = yard.job(unit, "lay_up", as_of)
    assert job.due_on == due


def test_review_answers_for_the_order(yard: Yard) -> None:
    yard.contractor.order_by = "02-01"
    yard.contractor.save()
    unit = yard.unit()
    assert yard.job(unit, "review", TODAY).due_on == dt.date(2026, 2, 1)
    yard.serve(unit, "review", dt.date(2025, 9, 1), done="looked")
    assert yard.job(unit, "review", TODAY).due_on == dt.date(2027, 2, 1)
