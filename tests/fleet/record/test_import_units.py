"""Importing contractors, models and units: whose they are, which tags are taken, what a second file may change."""

import datetime as dt
from decimal import Decimal as D

import pytest

from fleet.models import (
    Arrangement,
    CatalogChange,
    Contractor,
    Crew,
    GuardCheck,
    ModelTerms,
    Retirement,
    Shop,
    TaskInterval,
    Trimmer,
    TrimmerModel,
)
from fleet.models.tenancy import all_tenants

from .folders import TWO, UNITS, bad, take

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _every_tenant():
    with all_tenants():
        yield


def test_without_a_shop_the_only_one_else_one_named_shop():
    take(units=TWO)
    assert Arrangement.objects.get().shop.name == "Shop"
    take("Fenwick Verge Care", units=TWO)
    assert Shop.objects.count() == 1
    Shop.objects.create(name="Another")
    take("Millrace Estates", units=TWO, shop="Alder Street Small Engine")
    assert Arrangement.objects.get(contractor__name="Millrace Estates").shop.name == "Alder Street Small Engine"


def test_without_a_contractor_the_only_one_else_an_error_that_says_what_to_do():
    report = take("", units=TWO)
    assert bad(report) == [("units", 2, "contractor", "")]
    assert "contractor column" in report.bad[0].reason
    take(units=TWO)
    assert take("", guard="unit,date,guard\nT1,2026-04-01,on\n").added == {"guard.csv": 1}
    take("Fenwick Verge Care", units=TWO)
    report = take("", guard="unit,date,guard\nT1,2026-04-02,on\nT1,2026-04-03,on\n")
    assert bad(report) == [("guard", 2, "contractor", "")]


def test_names_are_compared_without_case_spaces_and_hyphens():
    take(units=TWO)
    report = take(
        " quarry hill  GROUNDS",
        units=UNITS + "t-3,north,OSTREL,wren,2026-03-01,0\n",
        guard="unit,date,guard\nT 3,2026-04-01,on\n",
    )
    assert not report.bad
    assert (Contractor.objects.count(), Crew.objects.count(), TrimmerModel.objects.count()) == (1, 2, 2)


def test_a_tag_means_the_unit_that_wore_it_on_that_date():
    report = take(
        units="unit,maker,model,registered_on,retired_on,retired_why\nT1,Ostrel,Wren,2024-03-01,2025-10-01,sold\n"
        "T1,Ostrel,Heron,2026-03-01,,\n",
        guard="unit,date,guard\nT1,2025-05-01,off\nT1,2026-05-01,on\nT1,2025-12-01,on\n",
    )
    assert bad(report) == [("guard", 4, "date", "2025-12-01")]
    take(guard="unit,date,guard\nT1,2025-05-01,off\nT1,2026-05-01,on\n")
    worn = GuardCheck.objects.order_by("occurred_on").values_list("trimmer__model__name", flat=True)
    assert list(worn) == ["Wren", "Heron"]
    assert Retirement.objects.get().why == "sold"


def test_a_tag_in_use_cannot_be_given_twice():
    report = take(units=TWO + "t-1,North,Ostrel,Wren,2026-05-01,0\n")
    assert bad(report) == [("units", 4, "unit", "t-1")]
    assert not Trimmer.objects.exists()


def test_two_contractors_that_share_a_tag_need_a_contractor_column():
    both = "contractor,unit,maker,model,registered_on\nA,T1,Ostrel,Wren,2026-03-01\nB,T1,Ostrel,Wren,2026-03-01\n"
    both += "B,T2,Ostrel,Wren,2026-03-01\n"
    report = take("", units=both, guard="unit,date,guard\nT2,2026-04-01,on\nT1,2026-04-01,on\n")
    assert bad(report) == [("guard", 3, "unit", "T1")]
    report = take("", units=both, guard="unit,contractor,date,guard\nT2,,2026-04-01,on\nT1,b,2026-04-01,on\n")
    assert not report.bad
    owners = GuardCheck.objects.order_by("pk").values_list("trimmer__contractor__name", flat=True)
    assert list(owners) == ["B", "B"]


def test_a_units_file_read_again_fills_blanks_and_retires_but_never_contradicts():
    take(units=TWO)
    head = "unit,crew,maker,model,serial,registered_on,retired_on,retired_why\n"
    report = take(units=head + "T1,North,Ostrel,Wren,OW123,2026-03-01,2026-06-01,sold\n")
    assert report.added == {"units.csv": 1}
    unit = Trimmer.objects.get(tag="T1")
    assert (unit.serial, unit.retired_on) == ("OW123", dt.date(2026, 6, 1))
    assert take(units=head + "T1,North,Ostrel,Wren,OW123,2026-03-01,2026-06-01,sold\n").repeated == {"units.csv": 1}
    for row, column in (
        ("T1,North,Ostrel,Wren,OW999,2026-03-01,,", "serial"),
        ("T2,East,Ostrel,Heron,,2026-03-01,,", "crew"),
        ("T2,South,Ostrel,Wren,,2026-03-01,,", "model"),
        ("T1,North,Ostrel,Wren,,2026-03-01,2026-06-02,", "retired_on"),
    ):
        report = take(units=head + row + "\n")
        assert [b[2] for b in bad(report)] == [column]


def test_a_unit_with_later_entries_cannot_be_retired_before_them():
    take(units=TWO, guard="unit,date,guard\nT1,2026-06-01,on\n")
    report = take(units="unit,maker,model,registered_on,retired_on\nT1,Ostrel,Wren,2026-03-01,2026-05-01\n")
    assert bad(report) == [("units", 2, "retired_on", "2026-05-01")]
    # The refused retirement is not held against other files.
    report = take(
        units="unit,maker,model,registered_on,retired_on\nT2,Ostrel,Heron,2026-03-01,2026-05-01\nT1,,?,x,\n",
        guard="unit,date,guard\nT2,2026-06-01,on\n",
    )
    assert report.added["guard.csv"] == 1


