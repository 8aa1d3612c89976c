"""The catalog's pages: what stands and whose it is, changed at one's own scope, refused in place."""

from __future__ import annotations

import pytest
from django.urls import reverse

from fleet.models import CatalogChange, DueFlag, ModelTerms, TaskInterval, TrimmerModel
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.fleet.views.pages import PART, errors, queries, text


@pytest.fixture
def model(portal) -> TrimmerModel:
    return portal.units["due"].model


def at(model, name="catalog_model", *more) -> str:
    return reverse(name, args=[model.pk, *more])


def say(**said):
    return {"hours": "", "months": "", "source": "maker", **said}


def test_models_in_use_with_what_is_known_of_them(portal, model):
    page = text(portal.client("owner").get(reverse("catalog")))
    assert "1 model in use, on 3 units." in page
    assert "Ostrel Heron" in page
    from_manual = TaskInterval.objects.filter(model=model).count()
    assert f"{from_manual} of 12 from the manual" in page


def test_a_shops_empty_figures_are_not_told_as_those_units_run_on(portal, model):
    """Contractors' own figures stand before the shop's: its page does not say that no manual's interval is known."""
    TaskInterval.objects.filter(model=model).update(contractor=portal.quarry, shop=None)
    page = text(portal.client("manager").get(reverse("catalog"), {"for": f"shop-{portal.shop.pk}"}))
    assert "entered for Alder Street Small Engine; contractors who entered it run on their own" in page
    assert "it runs on common practice" not in page


def test_a_search_answers_htmx_with_the_list_alone(portal, model):
    factories.make_unit(portal.north, "QH-90", model=factories.make_model("Teal", "Kindrake"), run=None)
    response = portal.client("owner").get(reverse("catalog"), {"q": "kindrake"}, headers=PART)
    html = response.content.decode()
    assert html.strip().startswith('<div id="models">')
    assert "Kindrake Teal" in html
    assert "Heron" not in html


def test_each_figure_says_where_it_is_from_and_whose_it_is(portal, model):
    page = text(portal.client("owner").get(at(model)))
    assert (
        "Gearbox grease 50 h 12 hours: maker's manual, the portal's months: common practice, check the manual" in page
    )
    assert "Clean the exhaust port 150 h – common practice, check the manual" in page


def test_crew_bosses_see_intervals_but_no_prices_and_change_nothing(portal, model):
    ModelTerms.objects.create(model=model, price=389)
    page = text(portal.client("boss").get(at(model)))
    assert "Gearbox grease" in page
    assert "389" not in page
    assert "Change" not in page
    assert "$389.00" in text(portal.client("owner").get(at(model)))


@pytest.mark.parametrize(("who", "scope"), [("owner", "contractor"), ("manager", "shop"), ("administrator", "portal")])
def test_everyone_changes_their_own_scope(portal, model, who, scope):
    response = portal.client(who).post(at(model, "catalog_task", "grease"), say(hours="30"), follow=True)
    assert "Saved." in text(response)
    row = TaskInterval.objects.get(model=model, task="grease", hours=30)
    assert (row.contractor_id, row.shop_id) == {
        "contractor": (portal.quarry.pk, None),
        "shop": (None, portal.shop.pk),
        "portal": (None, None),
    }[scope]
    assert CatalogChange.objects.get(task="grease").author == portal.people[who]
    with all_tenants():
        due = DueFlag.objects.get(trimmer=portal.units["due"], task="grease")
        theirs = DueFlag.objects.get(trimmer=portal.units["theirs"], task="grease")
    assert due.interval_hours == 30
    assert theirs.interval_hours == (50 if scope == "contractor" else 30)


def test_htmx_changes_one_row_in_its_place(portal, model):
    client, url = portal.client("owner"), at(model, "catalog_task", "plug")
    form = client.get(url, headers=PART).content.decode()
    assert form.strip().startswith('<tr id="task-plug">')
    row = client.post(url, say(hours="90"), headers=PART).content.decode()
    assert row.strip().startswith('<tr id="task-plug">')
    assert "90 h" in row
    assert "<html" not in row
    bad = client.post(url, say(hours="often"), headers=PART)
    assert bad.status_code == 422
    assert bad.content.decode().strip().startswith('<tr id="task-plug">')


