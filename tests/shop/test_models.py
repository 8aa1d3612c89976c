"""What the tables themselves hold: whose rows are read, and that a unit is dropped off once at a time."""

from __future__ import annotations

import datetime as dt

import pytest
from django.db import IntegrityError, transaction

from fleet.access import access_of
from fleet.models.tenancy import NoTenantError, all_tenants, tenant
from shop.access import drop_offs_of, lines_of
from shop.models import DropOff, DropOffLine, LineJob
from shop.vocabulary import ALL_JOBS, NEXT_STATES, STANDING, VISIT_STATES, fault_job, practice_minutes
from tests import factories

pytestmark = pytest.mark.django_db


def test_drop_offs_are_read_within_a_scope_only(portal):
    visit = factories.make_drop_off(portal.shop, portal.north, portal.units["due"], kit=("Blower",))
    with pytest.raises(NoTenantError):
        DropOff.objects.count()
    with tenant([portal.millrace.pk]):
        assert not DropOff.objects.exists()
        assert not DropOffLine.objects.exists()
        assert not LineJob.objects.exists()
    with tenant([portal.quarry.pk]):
        assert DropOff.objects.get() == visit
        assert [line.name for line in visit.lines.order_by("pk")] == ["QH-01", "Blower"]


def test_each_sees_their_own_and_the_shop_keeps_its_bench_in_sight(portal):
    visit = factories.make_drop_off(portal.shop, portal.north, portal.units["due"])

    def seen(who: str) -> list[DropOff]:
        access = access_of(portal.people[who])
        with tenant(access.contractor_ids):
            assert lines_of(access).count() == len(drop_offs_of(access))
            return list(drop_offs_of(access))

    for who in ("boss", "south", "owner", "technician", "manager"):
        assert seen(who) == [visit], who
    for who in ("neighbor", "stranger", "other_bench", "administrator"):
        assert seen(who) == [], who
    portal.quarry.arrangements.update(until=dt.date.today() - dt.timedelta(days=1))
    assert seen("technician") == [visit]


def test_a_unit_stands_on_one_drop_off_at_a_time(portal):
    first = factories.make_drop_off(portal.shop, portal.north, portal.units["due"])
    with pytest.raises(IntegrityError), transaction.atomic():
        factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=3)
    with all_tenants():
        first.lines.update(state="picked_up", standing=False)
    factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=3)


def test_a_line_is_a_unit_or_other_kit(portal):
    visit = factories.make_drop_off(portal.shop, portal.north, portal.units["due"])
    owner = {"contractor": portal.quarry, "shop": portal.shop, "drop_off": visit, "minutes": 10}
    for wrong in ({"kit": ""}, {"kit": "Blower", "trimmer": portal.units["fresh"]}):
        with pytest.raises(IntegrityError), all_tenants(), transaction.atomic():
            DropOffLine.objects.create(**owner, **wrong)


def test_every_state_leads_somewhere_known_and_every_job_has_minutes():
    assert NEXT_STATES.keys() == VISIT_STATES.keys()
    assert all(after <= VISIT_STATES.keys() for after in NEXT_STATES.values())
    assert {state for state, after in NEXT_STATES.items() if not after} == VISIT_STATES.keys() - STANDING
    assert all(practice_minutes(job) > 0 for job in ALL_JOBS)
    assert practice_minutes(fault_job("carburetor")) == 50  # the longer repair and a quick look