def test_a_unit_without_dates_is_registered_when_bought_or_first_spoken_of():
    report = take(
        units="unit,maker,model,bought_on\nT1,Ostrel,Wren,2026-02-01\nT2,Ostrel,Wren,\n",
        guard="unit,date,guard\nT2,2026-04-05,on\nT2,2026-04-01,on\n",
    )
    assert not report.bad
    dates = dict(Trimmer.objects.values_list("tag", "registered_on"))
    assert dates == {"T1": dt.date(2026, 2, 1), "T2": dt.date(2026, 4, 1)}
    assert bad(take(units="unit,maker,model\nT3,Ostrel,Wren\n")) == [("units", 2, "registered_on", "")]


def test_models_terms_belong_to_the_contractor_and_blanks_change_nothing():
    head = "maker,model,price,grease_hours,grease_months,port_hours,port_months\n"
    take(units=TWO, models=head + "Ostrel,Wren,329,40,none,,\n")
    terms = ModelTerms.objects.get()
    assert (terms.price, terms.contractor.name) == (329, "Quarry Hill Grounds")
    interval = TaskInterval.objects.get()
    assert (interval.hours, interval.hours_given, interval.months, interval.months_given) == (40, True, None, True)
    assert interval.source == "maker"
    assert take(models=head + "Ostrel,Wren,,,,,\n").repeated == {"models.csv": 1}
    assert take(models=head + "ostrel,WREN,339,,,none,\n").added == {"models.csv": 1}
    assert ModelTerms.objects.get().price == 339
    assert TaskInterval.objects.count() == 2


def test_figures_of_the_shop_that_stand_already_are_not_repeated_for_the_contractor():
    take(units=TWO)
    shop, model = Shop.objects.get(), TrimmerModel.objects.get(name="Wren")
    ModelTerms.objects.create(model=model, shop=shop, price=329)
    assert take(models="maker,model,price\nOstrel,Wren,329\n").repeated == {"models.csv": 1}
    assert ModelTerms.objects.count() == 1


def test_models_speak_for_every_contractor_of_the_import():
    units = "contractor,unit,maker,model,registered_on\nA,T1,Ostrel,Wren,2026-03-01\nB,T1,Ostrel,Wren,2026-03-01\n"
    take("", units=units, models="maker,model,price\nOstrel,Wren,329\n")
    assert {t.contractor.name for t in ModelTerms.objects.all()} == {"A", "B"}


def test_an_import_bound_to_a_contractor_touches_no_other():
    take(units=TWO)
    take("Fenwick Verge Care", units=TWO)
    fenwick = Contractor.objects.get(name="Fenwick Verge Care")
    guard = "unit,contractor,date,guard\nT1,Quarry Hill Grounds,2026-04-01,on\nT1,,2026-04-01,on\n"
    report = take("Fenwick Verge Care", only=[fenwick.pk], guard=guard)
    assert bad(report) == [("guard", 2, "contractor", "Quarry Hill Grounds")]
    report = take("Millrace Estates", only=[fenwick.pk], units=TWO)
    assert report.bad
    report = take("", only=[fenwick.pk], contractors="contractor,shop\nFenwick Verge Care,Another Shop\n")
    assert bad(report) == [("contractors", 2, "shop", "Another Shop")]
    report = take("", only=[fenwick.pk], contractors="contractor,season_opens\nQuarry Hill Grounds,04-01\n")
    assert bad(report) == [("contractors", 2, "contractor", "Quarry Hill Grounds")]


def test_contractor_settings_are_changed_where_the_file_fills_them():
    take(units=TWO)
    text = "contractor,labour_rate,risk_limit,resale\nQuarry Hill Grounds,$95,5%,\n"
    assert take(contractors=text).added == {"contractors.csv": 1}
    assert take(contractors=text).repeated == {"contractors.csv": 1}
    contractor = Contractor.objects.get()
    assert (contractor.labour_rate, contractor.risk_limit, contractor.resale) == (95, D("0.05"), D("0.15"))


def test_the_maker_may_be_left_out_where_the_model_is_known():
    take(units=TWO)
    assert not take(units="unit,model,registered_on\nT3,wren,2026-03-01\n").bad
    assert bad(take(units="unit,model,registered_on\nT4,Rook,2026-03-01\n")) == [("units", 2, "maker", "")]


def test_changes_of_the_catalog_are_kept_with_their_date():
    head = "maker,model,price,grease_hours\n"
    take(units=TWO, models=head + "Ostrel,Wren,329,40\n")
    take(models=head + "Ostrel,Wren,339,none\n")
    kept = CatalogChange.objects.order_by("pk").values_list("what", "task", "before", "after")
    assert list(kept)[2:] == [
        ("terms", "", {"price": "329"}, {"price": "339"}),
        (
            "interval",
            "grease",
            {"hours": "40", "months": None, "source": "maker"},
            {"hours": "none", "months": None, "source": "maker"},
        ),
    ]


def test_common_practice_is_not_entered_beyond_the_makers_manual():
    take(units=TWO)
    shop, model = Shop.objects.get(), TrimmerModel.objects.get(name="Wren")
    TaskInterval.objects.create(model=model, shop=shop, task="grease", hours=40, hours_given=True, source="maker")
    head = "maker,model,grease_hours,grease_source\nOstrel,Wren,"
    assert bad(take(models=head + "50,practice\n")) == [("models", 2, "grease_hours", "50")]
    assert not take(models=head + "30,practice\n").bad
    assert not take(models=head + "45,maker\n").bad