@pytest.mark.parametrize(
    ("said", "field"),
    [
        ({"hours": "often"}, "hours"),
        ({"hours": "-5"}, "hours"),
        ({"hours": "0"}, "hours"),
        ({"hours": "99999"}, "hours"),
        ({"hours": "NaN"}, "hours"),
        ({"hours": "10.25"}, "hours"),
        ({"months": "2.5"}, "months"),
        ({"source": "hearsay"}, "source"),
    ],
)
def test_bad_figures_are_answered_on_the_page(portal, model, said, field):
    response = portal.client("owner").post(at(model, "catalog_task", "plug"), say(**said))
    assert list(errors(response)) == [f"id_plug_{field}"]
    assert not TaskInterval.objects.filter(contractor=portal.quarry).exists()


def test_blank_none_and_a_figure_are_three_answers(portal, model):
    client, url = portal.client("owner"), at(model, "catalog_task", "mounts")
    client.post(url, say(hours="40", months="none"))
    row = TaskInterval.objects.get(contractor=portal.quarry, task="mounts")
    assert (row.hours, row.hours_given, row.months, row.months_given) == (40, True, None, True)
    assert 'value="none"' in client.get(url).content.decode()
    client.post(url, say())
    row.refresh_from_db()
    assert (row.hours_given, row.months_given) == (False, False)
    assert "common practice, check the manual" in text(client.get(at(model)))


def test_beyond_the_manual_only_with_a_tick(portal, model):
    client, url = portal.client("owner"), at(model, "catalog_task", "grease")
    refused = client.post(url, say(hours="60", source="practice"))
    assert "cannot go beyond the manual" in errors(refused)["id_grease_hours"]
    asked = client.post(url, say(hours="60"))
    assert "The manual for these machines says so" in text(asked, 422)
    assert not TaskInterval.objects.filter(contractor=portal.quarry).exists()
    client.post(url, say(hours="60", confirmed="on"))
    assert TaskInterval.objects.get(contractor=portal.quarry).hours == 60


def test_figures_are_saved_and_bad_ones_named(portal, model):
    client, url = portal.client("owner"), at(model, "catalog_figures")
    said = {"price": "389", "warranty_months": "0", "resale_share_per_season": "60", "group_engine": "36"}
    assert "Saved." in text(client.post(url, said, follow=True))
    terms = ModelTerms.objects.get(model=model, contractor=portal.quarry)
    assert (terms.price, terms.warranty_months, str(terms.resale_share_per_season)) == (389, 0, "0.6000")
    assert terms.warranty_by_group == {"engine": 36}
    bad = client.post(url, {"price": "-1", "vibration_ms2": "4.9"})
    assert errors(bad).keys() == {"id_price", "id_vibration_source"}


def test_nobody_changes_another_scope(portal, model):
    for who, scope in (
        ("owner", "portal"),
        ("owner", f"shop-{portal.shop.pk}"),
        ("manager", f"contractor-{portal.quarry.pk}"),
    ):
        url = f"{at(model, 'catalog_task', 'grease')}?for={scope}"
        assert portal.client(who).post(url, say(hours="10")).status_code == 404
    assert not CatalogChange.objects.exists()


def test_a_model_is_added_and_a_stranger_does_not_see_it(portal):
    response = portal.client("owner").post(reverse("catalog_add"), {"maker": "Kindrake", "name": "Smew"}, follow=True)
    assert "Kindrake Smew" in text(response)
    model = TrimmerModel.objects.get(name="Smew")
    assert portal.client("stranger").get(at(model)).status_code == 404
    assert "id_name" in errors(portal.client("owner").post(reverse("catalog_add"), {"maker": "Kindrake"}))


def test_unknown_tasks_and_models_are_404(portal, model):
    client = portal.client("owner")
    assert client.get(reverse("catalog_model", args=[10**12])).status_code == 404
    assert client.get(at(model, "catalog_task", "polish")).status_code == 404
    assert client.get(reverse("catalog"), {"for": "portal"}).status_code == 404


def test_as_many_queries_for_twenty_models_as_for_two(portal):
    client = portal.client("manager")
    factories.make_unit(portal.north, "U-1", model=factories.make_model("M1"), run=None)
    few = queries(client, reverse("catalog"))
    for number in range(2, 20):
        factories.make_unit(portal.north, f"U-{number}", model=factories.make_model(f"M{number}", grease=40), run=None)
    assert queries(client, reverse("catalog")) == few
