"""Keep or replace, the decision and the buying list on the screen."""

from __future__ import annotations

import csv
import datetime as dt
import io
import uuid
from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.models import ModelTerms, ReviewDecision, UnitReview
from fleet.models.tenancy import all_tenants
from fleet.upkeep.review_store import refresh_reviews
from tests import factories
from tests.fleet.views.pages import errors, queries, text

URL = "/costs/keep-or-replace/"


def work_out(portal) -> None:
    with all_tenants():
        refresh_reviews([portal.quarry, portal.millrace], today=dt.date.today())


@pytest.fixture
def told(portal):
    """Prices and a dozen repairs, most of them on one unit, worked out as the night would."""
    due, fresh, held = (portal.units[name] for name in ("due", "fresh", "held"))
    ModelTerms.objects.create(model=due.model, contractor=portal.quarry, price=Decimal(400), warranty_months=12)
    for number in range(12):
        factories.break_part(
            due, "carburetor", days=150 - 11 * number, parts_cost=Decimal(60), downtime_days=Decimal(2)
        )
    for unit in (fresh, held):
        factories.break_part(unit, "starter", days=8, parts_cost=Decimal(10))
    work_out(portal)
    return portal


def page_of(portal, name="due"):
    return reverse("unit_review", args=[portal.units[name].pk])


def test_the_list_opens_with_the_answer(told):
    page = text(told.client("owner").get(URL))
    assert "Of 3 units in use" in page
    assert "QH-01" in page
    assert "ME-01" not in page
    assert "Half-price rule" in page
    assert "A repair never takes the place of a recall" in page
    assert "How long to keep each model" in page


def test_nobody_else_sees_it(told):
    for who in ("boss", "technician", "manager", "stranger", "neighbor"):
        for url in (URL, reverse("reviews_csv"), reverse("buying"), reverse("buying_csv"), page_of(told)):
            assert told.client(who).get(url).status_code == 404, (who, url)
        assert told.client(who).post(page_of(told), {"decided": "keep"}).status_code == 404
    for url in (URL, reverse("reviews_csv"), reverse("buying"), reverse("buying_csv")):
        assert told.client("owner").get(url, {"contractor": told.millrace.pk}).status_code == 404
    assert not ReviewDecision.objects.model._base_manager.exists()


def test_htmx_gets_the_part_and_a_choice_narrows_the_list(told):
    with all_tenants():
        worst = UnitReview.objects.get(trimmer=told.units["due"]).advice
        other = next(a for a in ("keep", "replace", "look_closer") if a != worst)
    part = told.htmx("owner", URL).get(URL, {"show": other}).content.decode()
    assert part.lstrip().startswith('<div id="page">')
    assert "QH-01" not in part
    assert "QH-01" in text(told.client("owner").get(URL, {"show": worst}))
    assert "No unit found" in text(told.client("owner").get(URL, {"q": "nothing of the kind"}))
    assert "QH-01" in text(told.client("owner").get(URL, {"show": "odd"}))


def test_a_unit_says_why_and_takes_figures_to_try(told):
    client = told.client("owner")
    page = text(client.get(page_of(told)))
    assert "It has had 12 repairs on record" in page
    assert "This rests on" in page
    tried = text(client.get(page_of(told), {"price": 700, "rate": 60, "resale": 50, "down": 10}))
    assert "With these figures" in tried
    bad = client.get(page_of(told), {"price": 9_999_999, "rate": "x", "resale": 50, "down": 10})
    assert bad.status_code == 200
    assert "Choose a figure from" in text(bad)
    assert "9999999" in bad.content.decode()
    part = told.htmx("owner", page_of(told)).get(page_of(told), {"price": 700, "rate": 60, "resale": 50, "down": 10})
    assert "<html" not in part.content.decode()


def test_a_decision_is_kept_with_the_advice_of_the_day_and_once(told):
    client, press = told.client("owner"), str(uuid.uuid4())
    said = {"decided": "replace", "why": "Always in the shop", "client_entry_id": press}
    for _again in range(2):
        assert client.post(page_of(told), said).status_code == 302
    assert client.post(page_of(told), {**said, "decided": "keep"}).status_code == 422
    with all_tenants():
        decision = ReviewDecision.objects.get()
        row = UnitReview.objects.get(trimmer=told.units["due"])
    assert (decision.decided, decision.advice, decision.author) == ("replace", row.advice, told.people["owner"])
    assert decision.figures["repairs"] == 12
    page = text(client.get(page_of(told)))
    assert "Always in the shop" in page
    assert "Decisions, and what followed" in text(client.get(URL))


def test_bad_decisions_are_answered_on_the_page(told):
    bad = told.client("owner").post(page_of(told), {"decided": "sell", "why": "w" * 300})
    assert {"id_decided", "id_why"} <= errors(bad).keys()
    assert "w" * 300 in bad.content.decode()


def test_the_buying_list_follows_advice_and_decisions(told):
    client = told.client("owner")
    for name, decided in (("due", "replace"), ("fresh", "keep"), ("held", "keep")):
        client.post(page_of(told, name), {"decided": decided, "client_entry_id": str(uuid.uuid4())})
    page = text(client.get(reverse("buying")))
    assert "1 new unit for $400" in page
    assert "QH-01" in page
    rows = list(csv.DictReader(io.StringIO(client.get(reverse("buying_csv")).content.decode("utf-8-sig"))))
    assert [(row["model"], row["units"], row["decided"]) for row in rows] == [("Ostrel Heron", "1", "QH-01")]
    client.post(page_of(told), {"decided": "keep", "client_entry_id": str(uuid.uuid4())})
    assert "Nothing to buy" in text(client.get(reverse("buying")))


def test_what_followed_a_decision_is_counted(told):
    with all_tenants():
        unit = told.units["held"]
        ReviewDecision.objects.create(
            contractor=told.quarry, trimmer=unit, decided_on=factories.days_ago(60), decided="keep", advice="keep",
            figures={"keep_cost_next_season": 123.0},
        )  # fmt: skip
    page = text(told.client("owner").get(page_of(told, "held")))
    assert "1, $10" in page
    assert "$123" in page


def test_before_the_first_night_the_page_says_so(portal):
    assert "Not worked out yet" in text(portal.client("owner").get(URL))
    assert "Nothing to buy" in text(portal.client("owner").get(reverse("buying")))
    assert "Not worked out yet" in text(portal.client("owner").get(page_of(portal)))


def test_the_file_has_the_columns_of_the_command(told):
    rows = list(
        csv.DictReader(io.StringIO(told.client("owner").get(reverse("reviews_csv")).content.decode("utf-8-sig")))
    )
    assert [row["unit"] for row in rows] == ["QH-01", "QH-02", "QH-03"]
    assert set(rows[0]) >= {"advice", "spend_limit", "keep_cost_next_season"}


def test_as_many_queries_for_many_units(told):
    client = told.client("owner")
    few = queries(client, URL), queries(client, reverse("buying"))
    for number in range(20):
        factories.make_unit(told.north, f"QC-{number}", model=told.units["due"].model, run=5)
    work_out(told)
    assert (queries(client, URL), queries(client, reverse("buying"))) == few
