"""Keep or replace: against plain arithmetic on the exported files, and rule by rule."""

from __future__ import annotations

import datetime as dt
import io
import json
from dataclasses import replace

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from fleet.models import Contractor, Failure, ReviewBasis, Trimmer, UnitReview
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import export_files
from fleet.record.importing import import_files
from fleet.reliability import fit_power_law
from fleet.upkeep.repair_basis import Basis, ModelFacts, basis_of
from fleet.upkeep.repair_record import UnitFacts, repair_record
from fleet.upkeep.review import KEEP, LOOK_CLOSER, REPLACE, Reviewer, WhatIf
from fleet.upkeep.review_store import refresh_reviews
from fleet.upkeep.review_words import review_sentences
from tests import factories
from tests.fleet.upkeep.misuse_by_hand import ByHand
from tests.fleet.upkeep.misuse_fleet import files_of

AS_OF = "2024-12-20"
UNIT_KEYS = [
    "unit", "crew", "model", "hours", "age_seasons", "keep_cost_next_season", "replace_cost_per_season", "advice",
    "spend_limit", "warranty_until", "reasons",
]  # fmt: skip


def command(name: str = "hollow grounds", *words: str) -> dict:
    out = io.StringIO()
    call_command("review", "--contractor", name, "--format", "json", *words, stdout=out)
    return json.loads(out.getvalue())


@pytest.mark.django_db
def test_the_command_agrees_with_plain_arithmetic_on_the_exported_files():
    import_files(files_of(4), today=dt.date(2024, 12, 20))
    with all_tenants():
        files = {name: data for name, data, _rows in export_files(Contractor.objects.all())}
    hand = ByHand(files, dt.date(2024, 4, 1), dt.date(2024, 12, 31))
    told = command("hollow grounds", "--as-of", AS_OF)
    assert list(told) == ["units", "models"]
    assert [list(row) for row in told["units"]] == [UNIT_KEYS] * len(hand.units)
    last = dt.date(2024, 10, 25)
    events = [(row["unit"], hand.hours_by(row["unit"], row["day"])) for row in hand.dated("failures")]
    units = {row["unit"]: row for row in told["units"]}
    for unit in hand.units:
        row = units[unit]
        # Nobody logged after the last Friday, so the usual weeks are added: never fewer hours than the meter.
        assert row["hours"] >= hand.hours_by(unit, last) - 0.06
        assert row["age_seasons"] == 1
        assert row["warranty_until"] == "2026-02-28"
        assert row["crew"] == hand.crew_on(unit, last)
    # Repairs by hours: the power law through the same windows, counted out by hand.
    start = {unit: hand.meter[unit][0][1] for unit in hand.units}
    record = (
        [u for u, _h in events], [max(h, start[u] + 1e-3) for u, h in events], hand.units,
        [start[u] for u in hand.units], [units[u]["hours"] for u in hand.units],
    )  # fmt: skip
    # The best shape by trying many, each weighed with what is believed of it beforehand.
    tried = [fit_power_law(*record, factors=True, shape=s) for s in np.exp(np.linspace(-0.5, 1.2, 60))]
    fit = max(tried, key=lambda f: f.log_likelihood - 0.5 * ((np.log(f.shape) - np.log(1.3)) / 0.3) ** 2)
    bills = [float(row["parts_cost"]) + float(row["minutes"]) / 60 * hand.rate for row in hand.dated("failures")]
    downs = [hand.down(row) for row in hand.dated("failures")]
    covered = [row["warranty"] == "yes" for row in hand.dated("failures")]
    paid = (sum(covered) + 1) / (len(covered) + 2)
    hours = sum(units[u]["hours"] - start[u] for u in hand.units)
    service = sum(
        float(row["parts_cost"]) + (float(row["minutes"]) / 60 * hand.rate if row["done_by"] == "shop" else 0.0)
        for row in hand.dated("services")
    ) / hours  # fmt: skip
    ahead = np.mean([season_ahead(row) for row in told["units"]])
    by_age = told["models"][0]["cost_per_hour_by_age"]
    assert len(by_age) == 8
    keep, rate = 0.15 ** (1 / 3), 1 / 1.08
    total = 400.0
    for age in range(1, 9):
        repairs = float(fit.mean_repairs((age - 1) * ahead, age * ahead))
        mine = min(max((24 - 12 * (age - 1)) / 8, 0), 1) * paid
        each = (1 - mine) * sum(bills) / len(bills) + sum(downs) / len(downs)
        total += rate ** (age - 1) * (repairs * each + service * ahead)
        level = (total - rate**age * 400 * keep**age) * (1 - rate) / (1 - rate**age)
        assert by_age[age - 1] == pytest.approx(level / ahead, rel=0.08)


