"""Crew costs on the screen: the owner's, with its ranges and cautions; nobody else's."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet import background
from fleet.models import CrewCost
from fleet.models.tenancy import all_tenants
from fleet.upkeep.crew_cost_store import refresh_crew_costs
from tests import factories
from tests.fleet.views.pages import queries, text


def work_out(portal) -> None:
    with all_tenants():
        refresh_crew_costs([portal.quarry, portal.millrace], today=dt.date.today())


@pytest.fixture
def told(portal):
    """Walks, a few failures and a cost of them, worked out as the night would."""
    due, fresh = portal.units["due"], portal.units["fresh"]
    for days in (60, 40, 20):
        factories.see_guard(due, "off", days=days)
        factories.see_guard(fresh, "on", days=20)
    factories.break_part(due, "gearbox", days=15, parts_cost=Decimal(80), guard_as_found="off", minutes=Decimal(30))
    factories.break_part(due, "carburetor", days=12, parts_cost=Decimal(20), cause="stale_fuel")
    work_out(portal)
    return portal


URL = "/costs/crews/"


def test_the_page_opens_with_an_answer_its_evidence_and_what_it_does_not_prove(told):
    assert reverse("crew_costs") == URL
    page = text(told.client("owner").get(URL))
    assert "Crew costs" in page
    assert "The record cannot tell yet: North" in page
    assert "Compared within crews" in page
    assert "If guards come off only on the rough sites, this figure includes the ground" in page
    assert "stale fuel" in page
    assert "$145" in page  # 80 + 45 + 20, no days without the unit
    assert "Park" not in page


def test_what_it_cannot_prove_stands_beside_the_verdict(told):
    """Nobody reads a figure without it: it is in the opening paragraph, right after the first sentence."""
    opening = text(told.client("owner").get(URL)).split("Time", 1)[0]
    assert "costs more. This shows what went with guards off, and cannot prove what caused it" in opening
    assert "guards stay on, whatever it says" in opening


def test_a_bar_says_in_words_what_it_draws(told):
    html = told.client("owner").get(URL).content.decode()
    assert html.count('<svg class="iv"') == 2
    assert "most likely between" in html


def test_only_owners_and_the_administrator_see_it(told):
    for who in ("boss", "technician", "manager", "stranger", "neighbor"):
        for name in ("crew_costs", "crew_costs_csv"):
            assert told.client(who).get(reverse(name)).status_code == 404, who
        assert told.client(who).post(reverse("crew_costs_again")).status_code == 404
    assert told.client("administrator").get(URL, {"contractor": told.quarry.pk}).status_code == 200


def test_an_owner_reaches_no_other_contractor(told):
    for name in ("crew_costs", "crew_costs_csv"):
        assert told.client("owner").get(reverse(name), {"contractor": told.millrace.pk}).status_code == 404
    assert told.client("owner").post(reverse("crew_costs_again"), {"contractor": told.millrace.pk}).status_code == 404


def test_htmx_gets_the_part_that_changes(told):
    part = told.htmx("owner", URL).get(URL, {"season": 0}).content.decode()
    assert part.lstrip().startswith('<div id="page">')
    assert "<html" not in part


def test_a_season_is_chosen_and_an_odd_one_falls_back_to_the_whole_record(told):
    year = dt.date.today().year
    assert f"season {year}" in text(told.client("owner").get(URL, {"season": year}))
    assert "since" in text(told.client("owner").get(URL, {"season": 1871}))
    assert told.client("owner").get(URL, {"season": "last"}).status_code == 404


def test_the_file_has_the_figures_of_the_command(told):
    response = told.client("owner").get(reverse("crew_costs_csv"))
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert {row["crew"]: row["failures"] for row in rows} == {"North": "2", "South": "0"}
    assert rows[0]["spent"] == "145.0"


def test_before_the_first_night_the_page_says_so(portal):
    page = text(portal.client("owner").get(URL))
    assert "Not worked out yet" in page
    assert "Work it out from today's record" in page


def test_it_can_be_worked_out_at_once(portal, monkeypatch):
    monkeypatch.setattr(background, "start", lambda work, task="", **given: work(**given))
    response = portal.client("owner").post(reverse("crew_costs_again"), {"contractor": portal.quarry.pk})
    assert response.status_code == 302
    with all_tenants():
        assert set(CrewCost.objects.values_list("contractor", flat=True)) == {portal.quarry.pk}


def test_a_crew_keeps_its_place_under_a_new_name(told):
    told.north.name = "Nord"
    with all_tenants():
        told.north.save()
    page = text(told.client("owner").get(URL))
    assert "Nord" in page
    assert "North" not in page


def test_as_many_queries_for_many_crews(told):
    client = told.client("owner")
    few = queries(client, URL)
    for number in range(20):
        crew = factories.make_crew(told.quarry, f"Crew {number}")
        factories.make_unit(crew, f"QC-{number}", model=told.units["due"].model, run=5)
    work_out(told)
    assert queries(client, URL) == few
    assert "21 crews" in text(client.get(URL)) or "22 crews" in text(client.get(URL))
