"""The catalog's writers: whose figure stands, what the manual allows, what is kept, which flags follow."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fleet.models import CatalogChange, DueFlag, TaskInterval, TrimmerModel
from fleet.models.tenancy import all_tenants
from fleet.record.catalog import Limit, add_model, refresh_after_change, set_interval, set_terms, units_touched
from fleet.record.writing import Refused
from fleet.upkeep.catalog import CONTRACTOR, PORTAL, SHOP, Holder, model_sheets
from tests import factories

pytestmark = pytest.mark.django_db
NOT_GIVEN = Limit(False)


@pytest.fixture
def world():
    shop = factories.make_shop()
    contractor = factories.make_contractor(shop=shop)
    crew = factories.make_crew(contractor)
    model = factories.make_model("Wren")
    unit = factories.make_unit(crew, model=model, run=60)
    return {
        "model": model,
        "unit": unit,
        "by": factories.make_person("o", "owner", contractor=contractor),
        "contractor": Holder(CONTRACTOR, contractor.name, contractor_id=contractor.pk),
        "shop": Holder(SHOP, shop.name, shop_id=shop.pk),
        "portal": Holder(PORTAL),
    }


def say(world, who, hours, months=NOT_GIVEN, task="grease", source="maker", **more):
    hours = hours if isinstance(hours, Limit) else Limit(True, Decimal(hours))
    return set_interval(
        model=world["model"],
        task=task,
        holder=world[who],
        hours=hours,
        months=months,
        source=source,
        by=world["by"],
        **more,
    )


def stands(world, who="contractor", task="grease"):
    with all_tenants():
        figure = model_sheets([world["model"]], world[who])[0].task(task).hours
    return figure.value, figure.whose, figure.source


def test_the_nearest_figure_stands_and_says_whose_it_is(world):
    assert stands(world) == (50, "", "practice")
    say(world, "portal", 48)
    assert stands(world) == (48, "portal", "maker")
    say(world, "shop", 40)
    assert stands(world) == (40, "shop", "maker")
    say(world, "contractor", 30)
    assert stands(world) == (30, "contractor", "maker")
    assert stands(world, "shop") == (40, "shop", "maker")
    assert stands(world, "portal") == (48, "portal", "maker")
    say(world, "contractor", NOT_GIVEN)
    assert stands(world) == (40, "shop", "maker")


def test_does_not_apply_is_told_from_not_given(world):
    say(world, "contractor", Limit(True, None))
    assert stands(world) == (None, "contractor", "maker")


def test_common_practice_never_goes_beyond_the_manual(world):
    say(world, "shop", 40)
    for longer in (Limit(True, Decimal(50)), Limit(True, None)):
        with pytest.raises(Refused) as refused:
            say(world, "contractor", longer, source="practice")
        assert refused.value.field == "hours"
        assert not refused.value.ask
    say(world, "contractor", 35, source="practice")
    assert stands(world) == (35, "contractor", "practice")


def test_another_manual_goes_beyond_only_when_confirmed(world):
    say(world, "shop", 40)
    with pytest.raises(Refused) as refused:
        say(world, "contractor", 45)
    assert refused.value.ask
    assert say(world, "contractor", 45, confirmed=True)
    assert stands(world) == (45, "contractor", "maker")


def test_each_change_is_kept_and_the_same_again_is_none(world):
    assert say(world, "contractor", 30)
    assert not say(world, "contractor", 30)
    assert say(world, "contractor", 25, Limit(True, Decimal(12)))
    first, second = CatalogChange.objects.order_by("pk")
    assert first.before == {"hours": None, "months": None, "source": None}
    assert first.after == {"hours": "30", "months": None, "source": "maker"}
    assert second.before == first.after
    assert second.after["months"] == "12"
    assert second.author == world["by"]
    assert second.contractor_id == world["contractor"].contractor_id
    assert TaskInterval.objects.filter(model=world["model"]).count() == 1


def test_due_hours_follow_a_change(world):
    def due():
        with all_tenants():
            flag = DueFlag.objects.get(trimmer=world["unit"], task="grease")
        return flag.due_hours, flag.manual_source

    assert due() == (50, "practice")
    say(world, "shop", 30)
    touched = units_touched(model=world["model"], holder=world["shop"])
    assert touched == [world["unit"].pk]
    refresh_after_change(unit_ids=touched)
    assert due() == (30, "maker")


def test_a_change_touches_only_units_that_rest_on_it(world):
    elsewhere = factories.make_crew(factories.make_contractor("Fenwick Verge Care", factories.make_shop("Other")))
    theirs = factories.make_unit(elsewhere, model=world["model"], run=None)
    mine = world["unit"].pk
    assert units_touched(model=world["model"], holder=world["contractor"]) == [mine]
    assert units_touched(model=world["model"], holder=world["shop"]) == [mine]
    assert sorted(units_touched(model=world["model"], holder=world["portal"])) == sorted([mine, theirs.pk])


def test_terms_can_be_given_and_given_back(world):
    def save(**values):
        return set_terms(
            model=world["model"], holder=world["contractor"], values=values, groups={"engine": 36}, by=world["by"]
        )

    assert save(price=Decimal("389.00"), warranty_months=24)
    assert not save(price=Decimal("389"), warranty_months=24)
    assert save(price=None, warranty_months=24)
    with all_tenants():
        sheet = model_sheets([world["model"]], world["contractor"])[0]
    assert sheet.terms["price"].value is None
    assert sheet.terms["warranty_months"].value == 24
    assert sheet.groups["engine"].value == 36
    last = CatalogChange.objects.latest("pk")
    assert (last.before, last.after) == ({"price": "389"}, {"price": None})


def test_a_model_is_the_same_however_it_is_spelled(world):
    add_model(maker="Kindrake", name="Teal", holder=world["contractor"], by=world["by"])
    add_model(maker=" kindrake ", name="TEAL", holder=world["shop"], by=world["by"])
    assert TrimmerModel.objects.filter(maker="Kindrake").count() == 1
    assert CatalogChange.objects.filter(what="model").count() == 1
    with pytest.raises(Refused) as refused:
        add_model(maker="  ", name="Teal", holder=world["shop"], by=world["by"])
    assert refused.value.field == "maker"
