"""Two models' repairs per unit on the screen: the answer, the test by name, what it does not prove, for whom."""

from __future__ import annotations

import datetime as dt
from dataclasses import asdict

import numpy as np
import pytest
from django.urls import reverse

from fleet.models import TrimmerModel
from fleet.models.tenancy import all_tenants
from fleet.reliability import compare_repairs
from fleet.upkeep.fit_records import Curve
from fleet.upkeep.fit_store import add_fits
from fleet.upkeep.model_repairs import ModelPair, models_compared
from fleet.upkeep.sample_packs import Samples
from fleet.views.model_comparison import chance_words
from tests import factories
from tests.factories import make_fit
from tests.fleet.views.pages import queries, text

NAME = "model_comparison"
OFTEN = Curve("mean_repairs", (50.0, 120.0, 260.0), (0.5, 1.4, 3.1), (0.3, 1.0, 2.4), (0.8, 2.0, 4.0), (40, 30, 20))
SELDOM = Curve("mean_repairs", (60.0, 220.0, 700.0), (0.1, 0.6, 2.0), (0.1, 0.4, 1.4), (0.3, 1.0, 2.9), (40, 30, 9))


def learned(first: TrimmerModel, second: TrimmerModel, p_value: float, fleets: tuple[int, ...]) -> None:
    pair = ModelPair(first.pk, second.pk, 6.25, p_value, (40, 51), (61, 33), 250.0, fleets)
    data = {
        "repairs": {str(first.pk): asdict(OFTEN), str(second.pk): asdict(SELDOM)},
        "compared": [asdict(pair)] if fleets else [],
    }
    fits = {(model.pk, "gearbox"): make_fit() for model in (first, second)}
    add_fits(as_of=dt.date.today(), content_key="made for a test", data=data, fits=fits, intervals={})


@pytest.fixture
def two(portal) -> tuple[TrimmerModel, TrimmerModel]:
    """The portal's model, with most units, and another one that runs with it."""
    other = factories.make_model("Rook")
    factories.make_unit(portal.north, "QH-50", model=other)
    return portal.units["due"].model, other


@pytest.mark.parametrize("who", ["owner", "technician", "manager", "administrator"])
def test_the_answer_comes_first_and_the_test_is_named(portal, two, who):
    learned(*two, 0.0124, (1, 2, 3))
    page = text(portal.client(who).get(reverse(NAME), {"first": two[0].pk, "second": two[1].pk}))
    # To the last 50 hours at which both are on record: 260 h of the first.
    assert f"By 250 engine hours: {two[0]} 1.4 repairs per unit, {two[1]} 0.6 ." in page
    assert "The record tells the two apart : were they alike, chance would show this much in 1 of 100 records" in page
    assert "pseudo-score test of equal mean repairs (Cook, Lawless and Nadeau, 1996)" in page
    assert f"{two[0]}: 61 repairs of 40 units; {two[1]}: 33 repairs of 51 units" in page
    assert "Chi-square 6.25 on 1 degree of freedom, p = 0.012" in page
    assert "What it does not prove" in page
    assert page.index("engine hours") < page.index("pseudo-score")


def test_turned_round_the_counts_turn_too(portal, two):
    learned(*two, 0.0124, (1, 2, 3))
    page = text(portal.client("owner").get(reverse(NAME), {"first": two[1].pk, "second": two[0].pk}))
    assert f"{two[1]}: 33 repairs of 51 units; {two[0]}: 61 repairs of 40 units" in page


def test_what_chance_would_show_often_proves_nothing_either_way(portal, two):
    learned(*two, 0.37, (1, 2, 3))
    page = text(portal.client("owner").get(reverse(NAME)))
    assert (
        "The record cannot tell the two apart : were they alike, chance would still show this much in 37 of 100" in page
    )
    assert "That does not prove them alike." in page


