"""Warranty claims: what one wants, its answer in the contractor's money, the part kept until then, who sees it."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models import Failure, ModelTerms, PurchasePaper, Trimmer, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.upkeep.free_repairs import free_repairs
from shop.bench.claiming import left_over
from shop.models import CheckIn, ClaimStep, DropOffLine, LineJob, WarrantyClaim
from tests import factories
from tests.fleet.views.pages import text
from tests.shop.bench_rows import bench_photo, repaired

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
YESTERDAY = TODAY - dt.timedelta(days=1)


@pytest.fixture
def job(portal):
    """A starter replaced on a unit bought last year, two years of warranty: 30 minutes at $90, $40 of parts."""
    unit = portal.units["due"]
    with all_tenants():
        Trimmer.objects.filter(pk=unit.pk).update(bought_on=TODAY - dt.timedelta(days=200), serial="")
    factories.make_bench(portal.shop)
    visit = factories.make_drop_off(portal.shop, portal.north, unit, days=0, state="checked_in")
    with all_tenants():
        return repaired(DropOffLine.objects.get(drop_off=visit))


@pytest.fixture
def claim(portal, job):
    portal.client("technician").post(reverse("claim_open", args=[job.pk]))
    with all_tenants():
        return WarrantyClaim.objects.get(job=job)


def tell(portal, claim, kind, **more):
    data = {"kind": kind, "on": str(YESTERDAY), "client_entry_id": uuid.uuid4()} | more
    return portal.client("technician").post(reverse("claim", args=[claim.pk]), data)


def send(portal, claim):
    return tell(portal, claim, "sent", amount="85", note="under number 7")


def entry_of(job) -> Failure:
    with all_tenants():
        return Failure.objects.get(pk=LineJob.objects.get(pk=job.pk).entry_id)


def waiting_at(portal, contractor) -> list[str]:
    with all_tenants():
        return [r.component for r in free_repairs(contractor, today=TODAY)]


def test_it_says_what_is_missing_until_it_is_there(portal, claim, job):
    url = reverse("claim", args=[claim.pk])
    page = text(portal.client("technician").get(url))
    wants = ("Proof of purchase", "Serial", "Fuel looked at", "A picture of the part", "The part tagged and kept")
    assert "Missing for the claim" in page
    assert all(words in page for words in wants)
    with all_tenants():
        line = job.line
        unit = line.trimmer
        Trimmer.objects.filter(pk=unit.pk).update(serial="Z-1")
        PurchasePaper.objects.create(contractor_id=unit.contractor_id, trimmer=unit, picture="papers/x.jpg")
        CheckIn.objects.create(
            contractor_id=line.contractor_id, shop_id=line.shop_id, line=line, fuel="fresh", at=claim.opened_at
        )
        bench_photo(line)
    assert tell(portal, claim, "kept", note="shelf 3").status_code == 302
    page = text(portal.client("technician").get(url))
    assert "Missing for the claim" not in page
    assert "tagged and kept: shelf 3" in page


def test_what_it_went_out_without_stays_written(portal, claim):
    send(portal, claim)
    page = text(portal.client("technician").get(reverse("claim", args=[claim.pk])))
    assert "without: proof of purchase, serial" in page


def test_paid_costs_the_contractor_nothing(portal, claim, job):
    before = entry_of(job)
    send(portal, claim)
    assert tell(portal, claim, "answer", answer="paid").status_code == 302
    after = entry_of(job)
    assert (after.warranty, after.parts_cost, after.minutes) == (True, before.parts_cost, before.minutes)
    assert after.pk != before.pk
    with all_tenants():
        assert Withdrawal.objects.get(kind="failure", entry_id=before.pk).why == "Warranty claim: paid"


def test_paid_in_part_leaves_the_rest(portal, claim, job):
    send(portal, claim)
    assert tell(portal, claim, "answer", answer="part_paid", amount="55").status_code == 302
    after = entry_of(job)
    # 40 of parts and 15 of labor were paid: 20 of 30 minutes remain at $90 an hour.
    assert (after.warranty, after.parts_cost, after.minutes) == (False, Decimal(0), Decimal(20))
    assert left_over(Decimal(10), Decimal(40), Decimal(30), Decimal(90)) == (Decimal(30), Decimal(30))


def test_refused_is_the_contractors_again_and_says_why(portal, claim, job):
    with all_tenants():
        Failure.objects.filter(pk=job.entry_id).update(warranty=True)
    send(portal, claim)
    assert tell(portal, claim, "answer", answer="refused").status_code == 422
    assert tell(portal, claim, "answer", answer="refused", note="stale fuel").status_code == 302
    assert entry_of(job).warranty is False
    assert "stale fuel" in text(portal.client("technician").get(reverse("claims")))


def test_the_part_is_kept_until_the_answer(portal, claim):
    tell(portal, claim, "kept", note="shelf 3")
    send(portal, claim)
    tell(portal, claim, "let_go")
    with all_tenants():
        assert not ClaimStep.objects.filter(step="let_go").exists()
    tell(portal, claim, "answer", answer="paid")
    assert tell(portal, claim, "let_go").status_code == 302
    with all_tenants():
        assert ClaimStep.objects.filter(step="let_go").exists()


def test_steps_follow_each_other_and_a_press_counts_once(portal, claim):
    tell(portal, claim, "answer", answer="paid")
    with all_tenants():
        assert not ClaimStep.objects.exists()
    press = uuid.uuid4()
    for _twice in range(2):
        tell(portal, claim, "sent", amount="85", client_entry_id=press)
    assert tell(portal, claim, "answer", answer="part_paid", amount="85").status_code == 422
    early = {"on": str(TODAY - dt.timedelta(days=30))}
    assert tell(portal, claim, "answer", answer="paid", **early).status_code == 422
    assert tell(portal, claim, "answer", answer="paid", on=str(TODAY + dt.timedelta(days=2))).status_code == 422
    with all_tenants():
        assert [s.step for s in ClaimStep.objects.all()] == ["sent"]


def test_claimed_repairs_are_not_waiting_any_more_and_the_owner_sees_where_they_stand(portal, job):
    with all_tenants():
        ModelTerms.objects.create(contractor=portal.quarry, model=portal.units["due"].model, warranty_months=24)
    assert "starter" in waiting_at(portal, portal.quarry)
    portal.client("technician").post(reverse("claim_open", args=[job.pk]))
    assert "starter" not in waiting_at(portal, portal.quarry)
    with all_tenants():
        claim = WarrantyClaim.objects.get(job=job)
    send(portal, claim)
    page = text(portal.client("owner").get(reverse("free_repairs")))
    assert "Starter: sent to the maker" in page
    assert portal.client("other_bench").get(reverse("claim", args=[claim.pk])).status_code == 404


def test_the_list_asks_the_same_however_many(portal, claim, django_assert_num_queries):
    client = portal.client("technician")
    client.get(reverse("claims"))
    with CaptureQueriesContext(connection) as one:
        client.get(reverse("claims"))
    with all_tenants():
        line = claim.job.line
        for n in range(4):
            failure = factories.break_part(line.trimmer, "clutch", days=2 + n, done="repaired")
            more = LineJob.objects.create(
                line=line, job="repair.clutch.repaired", contractor_id=line.contractor_id, shop_id=line.shop_id,
                minutes=9, done_at=claim.opened_at, entry_kind="failure", entry_id=failure.pk,
            )  # fmt: skip
            WarrantyClaim.objects.create(
                contractor_id=line.contractor_id, shop_id=line.shop_id, job=more, opened_at=claim.opened_at
            )
    with django_assert_num_queries(len(one)):
        page = text(client.get(reverse("claims")))
    assert "5 are not sent yet" in page