def season_ahead(row: dict) -> float:
    """Hours of the season to come, as the first reason says them."""
    words = row["reasons"][0]
    return float(words.split(" over ")[1].split(" hours")[0].replace(",", ""))


@pytest.mark.django_db
def test_what_is_kept_for_the_page_is_what_the_command_prints():
    import_files(files_of(4), today=dt.date(2024, 12, 20))
    day = dt.date(2024, 12, 20)
    with all_tenants():
        contractor = Contractor.objects.get()
        assert refresh_reviews([contractor], today=day) == 1
        assert refresh_reviews([contractor], today=day) == 0
        kept = {row.trimmer.tag: row for row in UnitReview.objects.select_related("trimmer")}
        told = command("hollow grounds", "--as-of", AS_OF)
        assert {row["unit"]: (row["advice"], row["spend_limit"]) for row in told["units"]} == {
            tag: (row.advice, round(row.spend_limit, 2)) for tag, row in kept.items()
        }
        ages = ReviewBasis.objects.get().model_ages
        assert [round(v, 4) for v in ages[0]["cost_per_hour_by_age"]] == told["models"][0]["cost_per_hour_by_age"]


def model(**more) -> ModelFacts:
    given = {
        "name": "Ostrel Heron", "price": 400.0, "kept_each_season": 0.55, "warranty_months": 24,
        "covered": [1.0, 1.0, 0, 0, 0, 0, 0, 0], "hours_per_season": 150.0, "displacement": 28.0, "units": 10,
        "repairs": 30, "factor": [1.0] * 4, "parts": 30.0, "labor_hours": 0.7,
    }  # fmt: skip
    return ModelFacts(**{**given, **more})


def basis(**more) -> Basis:
    given = {
        "repairs": 60, "units": 20, "hours": 9000.0, "shape": [1.6] * 4, "scale": [190.0, 200.0, 210.0, 220.0],
        "dispersion": 0.2, "paid_share": 0.5, "days_down": 2.0, "service_parts_per_hour": 0.1,
        "service_labor_per_hour": 0.005, "labour_rate": 90.0, "downtime_per_day": 20.0, "discount_rate": 0.08,
        "models": {1: model(), 2: model(name="Ostrel Wren", price=330.0, displacement=26.0), 3: model(
            name="Ostrel Rook", price=100.0, displacement=40.0)},
    }  # fmt: skip
    return Basis(**{**given, **more})


def facts(**more) -> UnitFacts:
    given = {"unit": 7, "model": 1, "crew": 1, "hours": 300.0, "watched_from": 0.0, "hours_ahead": 150.0, "age": 2,
             "repairs": 1, "waiting": 0, "bought": "2023-03-01"}  # fmt: skip
    return UnitFacts(**{**given, **more})


# Three hard seasons without a repair.
GOOD = facts(repairs=0, hours=450.0, age=3)


def test_a_unit_with_few_repairs_is_kept_and_one_with_many_is_not():
    reviewer = Reviewer(basis())
    good, bad = reviewer.unit(GOOD), reviewer.unit(facts(repairs=12, hours=900.0, age=6))
    assert good.advice == KEEP
    assert bad.advice == REPLACE
    assert good.spend_limit > bad.spend_limit
    assert good.keep_cost_next_season < bad.keep_cost_next_season


