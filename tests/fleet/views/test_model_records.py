"""The model record's pages: what a model dies of and when to act, for those who may see it; no stranger's counts."""

from __future__ import annotations

import datetime as dt
import io
import json
import re
from dataclasses import replace

import pytest
from django.core.management import call_command
from django.urls import reverse

from fleet.models import FleetSample, TrimmerModel
from fleet.models.tenancy import all_tenants
from fleet.upkeep.fit_records import MisfitBin
from fleet.upkeep.fit_store import add_fits
from tests import factories
from tests.factories import make_fit, make_record
from tests.fleet.views.pages import PART, queries, text

SHAFT = make_fit("drive_shaft", clock="age", task=None, manual_hours=None, interval_hours=None, events=6, hours=9100.0)
SCREEN = make_fit("exhaust", task="arrestor", events=0, manual_hours=50.0, interval_hours=50.0, curve=None, fit=None)


@pytest.fixture
def model(portal) -> TrimmerModel:
    return portal.units["due"].model


def at(model, *component) -> str:
    return reverse("component_record" if component else "model_record", args=[model.pk, *component])


def own(contractor, model, **counts) -> None:
    """The contractor's own part of the record, as its scan left it."""
    with all_tenants():
        FleetSample.objects.create(contractor=contractor, content_key="made", rows=b"", counts={str(model.pk): counts})


@pytest.mark.parametrize("who", ["owner", "technician", "manager", "administrator"])
def test_the_answer_comes_first(portal, model, who):
    make_record(model, SHAFT, make_fit(), SCREEN)
    page = text(portal.client(who).get(reverse("model_records")))
    assert "Dies of: gearbox (14 failures in 9,300 h), drive shaft (6)." in page
    assert "drive shaft (6). Gearbox grease: every 18 h, not the manual's 25." in page
    assert "No interval is ever longer than the maker's manual says." in page


@pytest.mark.parametrize("name", ["model_records", "model_record", "model_record_print", "component_record"])
def test_crew_bosses_and_models_out_of_sight_are_404(portal, model, name):
    elsewhere = factories.make_model("Rook")
    verge = portal.people["stranger"].memberships.get().crew
    factories.make_unit(verge, "FV-01", model=elsewhere, run=None)
    make_record(model)
    make_record(elsewhere)
    of = [] if name == "model_records" else ["gearbox"] if name == "component_record" else [None]
    args = [] if not of else [model.pk, *filter(None, of)]
    assert portal.client("boss").get(reverse(name, args=args)).status_code == 404
    assert portal.client("owner").get(reverse(name, args=args)).status_code == 200
    if args:
        args[0] = elsewhere.pk
        assert portal.client("owner").get(reverse(name, args=args)).status_code == 404
        assert portal.client("manager").get(reverse(name, args=args)).status_code == 404
        assert portal.client("administrator").get(reverse(name, args=args)).status_code == 200
    else:
        assert "Rook" not in portal.client("manager").get(reverse(name)).content.decode()


def test_an_owner_elsewhere_with_a_crew_here_sees_no_record_of_here(portal):
    """A crew boss of one contractor who owns another sees what the other's units taught."""
    only_theirs = factories.make_model("Smew", "Kindrake")
    factories.make_unit(portal.park, "ME-9", model=only_theirs, run=None)
    make_record(only_theirs)
    person = factories.make_person("two.hats", "owner", contractor=portal.quarry)
    person.memberships.create(role="crew_boss", contractor=portal.millrace, crew=portal.park)
    portal.people["two"] = person
    assert portal.client("two").get(at(only_theirs)).status_code == 404
    assert "Smew" not in portal.client("two").get(reverse("model_records")).content.decode()


def test_components_stand_in_order_with_one_line_each(portal, model):
    make_record(model, SHAFT, make_fit(), SCREEN)
    page = text(portal.client("technician").get(at(model)))
    order = [
        page.index(words) for words in ("Gearbox 14 failures", "Drive shaft 6 failures", "Exhaust and arrestor no")
    ]
    assert order == sorted(order)
    assert "no failure in 9,300 h" in page
    assert "Arrestor screen clean: every 50 h, as the manual says." in page
    assert "No routine job renews it." in page


