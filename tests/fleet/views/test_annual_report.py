"""Annual report: its figures are those of the screens, its first page is the answer, and it is the owner's alone."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.models import ReviewBasis
from fleet.models.tenancy import all_tenants
from fleet.record.review_decisions import decide
from fleet.record.writing import By
from fleet.templatetags.money import dollars
from fleet.upkeep.crew_cost_store import refresh_crew_costs
from fleet.upkeep.review_store import refresh_reviews
from tests import factories
from tests.fleet.views.pages import queries, text
from tests.paper_reading import assert_well_made, nothing_amiss, reader, sizes_mm, words

PAGE, PAPER = "annual_report", "annual_report_pdf"


def work_out(portal) -> None:
    with all_tenants():
        refresh_crew_costs([portal.quarry, portal.millrace], today=dt.date.today())
        refresh_reviews([portal.quarry, portal.millrace], today=dt.date.today())


@pytest.fixture
def reported(told):
    """Walks, failures of this season, prices, a fault on a covered part: an owner's year as the night left it."""
    due, fresh = told.units["due"], told.units["fresh"]
    for days in (60, 40, 20):
        factories.see_guard(due, "off", days=days)
    factories.break_part(due, "gearbox", days=15, parts_cost=Decimal(80), minutes=Decimal(30))
    factories.break_part(due, "fuel", days=12, parts_cost=Decimal(20), cause="stale_fuel")
    factories.break_part(fresh, "starter", days=5, done="", what="pawl broken")
    work_out(told)
    return told


def paper(client, **query) -> bytes:
    with nothing_amiss():
        response = client.get(reverse(PAPER), query)
    assert response.status_code == 200
    assert response["Content-Type"] == "application/pdf"
    return response.content


def first_page(content: bytes) -> str:
    return " ".join(reader(content).pages[0].extract_text().split())


def test_nobody_but_the_owner_gets_it(reported):
    for name in (PAGE, PAPER):
        for who in ("boss", "technician", "manager", "stranger", "neighbor"):
            assert reported.client(who).get(reverse(name)).status_code == 404, (name, who)
        assert reported.client("owner").get(reverse(name), {"contractor": reported.millrace.pk}).status_code == 404
        assert reported.client("owner").get(reverse(name)).status_code == 200
        assert (
            reported.client("administrator").get(reverse(name), {"contractor": reported.quarry.pk}).status_code == 200
        )


def test_its_figures_are_those_of_the_screens(reported):
    """Each figure is read off the page that shows it and looked for on the report."""
    client = reported.client("owner")
    page, content = client.get(reverse(PAGE)), paper(client)
    said, first = words(content), first_page(content)
    season = page.context["report"].season.number
    costs = client.get(reverse("crew_costs"), {"season": season})
    budget = client.get(reverse("season_budget"))
    reviews = client.get(reverse("reviews"))
    buying = client.get(reverse("buying"))
    free = client.get(reverse("free_repairs"))
    crews = costs.context["found"].crews
    bills = sum(c.repairs + c.services for c in crews) + costs.context["found"].no_crew_spent
    counts = reviews.context["counts"]
    assert costs.context["found"].crews == page.context["report"].costs.found.crews
    for figure in (
        f"{dollars(bills)} in bills",
        f"{costs.context['found'].hours:,.0f} engine hours",
        f"expected to cost {dollars(budget.context['totals']['expected'])}",
        f"between {dollars(budget.context['budget'].low)} and {dollars(budget.context['budget'].high)}",
        f"Of {reviews.context['all']} units in use: replace {counts['replace']}, look closer at "
        f"{counts['look_closer']}, keep {counts['keep']}",
        f"{free.context['waiting']} fault not mended yet is on a part under warranty",
        f"{dollars(costs.context['avoidable_total'])} of the season's repairs have a cause written",
    ):
        assert figure in first, figure
    for c in crews:
        assert f"{c.crew}" in said
        assert dollars(c.cost_per_100_hours) in said
    assert (buying.context["count"] > 0) == ("Buying list:" in first)


