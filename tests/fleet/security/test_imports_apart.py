"""Imports: nothing is learned of others, and nothing lands on a ledger that has moved on since it was read."""

from __future__ import annotations

import pytest

from fleet.models import HoursEntry, Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.hours import HoursLine, record_hours
from fleet.record.import_commit import commit_plan
from fleet.record.importing import import_files, plan_import
from fleet.record.writing import By
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def everyone(db):
    with all_tenants():
        yield


def day(days):
    return factories.days_ago(days).isoformat()


def test_a_models_maker_is_not_told_to_those_who_never_had_it(portal):
    verge = factories.make_crew(portal.quarry, "Verge")
    factories.make_unit(verge, "QH-77", model=factories.make_model("Wren", maker="Secretive"), run=None)
    files = {"units.csv": f"unit,model,registered_on\nFV-1,Wren,{day(20)}\n".encode()}
    stranger = portal.people["stranger"].memberships.get().contractor
    (bad,) = plan_import(files, only=[stranger.pk], contractor=stranger.name).bad
    assert "not known yet" in bad.reason
    assert not plan_import(files, only=[portal.quarry.pk], contractor=portal.quarry.name).bad
    named = {**files, "models.csv": b"maker,model\nSecretive,Wren\n"}
    assert not plan_import(named, only=[stranger.pk], contractor=stranger.name).bad


def test_two_imports_of_one_retired_unit_register_it_once(portal):
    files = {
        "units.csv": f"unit,maker,model,registered_on,retired_on\nQH-50,Ostrel,Heron,{day(90)},{day(9)}\n".encode()
    }
    plans = [plan_import(files, contractor=portal.quarry.name) for _time in range(2)]
    for plan in plans:
        commit_plan(plan, author=None)
    assert not plans[0].bad
    assert "import it again" in plans[1].bad[0].reason
    assert Trimmer.objects.filter(tag="QH-50").count() == 1


def test_an_entry_made_while_files_are_read_keeps_them_out(portal):
    """Each agrees with what stood before, and together they would be 40 hours in a day."""
    unit = portal.units["due"]
    files = {"hours.csv": f"unit,date,hours_run\nQH-01,{day(1)},20\n".encode()}
    plan = plan_import(files, contractor=portal.quarry.name)
    line = HoursLine(unit, factories.days_ago(1), hours_run=20)
    record_hours(lines=[line], by=By(None, "screen"), today=factories.days_ago(0), confirmed=True)
    commit_plan(plan, author=None)
    assert "import it again" in plan.bad[0].reason
    assert HoursEntry.objects.filter(trimmer=unit, hours_run__isnull=False).count() == 1


def test_files_of_one_set_do_not_stand_in_each_others_way(portal):
    files = {
        "units.csv": f"unit,crew,maker,model,registered_on\nQH-51,North,Ostrel,Heron,{day(90)}\n".encode(),
        "hours.csv": f"unit,date,hours_run\nQH-51,{day(20)},3\nQH-01,{day(1)},2\n".encode(),
        "guard.csv": f"unit,date,guard\nQH-51,{day(20)},on\nQH-01,{day(1)},on\n".encode(),
        "services.csv": f"unit,date,task\nQH-51,{day(19)},grease\nQH-01,{day(1)},grease\n".encode(),
    }
    assert not import_files(files, contractor=portal.quarry.name).bad
    again = import_files(files, contractor=portal.quarry.name)
    assert not again.bad
    assert sum(again.added.values()) == 0