def test_a_component_tells_its_curve_and_what_it_rests_on(portal, model):
    make_record(model)
    response = portal.client("technician").get(at(model, "gearbox"))
    page, html = text(response), response.content.decode()
    for words in (
        "14 failures in 9,300 h . Gearbox grease: every 18 h, not the manual's 25.",
        "One in ten has failed by 19.5 h after the last gearbox grease (14 to 26).",
        "It wears out",
        "seen on 40 units",
        "It stands on its own record: 22 % borrowed from the other models. All models together: 61 failures",
        "With the guard off it failed 2.1 times as often (1.2 to 3.6).",
        "no proof of a cause",
        "The fitted curve agrees with what was seen.",
        "Scale, engine hours 60 h (48 to 79)",
        "The operator's manual and local rules come first.",
    ):
        assert words in page, words
    assert html.count('<svg class="plot"') == 2
    assert re.search(r"<details[^>]*><summary>The curve as a table", html)


def test_figures_on_the_page_are_those_of_the_command(portal, model):
    odd = make_fit(shape=1.83, shape_low=1.41, shape_high=2.39, scale=71.44, scale_low=50.2, scale_high=98.7,
                   interval_hours=17.3, guard_off_ratio=1.72, guard_off_low=0.94, guard_off_high=3.14)  # fmt: skip
    make_record(model, odd)
    said = io.StringIO()
    call_command("model_record", "--model", "Heron", "--component", "gearbox", "--format", "json", stdout=said)
    (row,) = json.loads(said.getvalue())
    page = text(portal.client("technician").get(at(model, "gearbox")))
    for words in (
        f"{row['events']} failures in",
        f"every {row['interval_hours']:.1f} h, not the manual's {row['manual_hours']:.0f}.",
        f"{row['shape']:.2f} ({row['shape_low']:.2f} to {row['shape_high']:.2f})",
        f"{row['scale']:.1f} h ({row['scale_low']:.1f} to {row['scale_high']:.1f})",
        f"{row['guard_off_ratio']:.2f} ({row['guard_off_low']:.2f} to {row['guard_off_high']:.2f})",
        f"failed by {row['b10_hours']:.1f} h",
        f"Mean life {row['mean_hours']:.1f} h",
        f"{100 * row['drawn']:.0f} % borrowed",
    ):
        assert words in page, words


def test_whose_rates_an_interval_stands_at_is_said(portal, model):
    make_record(model, make_fit(interval_hours=17.3))
    owner = text(portal.client("owner").get(at(model, "gearbox")))
    assert "the rates and the risk that Quarry Hill Grounds set" in owner
    shop = text(portal.client("technician").get(at(model, "gearbox")))
    assert "that most units of a model run under: a contractor with others" in shop


def test_htmx_gets_the_detail_alone(portal, model):
    make_record(model)
    html = portal.client("technician").get(at(model, "gearbox"), headers=PART).content.decode()
    assert html.strip().startswith('<div class="detail">')
    assert "<h1" not in html
    assert "<h4>" in html


def test_a_search_answers_htmx_with_the_list_alone(portal, model):
    factories.make_unit(portal.north, "QH-90", model=factories.make_model("Teal", "Kindrake"), run=None)
    html = portal.client("owner").get(reverse("model_records"), {"q": "kindrake"}, headers=PART).content.decode()
    assert html.strip().startswith('<div id="models">')
    assert "Kindrake Teal" in html
    assert "Heron" not in html


def test_a_bad_fit_is_told(portal, model):
    bad = replace(
        make_fit(),
        fit=replace(make_fit().fit, value=tuple(0.5 for _ in make_fit().fit.hours)),
        misfit=(MisfitBin(0.0, 20.0, 9.0, 3.2), MisfitBin(20.0, 40.0, 5.0, 5.5)),
    )
    make_record(model, bad)
    page = text(portal.client("technician").get(at(model, "gearbox")))
    assert "From 5 to 35 h the fitted curve leaves the limits of what was seen" in page
    assert "From 0 to 20 h 9 failures were seen where the fit expects 3.2." in page
    assert "From 20 to 40 h" not in page
    assert "agrees with what was seen" not in page


@pytest.mark.parametrize(("low", "told"), [(0.8, "cannot tell that from no difference"), (1.2, "no proof of a cause")])
def test_guards_go_with_failures_and_are_never_called_the_cause(portal, model, low, told):
    make_record(model, make_fit(guard_off_low=low))
    assert told in text(portal.client("owner").get(at(model, "gearbox")))


def test_a_ratio_that_is_not_known_is_said_to_be(portal, model):
    make_record(model, make_fit(guard_off_ratio=None, guard_off_low=None, guard_off_high=None))
    assert "cannot be told yet" in text(portal.client("owner").get(at(model, "gearbox")))


