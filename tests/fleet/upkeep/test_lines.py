"""The Ready list by unit: counts that add up, and jobs that stand aside."""

from __future__ import annotations

import datetime as dt

import pytest

from fleet.models import Postponement
from fleet.models.tenancy import all_tenants
from fleet.upkeep.lines import ready_list, seasons_of
from fleet.upkeep.lists import due_jobs
from tests import factories

TODAY = dt.date.today()
BEFORE = TODAY + dt.timedelta(days=40)


def listed(portal, **kwargs):
    with all_tenants():
        contractors = [portal.quarry]
        return ready_list(contractors, seasons_of(contractors), as_of=TODAY, before=BEFORE, **kwargs)


def put_off(portal, unit, task, days=10, recorded=0):
    with all_tenants():
        said = Postponement.objects.create(
            contractor=portal.quarry, trimmer=unit, task=task, until=TODAY + dt.timedelta(days=days), reason="later"
        )
        if recorded:
            when = said.recorded_at - dt.timedelta(days=recorded)
            Postponement.objects.filter(pk=said.pk).update(recorded_at=when)


def test_every_unit_is_counted_once(portal):
    found = listed(portal)
    assert found.units == 3
    assert found.on_hold + found.due_or_past + found.due_by + found.only_put_off + found.need_nothing == found.units
    assert found.on_hold == 1


def test_the_same_jobs_as_the_command_lists(portal):
    with all_tenants():
        jobs = due_jobs([portal.quarry], as_of=TODAY, before=BEFORE)
    shown = [job for line in listed(portal).lines for job in line.jobs]
    assert {(j.unit.unit, j.task, j.state) for j in shown} == {(j.unit.unit, j.task, j.state) for j in jobs}


def test_a_place_keeps_holds_in_sight(portal):
    lines = listed(portal, place="bench").lines
    assert [line.unit.tag for line in lines if line.state == "hold"] == ["QH-03"]
    assert all(job.place == "bench" or job.state == "hold" for line in lines for job in line.jobs)


@pytest.mark.parametrize(("days", "aside"), [(10, True), (0, False), (-3, False)])
def test_put_off_until_its_day(portal, days, aside):
    put_off(portal, portal.units["due"], "grease", days)
    assert bool(listed(portal).put_off) is aside


def test_a_hold_is_never_put_off(portal):
    put_off(portal, portal.units["held"], "head")
    assert listed(portal).on_hold == 1


def test_what_was_put_off_before_the_job_was_done_is_over(portal):
    unit = portal.units["due"]
    put_off(portal, unit, "grease", recorded=20)
    factories.do_task(unit, "grease", days=10)
    factories.log_meter(unit, 160)
    found = listed(portal)
    assert "grease" in {job.task for line in found.lines for job in line.jobs if line.unit.tag == "QH-01"}
    assert not found.put_off


def test_of_two_jobs_alike_the_one_on_the_unit_leads(portal):
    with all_tenants():
        contractors = [portal.quarry]
        far = TODAY + dt.timedelta(days=700)
        found = ready_list(contractors, seasons_of(contractors), as_of=TODAY, before=far)
    for line in found.lines:
        by_state = {}
        for job in line.jobs:
            by_state.setdefault(job.state, []).append(job.place == "owner")
        assert all(places == sorted(places) for places in by_state.values())
    assert any(job.place == "owner" for line in found.lines for job in line.jobs)
