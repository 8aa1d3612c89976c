"""A recall, a fault that can hurt, and a hold head every page on which hands go to the unit."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from fleet.models.tenancy import all_tenants
from shop.models import DropOffLine, LineJob
from tests import factories
from tests.fleet.views.pages import text

pytestmark = pytest.mark.django_db
RECALL, FAULT = "Invented notice: the fuel cap may leak", "Head wobbles"
PAGES = ("line_check_in", "bench_line", "bench_sheet", "sheet_record", "quick_look", "first_checks", "bench_job",
         "repair_or_swap")  # fmt: skip


@pytest.fixture(params=PAGES)
def page(request, portal):
    """Reads the page of a unit that is in the shop (or expected at the counter)."""
    name = request.param
    state = "booked" if name == "line_check_in" else "checked_in"
    factories.make_bench(portal.shop)
    visit = factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=0, state=state)
    with all_tenants():
        line = DropOffLine.objects.get(drop_off=visit)
        job = LineJob.objects.create(
            line=line, job="fault.starter", contractor_id=line.contractor_id, shop_id=line.shop_id, minutes=20
        )
    of_job = name in ("bench_job", "repair_or_swap")
    url = reverse(name, args=[job.pk if of_job else line.pk])
    return lambda role="technician": portal.client(role).get(url)


def test_a_stopped_unit_says_so_under_the_name(portal, page):
    before = text(page())
    assert "do not start" not in before.lower()
    factories.break_part(portal.units["due"], "gearbox", days=1, done="", what="head wobbles")
    factories.make_notice(portal.units["due"].model)
    after = text(page())
    assert after.count(RECALL) == 1
    for words in (RECALL, "no repair takes its place", "Done as the notice says", "stop: do not start", FAULT):
        assert words in after, words
    assert after.index(RECALL) < after.index(FAULT) < len(after)
    html = page().content.decode()
    below = html[html.index("</h1>") :] + "<form"
    assert below.index("fuel cap may leak") < below.index("<form"), "nothing to press stands above the sign"


def test_a_hold_says_so_too(portal, page):
    factories.see_guard(portal.units["due"], "off", days=1)
    factories.recompute(portal.units["due"])
    assert "On hold: do not start" in text(page())


def test_the_signs_cost_the_same_queries_however_many_stand(portal, page):
    def asked() -> int:
        with CaptureQueriesContext(connection) as seen:
            page()
        return len(seen)

    factories.make_notice(portal.units["due"].model)
    asked()
    one = asked()
    for _more in range(3):
        factories.make_notice(portal.units["due"].model)
        factories.break_part(portal.units["due"], "gearbox", days=1, done="", what="loose")
    assert asked() == one


@pytest.mark.parametrize("name", ["bench_today", "check_in"])
def test_lists_of_the_bench_sign_the_units_that_rest(portal, name):
    factories.make_bench(portal.shop)
    state = "checked_in" if name == "bench_today" else "booked"
    for unit in portal.units.values():
        if unit.contractor_id == portal.quarry.pk:
            factories.make_drop_off(portal.shop, portal.north, unit, days=0, state=state)
    client, url = portal.client("technician"), reverse(name)
    before = text(client.get(url))
    assert portal.units["due"].tag in before
    assert "Recall: do as the notice says" not in before
    with CaptureQueriesContext(connection) as few:
        client.get(url)
    factories.make_notice(portal.units["due"].model)
    after = text(client.get(url))
    assert "Recall: do as the notice says" in after
    with CaptureQueriesContext(connection) as more:
        client.get(url)
    assert len(more) <= len(few) + 2, "the serials and what was done, once for all units"
    found = text(client.get(reverse("check_in"), {"tag": portal.units["due"].tag}))
    assert "Recall: do as the notice says" in found
