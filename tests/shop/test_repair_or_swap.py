"""Repair or swap on screen: ways compared, what came back counted, the spend limit, and the record filled in."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models import UnitReview
from fleet.record.work import Broken, record_failure
from shop.bench.arriving import Told
from shop.bench.repair_choices import repairs_seen
from tests import factories
from tests.fleet.views.pages import text
from tests.shop.test_bench_work import TODAY, arrive, bench, by, job_of
from tests.shop.test_sheet import record, tap

pytestmark = pytest.mark.django_db
__all__ = ["bench", "factories"]


def mended(portal, days_ago: int, done="repaired", component="starter", unit="due", **more):
    on = TODAY - dt.timedelta(days=days_ago)
    broken = Broken(portal.units[unit], component, on, done=done, **more)
    return record_failure(broken=broken, by=by(portal), today=TODAY)


def starter_job(portal, **told):
    line = arrive(portal, told=Told(symptom="hard_or_no_pull", **told))
    return job_of(line, "fault.starter")


def address(job) -> str:
    return reverse("repair_or_swap", args=[job.pk])


def test_what_came_back_within_sixty_days_is_counted_once_it_could_have(bench):
    mended(bench, 100, parts_cost=Decimal(12), downtime_days=Decimal(3))
    mended(bench, 70)  # came back 30 days after the first, and itself again at a look that broke
    mended(bench, 20, done="replaced")  # too young to tell, but the second one's comeback
    mended(bench, 100, component="gearbox")
    seen = repairs_seen("starter", TODAY)
    assert seen.counts == {"repaired": (2, 2)}
    assert seen.parts == {"repaired": 12.0}
    assert seen.days == {"repaired": 3.0}


def test_the_ways_are_compared_and_the_one_chosen_fills_in_the_record(bench):
    job = starter_job(bench, fix_up_to=Decimal(20))
    client = bench.client("technician")
    page = client.get(address(job))
    assert "Enter what parts cost" in text(page)
    sent = {"minutes-repair": "45", "parts-repair": "1", "minutes-replace": "12", "parts-replace": "36",
            "generic-replace": "26", "minutes-assembly": "12", "parts-assembly": "46"}  # fmt: skip
    page = client.get(address(job), sent)
    rows = page.context["rows"]
    assert rows[0]["name"] == "Replace the part, generic"
    assert "call first" in text(page)
    assert "The operator's manual and local rules come first" in text(page)
    form = client.get(rows[0]["url"]).context["form"]
    assert (form["done"].value(), form["minutes"].value(), form["parts_cost"].value()) == ("replaced", "12", "26.00")


def test_a_figure_that_cannot_be_read_is_answered_and_the_rest_stands(bench):
    job = starter_job(bench)
    page = bench.client("technician").get(address(job), {"minutes-repair": "long", "parts-replace": "36"})
    assert page.status_code == 422
    assert "Write a figure" in text(page, 422)
    assert 'value="36"' in page.content.decode()


def test_more_than_the_unit_is_worth_is_said_beside_the_rule_of_thumb(bench):
    job = starter_job(bench)
    unit = job.line.trimmer
    UnitReview.objects.update_or_create(
        trimmer=unit,
        defaults={"contractor_id": unit.contractor_id, "advice": "replace", "facts": {}, "spend_limit": 5.0,
                  "half_price": 150.0},
    )  # fmt: skip
    page = text(bench.client("technician").get(address(job), {"parts-repair": "30", "parts-replace": "30"}))
    assert "Not worth it" in page
    assert "half the price of a new one" in page


def test_what_the_sheet_found_is_in_the_record_of_its_job(bench):
    line = arrive(bench)
    tap(bench, line, "starter", "bad")
    record(bench, line)
    job = job_of(line, "fault.starter")
    form = bench.client("technician").get(reverse("bench_job", args=[job.pk])).context["form"]
    assert form["what"].value() == "Starter: bad"


def test_only_a_fault_has_ways_and_the_queries_stay_the_same(bench):
    job = starter_job(bench)
    client = bench.client("technician")
    plain = job_of(job.line, "task.port")
    assert client.get(address(plain)).status_code == 404
    client.get(address(job))
    with CaptureQueriesContext(connection) as few:
        client.get(address(job))
    for days in (90, 80, 70, 30, 10):
        mended(bench, days)
    client.get(address(job))
    with CaptureQueriesContext(connection) as many:
        client.get(address(job))
    assert len(many) == len(few)