def test_it_is_compared_with_the_cheapest_new_unit_of_its_size():
    advice = Reviewer(basis()).unit(facts())
    assert advice.replacement == 2  # the Rook is cheaper still, but a bigger machine
    assert any("Ostrel Wren" in sentence for sentence in review_sentences(advice.reasons))
    assert advice.half_price == 165.0
    alone = Reviewer(basis(models={1: model(displacement=None), 2: model(price=100.0)})).unit(facts())
    assert alone.replacement == 1


def test_no_repair_is_worth_more_than_a_new_unit():
    dear = basis(downtime_per_day=400.0)
    for repairs in (0, 1, 2):
        assert Reviewer(dear).unit(facts(repairs=repairs)).spend_limit <= 330.0


def test_a_recall_goes_before_any_repair():
    advice = Reviewer(basis(), recalled={7: "Stop using it."}).unit(facts(repairs=0))
    assert (advice.advice, advice.spend_limit) == (LOOK_CLOSER, None)
    assert "no repair takes its place" in review_sentences(advice.reasons)[0]


def test_without_parts_a_unit_is_not_simply_kept_nor_bought_again():
    ended = Reviewer(basis(), parts_ended={1: "2024-05-01", 2: "2024-05-01"})
    advice = ended.unit(facts(repairs=0))
    assert advice.advice != KEEP
    assert "May 1, 2024" in review_sentences(advice.reasons)[0]
    assert advice.replacement == 1  # nothing else of its size is to be had
    other = Reviewer(basis(), parts_ended={2: "2024-05-01"}).unit(facts())
    assert other.replacement == 1


def test_without_a_price_nothing_is_compared():
    advice = Reviewer(basis(models={1: model(price=None)})).unit(facts())
    assert (advice.advice, advice.spend_limit, advice.keep_cost_next_season) == (LOOK_CLOSER, None, None)
    assert "No price" in review_sentences(advice.reasons)[0]


def test_where_the_rule_of_thumb_disagrees_both_are_shown_and_why():
    bad = Reviewer(basis()).unit(facts(repairs=12, hours=900.0, age=6))
    assert bad.spend_limit < bad.half_price
    assert any("rule of thumb would repair" in s for s in review_sentences(bad.reasons))
    good = Reviewer(
        basis(models={1: model()}, dispersion=1.0, downtime_per_day=0.0, scale=[95.0, 100.0, 105.0, 110.0])
    ).unit(GOOD)
    assert good.spend_limit > good.half_price
    assert any("rule of thumb would give it up" in s for s in review_sentences(good.reasons))


def test_figures_to_try_move_the_answer_the_right_way():
    unit, one = facts(repairs=1, hours=450.0, age=3), basis(models={1: model()})
    stands = Reviewer(one).unit(unit)
    dear = Reviewer(one, what_if=WhatIf(model=1, price=900.0)).unit(unit)
    cheap = Reviewer(one, what_if=WhatIf(labour_rate=20.0, downtime_per_day=0.0)).unit(unit)
    assert dear.spend_limit > stands.spend_limit
    assert cheap.keep_cost_next_season < stands.keep_cost_next_season
    same = Reviewer(one, what_if=WhatIf()).unit(unit)
    assert same == stands


def test_a_unit_to_be_replaced_may_still_be_worth_mending_to_sell():
    young = Reviewer(basis(downtime_per_day=0.0)).unit(facts(repairs=9, hours=160.0, age=1))
    assert young.advice == REPLACE
    assert 0 < young.spend_limit < 400 * 0.55
    told = " ".join(review_sentences(young.reasons))
    assert "mending to sell. The rule of thumb, half the price of a new one, is $165." in told
    # One reason for one figure: its seasons ahead are not what the limit rests on.
    assert "Its seasons ahead are" not in told