def test_the_first_page_is_the_answer_and_cautions_close_it(reported):
    content = paper(reported.client("owner"), paper="a4")
    assert_well_made(content, "Annual report, season")
    assert sizes_mm(content) == {(210, 297)}
    first = first_page(content)
    for heading in ("What the season cost", "What habits cost", "What to keep, what to replace",
                    "What next season will cost", "Free repair waiting", "What to do, by when"):  # fmt: skip
        assert heading in first
    assert "cannot prove what caused it" in first
    # It fits its page: the evidence begins on the second.
    assert reader(content).pages[1].extract_text().lstrip().startswith("Crew costs")
    last = " ".join(reader(content).pages[-1].extract_text().split())
    assert "What this report proves, and what it does not" in last
    assert "The operator's manual and local rules come first." in last
    for heading in ("Crew costs", "Repairs per unit", "Keep or replace", "Season budget", "Counts behind the figures"):
        assert heading in words(content)


def test_before_the_first_night_the_paper_leads_to_the_page_that_says_why(portal):
    client = portal.client("owner")
    assert "Not worked out yet" in text(client.get(reverse(PAGE)))
    assert client.get(reverse(PAPER))["Location"].startswith(reverse(PAGE))


def test_a_contractor_without_failures_gets_plain_answers(portal):
    """No failure, no advice, no budget: each part says so in words, and nothing is made up."""
    work_out(portal)
    client = portal.client("owner")
    first = first_page(paper(client))
    for said in (
        "to repair 0 failures",
        "No gearbox, shaft, clutch or exhaust has failed in this time, so there is nothing to compare yet",
        "with fewer than ten nobody can say what the next season brings",
        "No fault of the past year is on a part under warranty",
    ):
        assert said in first, said


@pytest.mark.parametrize(("closes_in", "said"), [(30, "So far, to"), (-3, "what the winter brings is still to come")])
def test_a_season_that_still_runs_says_so_and_one_that_is_shut_too(reported, closes_in, said):
    today = dt.date.today()
    reported.quarry.season_opens = (today - dt.timedelta(days=100)).strftime("%m-%d")
    reported.quarry.season_closes = (today + dt.timedelta(days=closes_in)).strftime("%m-%d")
    with all_tenants():
        reported.quarry.save()
    work_out(reported)
    client = reported.client("owner")
    page = text(client.get(reverse(PAGE)))
    assert said in page
    assert ("its figures still grow" in page) == (closes_in > 0)
    assert said in first_page(paper(client))
    assert ("Lay units up as the season ends" in page) == (closes_in > 0)


def test_an_odd_season_falls_back_to_the_latest(reported):
    client = reported.client("owner")
    latest = client.get(reverse(PAGE)).context["report"].season.number
    assert client.get(reverse(PAGE), {"season": 1871}).context["report"].season.number == latest
    assert client.get(reverse(PAGE), {"season": "last"}).status_code == 404


def test_what_was_decided_stands_beside_the_advice(reported):
    by = By(reported.people["owner"], "screen", "crew")
    with all_tenants():
        today = timezone.localdate()
        decide(unit=reported.units["due"], decided="replace", why="frame bent", by=by, today=today)
    client = reported.client("owner")
    content = paper(client)
    assert "decided: replace" in words(content)
    assert "decided: QH-01" in words(content)
    count = client.get(reverse("buying")).context["count"]
    assert f"Order {count} new unit" in first_page(content)


def test_the_owner_finds_it_from_each_of_the_three_pages(reported):
    client = reported.client("owner")
    for name in ("crew_costs", "reviews", "season_budget"):
        assert reverse(PAGE) in client.get(reverse(name)).content.decode(), name


def test_as_many_queries_for_many_units(reported):
    client = reported.client("owner")
    urls = [reverse(PAGE), reverse(PAPER)]
    few = [queries(client, url) for url in urls]
    for number in range(20):
        crew = factories.make_crew(reported.quarry, f"Crew {number}")
        unit = factories.make_unit(crew, f"QC-{number}", model=reported.units["due"].model, run=5)
        factories.break_part(unit, "ignition", days=10)
    with all_tenants():
        ReviewBasis.objects.all().delete()
    work_out(reported)
    assert [queries(client, url) for url in urls] == few
