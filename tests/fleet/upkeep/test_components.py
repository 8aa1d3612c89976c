"""Hours on each component, counted by hand from a short history."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models.tenancy import all_tenants
from fleet.record.work import Broken, record_failure
from fleet.upkeep.components import component_ages
from fleet.vocabulary import COMPONENT_OF_TASK, COMPONENTS, TASKS
from tests import factories

pytestmark = pytest.mark.django_db
NOW = 200.0


@pytest.fixture
def crew(db):
    return factories.make_crew(factories.make_contractor())


def ages(unit):
    with all_tenants():
        return {age.component: age for age in component_ages(unit.pk, NOW)}


def test_a_unit_registered_new_has_its_own_hours_on_everything(crew):
    found = ages(factories.make_unit(crew, run=150))
    assert list(found) == list(COMPONENTS)
    assert {age.hours for age in found.values()} == {NOW}
    assert not any(age.at_least for age in found.values())


def test_a_unit_registered_with_hours_has_at_least_those_since(crew):
    found = ages(factories.make_unit(crew, hours=120, run=30))
    assert {age.hours for age in found.values()} == {NOW - 120}
    assert all(age.at_least for age in found.values())


def test_a_new_part_starts_at_nothing_and_a_used_one_at_its_hours(crew):
    unit = factories.make_unit(crew, hours=100, run=None)
    factories.do_task(unit, "plug", days=20, done="replaced", hours=Decimal(150))
    factories.do_task(unit, "grease", days=19, done="serviced", hours=Decimal(151))
    with all_tenants():
        broken = Broken(
            unit, "carburetor", factories.days_ago(10), done="replaced", hours=Decimal(160), part_hours=Decimal(40)
        )
        record_failure(broken=broken, by=factories.BY, today=dt.date.today())
        mended = Broken(unit, "starter", factories.days_ago(9), done="repaired", hours=Decimal(161))
        record_failure(broken=mended, by=factories.BY, today=dt.date.today())
    found = ages(unit)
    assert (found["ignition"].hours, found["ignition"].at_least) == (50.0, False)
    assert found["ignition"].replaced_on == factories.days_ago(20)
    assert (found["carburetor"].hours, found["carburetor"].fitted_used) == (80.0, True)
    assert found["starter"].at_least  # repaired, so still the old one
    assert found["gearbox"].at_least  # greased, so still the old one


def test_the_latest_replacement_counts_and_missing_hours_are_read_off_the_line(crew):
    unit = factories.make_unit(crew, registered=100, run=None)
    factories.log_meter(unit, 40, days=50)
    factories.log_meter(unit, 60, days=10)
    factories.do_task(unit, "head", days=50, done="replaced")
    factories.do_task(unit, "head", days=10, done="replaced")
    assert ages(unit)["head"].hours == pytest.approx(NOW - 60, abs=0.5)


def test_every_task_that_fits_a_part_names_one():
    assert set(COMPONENT_OF_TASK) <= set(TASKS)
    assert set(COMPONENT_OF_TASK.values()) <= set(COMPONENTS)