def test_a_waiting_repair_is_counted_once():
    one = Reviewer(basis()).unit(facts(repairs=3, waiting=1))
    next_one = Reviewer(basis()).unit(facts(repairs=2))
    assert one.spend_limit == pytest.approx(next_one.spend_limit)


def test_replacement_ages_name_staying_in_warranty():
    found = {m.name: m for m in Reviewer(basis()).models()}
    assert found["Ostrel Heron"].warranty_age == 2
    assert len(found["Ostrel Heron"].cost_per_hour_by_age) == 8
    assert replace(found["Ostrel Heron"], warranty_months=None).warranty_age is None


@pytest.mark.django_db
def test_a_unit_given_up_counts_as_a_dear_repair_not_as_one_for_nothing():
    import_files(files_of(4), today=dt.date(2024, 12, 20))
    day = dt.date(2024, 12, 20)
    with all_tenants():
        contractor = Contractor.objects.get()
        before = repair_record(contractor, as_of=day)
        kept = Failure.objects.order_by("pk").first()
        Failure.objects.filter(pk=kept.pk).update(done="scrapped", parts_cost=None, minutes=0, downtime_days=0)
        after = repair_record(contractor, as_of=day)
        learned, had = basis_of(after, contractor), basis_of(before, contractor)
    n = len(before.event_unit)
    assert after.given_up.sum() == before.given_up.sum() + 1
    # Half the price of a new one, 400, in place of its parts; drawn to the mean of all models, which is this one's.
    more = (200.0 - float(kept.parts_cost or 0)) / n
    (model_,), (was,) = learned.models.values(), had.models.values()
    assert model_.parts - was.parts == pytest.approx(more)
    # The shares are those of the bills in equal lots, dearest last, about their mean.
    assert np.mean(learned.bill_shares) == pytest.approx(1.0)
    assert learned.bill_shares == sorted(learned.bill_shares)
    bills = np.sort(before.parts + before.labor_hours * float(contractor.labour_rate))
    assert had.bill_shares[-1] == pytest.approx(bills[-(n // 12) :].mean() / bills.mean(), rel=0.1)
    assert learned.days_down == pytest.approx(after.days_down[~after.given_up].mean())


def test_a_repair_dearer_than_going_on_is_worth_is_not_counted_in_full():
    one = basis(models={1: model()}, bill_shares=[0.2, 0.4, 0.6, 0.8, 1.0, 3.0])
    spread, alike = Reviewer(one).unit(facts()), Reviewer(replace(one, bill_shares=[])).unit(facts())
    # The choice to give up makes every unit cheaper, the new one too.
    assert spread.replace_cost_per_season < alike.replace_cost_per_season
    assert Basis.from_data({k: v for k, v in one.as_data().items() if k != "bill_shares"}).bill_shares == []


def test_a_unit_that_does_not_wear_out_is_kept_past_the_eighth_season():
    steady = basis(models={1: model()}, shape=[1.0] * 4, dispersion=0.0)
    assert Reviewer(steady).unit(facts(age=11, hours=1650.0, repairs=8)).advice == KEEP


@pytest.mark.django_db
def test_too_few_repairs_give_no_figures():
    crew = factories.make_crew(factories.make_contractor("Hollow Grounds"))
    factories.make_unit(crew, "HG-1")
    told = command()
    assert [row["advice"] for row in told["units"]] == ["look_closer"]
    assert told["units"][0]["spend_limit"] is None
    assert "nobody can say" in told["units"][0]["reasons"][0]
    assert told["models"] == []
    with pytest.raises(CommandError) as refused:
        command("hollow grounds", "--as-of", "soon")
    assert refused.value.returncode == 2


@pytest.mark.django_db
def test_a_retired_unit_is_not_advised_on():
    import_files(files_of(4), today=dt.date(2024, 12, 20))
    with all_tenants():
        Trimmer.objects.filter(tag="HG-01").update(retired_on=dt.date(2024, 11, 1))
    assert "HG-01" not in {row["unit"] for row in command("hollow grounds", "--as-of", AS_OF)["units"]}