def test_with_two_contractors_behind_it_counts_go_to_those_whose_they_are(portal, model):
    make_record(model, make_fit(contractors=2))
    own(portal.quarry, model, gearbox=[5, 80, 3100.0])
    own(portal.millrace, model, gearbox=[9, 130, 6200.0])
    owner = portal.client("owner")
    for url in (
        reverse("model_records"),
        at(model),
        at(model, "gearbox"),
        reverse("model_record_print", args=[model.pk]),
    ):
        response = owner.get(url)
        page, html = text(response), response.content.decode()
        assert "5 failures in 3,100 h" in page
        for hidden in ("14 failures", "9,300", "40 units seen", "61 failures", "9 failures", "6,200"):
            assert hidden not in page, (url, hidden)
        # Steps of a curve would give the other's failures away one by one.
        assert 'class="limit"' not in html
    # The shop looks after both, so that both parts are its own to see.
    assert "14 failures in 9,300 h" in text(portal.client("technician").get(at(model)))


def test_nothing_is_made_up_where_nothing_is_known(portal, model):
    client = portal.client("manager")
    assert "No scan has run yet" in text(client.get(reverse("model_records")))
    assert "No scan has run yet" in text(client.get(at(model)))
    assert client.get(at(model, "gearbox")).status_code == 404
    nothing = dict.fromkeys(
        ("shape", "shape_low", "shape_high", "scale", "scale_low", "scale_high", "drawn", "b10_hours", "b10_low",
         "b10_high", "mean_hours", "guard_off_ratio", "guard_off_low", "guard_off_high", "mean_exposure", "curve",
         "fit", "repairs")
    )  # fmt: skip
    make_record(model, make_fit(events=0, rows=0, hours=0.0, units=0, pooled_events=0, interval_hours=25.0, **nothing))
    assert "No hours of it are on record yet" in text(client.get(at(model)))
    make_record(model, make_fit(events=0, pooled_events=0, interval_hours=25.0, **nothing))
    page = text(client.get(at(model, "gearbox")))
    assert "No failure on record in 9,300 h." in text(client.get(at(model)))
    assert "No failure in 9,300 h . Gearbox grease: every 25 h, as the manual says." in page
    assert "Too few failures in any model to say how it wears" in page
    assert "None" not in page
    assert "nan" not in page


def test_nothing_in_sight_says_what_will_stand_there(portal):
    with all_tenants():
        portal.people["new"] = factories.make_person(
            "new.owner", "owner", contractor=factories.make_contractor("Empty Lot Lawns")
        )
    assert "A model's record begins with its first unit" in text(portal.client("new").get(reverse("model_records")))


def test_recall_notices_of_the_model_stand_on_its_page(portal, model):
    make_record(model)
    factories.make_notice(model)
    page = text(portal.client("technician").get(at(model)))
    assert "Invented notice: the fuel cap may leak." in page
    assert "no repair takes its place" in page


def test_on_paper_stand_all_components_and_the_curves_of_what_failed(portal, model):
    make_record(model, SHAFT, make_fit(), SCREEN)
    response = portal.client("manager").get(reverse("model_record_print", args=[model.pk]))
    page, html = text(response), response.content.decode()
    assert "Arrestor screen clean: every 50 h, as the manual says." in page
    assert html.count('class="component-sheet"') == 2
    ids = re.findall(r'\bid="([^"]+)"', html)
    assert len(ids) == len(set(ids))


def test_the_latest_learning_stands(portal, model):
    make_record(model, make_fit(events=3))
    make_record(model, make_fit(events=4))
    assert "4 failures" in text(portal.client("owner").get(at(model)))


def test_as_many_queries_for_twenty_models_as_for_two(portal):
    client = portal.client("manager")
    factories.make_unit(portal.north, "U-1", model=factories.make_model("M1"), run=None)
    make_record(portal.units["due"].model)
    few = queries(client, reverse("model_records"))
    fits = {}
    for number in range(2, 20):
        made = factories.make_model(f"M{number}", grease=40)
        factories.make_unit(portal.north, f"U-{number}", model=made, run=None)
        fits |= {(made.pk, c): make_fit(c) for c in ("gearbox", "exhaust", "clutch")}
    add_fits(as_of=dt.date.today(), content_key="many", data={}, fits=fits, intervals={})
    assert queries(client, reverse("model_records")) == few