def test_counts_of_few_fleets_go_only_to_those_whose_own_they_are(portal, two):
    quarry, millrace = portal.quarry.pk, portal.millrace.pk
    learned(*two, 0.012, (quarry, millrace))
    page = text(portal.client("owner").get(reverse(NAME)))
    assert "cannot be told: too few units of both in shared fleets" in page
    assert "61 repairs" not in page
    # The shop looks after both.
    assert "61 repairs of 40 units" in text(portal.client("manager").get(reverse(NAME)))
    learned(*two, 0.012, (quarry,))
    assert "61 repairs of 40 units" in text(portal.client("owner").get(reverse(NAME)))


def test_nothing_to_compare_is_said(portal, two):
    assert "Nothing to compare yet" in text(portal.client("owner").get(reverse(NAME)))
    learned(*two, 0.5, ())
    assert "too few units of both" in text(portal.client("owner").get(reverse(NAME)))


def test_models_out_of_sight_and_crews_are_404(portal, two):
    elsewhere = factories.make_model("Smew", "Kindrake")
    verge = portal.people["stranger"].memberships.get().crew
    factories.make_unit(verge, "FV-07", model=elsewhere, run=None)
    learned(two[0], elsewhere, 0.5, (1, 2, 3))
    assert portal.client("owner").get(reverse(NAME), {"second": elsewhere.pk}).status_code == 404
    assert portal.client("boss").get(reverse(NAME)).status_code == 404
    assert portal.client("owner").get(reverse(NAME), {"first": "Rook"}).status_code == 404
    assert "Smew" not in text(portal.client("owner").get(reverse(NAME)))


def test_htmx_gets_the_part_that_changes_and_one_model_twice_is_two(portal, two):
    learned(*two, 0.5, (1, 2, 3))
    part = portal.htmx("owner", reverse(NAME)).get(reverse(NAME), {"first": two[0].pk, "second": two[0].pk})
    assert part.content.decode().lstrip().startswith('<div id="page">')
    assert "<html" not in part.content.decode()
    assert f"Thin steps between dotted lines: {two[0]}. Thick steps on the pale band: {two[1]}." in text(part)


def test_chance_in_words():
    assert chance_words(0.0004) == "fewer than 1 of 1,000 records"
    assert chance_words(0.0042) == "4 of 1,000 records"
    assert chance_words(0.052) == "5 of 100 records"


def test_the_night_compares_within_fleets_what_the_rows_say():
    """Spells of components become one window and all repairs of each unit; the answer is that of the plain function."""
    rng = np.random.default_rng(3)
    units, spells = 40, []
    for unit in range(units):
        end = rng.uniform(200, 400)
        for stream in (1, 2):
            at = 0.0
            while True:
                gap = rng.exponential(90 if unit % 2 else 140)
                failed = at + gap < end
                upto = min(at + gap, end)
                # On the unit's clock from ``at``; on the component's own, which began when it was fitted, from 0.
                spells.append((unit, unit % 2, unit % 3, stream, 0.0, upto - at, upto - at if failed else np.inf, at))
                at = upto
                if not failed:
                    break
    names = ("unit", "model", "contractor", "stream", "entry", "lower", "upper", "at")
    columns = {name: np.array([row[k] for row in spells]) for k, name in enumerate(names)}
    columns |= {"u_model": np.arange(units) % 2}
    (pair,) = models_compared(Samples(columns))
    hit = np.isfinite(columns["upper"])
    when = columns["at"] + columns["lower"]
    ends = np.array([when[columns["unit"] == unit].max() for unit in range(units)])
    number = np.arange(units)
    plain = compare_repairs(columns["unit"][hit], when[hit], number, 0, ends, number % 2, stratum=number % 3)
    assert pair.statistic == pytest.approx(plain.statistic)
    assert (pair.first, pair.second, pair.fleets) == (0, 1, (0, 1, 2))
    assert pair.repairs == plain.repairs
    assert ModelPair.from_data(asdict(pair)) == pair


def test_the_same_number_of_queries_for_many_models(portal, two):
    learned(*two, 0.5, (1, 2, 3))
    few = queries(portal.client("owner"), reverse(NAME))
    with all_tenants():
        for number in range(6):
            factories.make_unit(portal.north, f"QM-{number}", model=factories.make_model(f"M{number}"), run=None)
    assert queries(portal.client("owner"), reverse(NAME)) == few
