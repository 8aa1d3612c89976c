"""Season budget: sums by hand, and what must hold of any budget."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from fleet.models import Contractor, ReviewBasis
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import export_files
from fleet.record.importing import import_files
from fleet.upkeep.budget import budget_of
from fleet.upkeep.repair_record import repair_record
from fleet.upkeep.review import Reviewer
from fleet.upkeep.review_store import refresh_reviews, review
from fleet.upkeep.season import Season
from fleet.upkeep.usage import Usage
from tests.fleet.upkeep.misuse_by_hand import ByHand
from tests.fleet.upkeep.misuse_fleet import files_of
from tests.fleet.upkeep.test_review import basis, facts

DAY = dt.date(2024, 12, 20)


@pytest.fixture
def fleet(db):
    import_files(files_of(4), today=DAY)
    with all_tenants():
        yield Contractor.objects.get()


def test_the_year_before_is_what_the_exported_files_add_up_to(fleet):
    files = {name: data for name, data, _rows in export_files([fleet])}
    budget = review(fleet, as_of=DAY).budget
    hand = ByHand(files, dt.date(2024, 1, 1), dt.date(2024, 12, 31))
    assert budget.opens == "2025-01-01"
    assert [m.month for m in budget.months] == [f"2025-{k:02d}" for k in range(1, 13)]
    for month in budget.months:
        number = int(month.month[5:])
        repairs = sum(hand.bill(row) for row in hand.dated("failures") if row["day"].month == number)
        services = sum(
            float(row["parts_cost"]) + (float(row["minutes"]) / 60 * hand.rate if row["done_by"] == "shop" else 0.0)
            for row in hand.dated("services")
            if row["day"].month == number
        )
        assert month.was_repairs == pytest.approx(repairs, abs=0.01)
        assert month.was_services == pytest.approx(services, abs=0.01)


def test_repairs_add_up_to_what_each_unit_is_told(fleet):
    found = review(fleet, as_of=DAY)
    # No unit replaced, so that every unit's own repairs count.
    units = [replace(u, advice="keep") for u in found.units]
    usage = Usage(Season("01-01", "12-31", "1111100"))
    given = {"record": repair_record(fleet, as_of=DAY), "bought": [], "usage": usage, "as_of": DAY}
    budget = budget_of(found.basis, units, decided={}, **given)
    model = next(iter(found.basis.models.values()))
    bill = model.parts + model.labor_hours * found.basis.labour_rate
    told = 0.0
    for unit in units:
        values = dict(unit.reasons)["next_season"]
        told += values["repairs"] * (1 - model.covered[unit.facts.age] * found.basis.paid_share) * bill
    assert budget.total("repairs") == pytest.approx(told, rel=1e-6)
    assert budget.total("replacements") == 0


def made(units, **more):
    record = type("Nothing", (), {})()
    for name in ("event_day", "event_bill", "service_day", "service_bill"):
        setattr(record, name, np.zeros(0, dtype=np.int64))
    usage = Usage(Season("03-15", "11-30", "1111100"))
    given = {"decided": {}, "bought": [], "usage": usage, "as_of": DAY, **more}
    return budget_of(basis(), units, record, **given)


def test_a_replaced_unit_is_paid_in_the_first_month_less_what_it_fetches():
    unit = Reviewer(basis()).unit(facts(repairs=12, hours=900.0, age=6))
    assert unit.advice == "replace"
    budget = made([unit])
    old = 400.0 * 0.55**6
    assert budget.months[0].replacements == pytest.approx(330.0 - old)
    assert [m.replacements for m in budget.months[1:]] == [0.0] * 11
    # The owner has the last word.
    assert made([unit], decided={7: "keep"}).total("replacements") == 0
    assert budget.replaced == 1


def test_months_without_work_cost_nothing_and_bands_hold_the_expected():
    units = [replace(Reviewer(basis()).unit(facts(unit=k)), advice="keep") for k in range(20)]
    budget = made(units)
    assert [m.month for m in budget.months][:2] == ["2025-03", "2025-04"]
    for month in budget.months:
        assert month.low <= month.expected <= month.high
        if month.month[5:] in ("12", "01", "02"):
            assert month.expected == 0
    wide = sum(m.high - m.expected for m in budget.months)
    assert budget.high - budget.total("expected") < wide


def test_the_band_holds_four_seasons_in_five():
    """Repairs drawn as the statistics say they come, many times: the year's bill falls in the band as often as told."""
    one = basis(shape=[1.6] * 4, scale=[200.0] * 4)
    units = [replace(Reviewer(one).unit(facts(unit=k, repairs=k % 4)), advice="keep") for k in range(40)]
    budget = made(units, usage=Usage(Season("03-15", "11-30", "1111100"), season_cv=0.0))
    rng = np.random.default_rng(5)
    model = one.models[1]
    bill = model.parts + model.labor_hours * one.labour_rate
    services = budget.total("services")
    totals = []
    for _season in range(2000):
        total = services
        for unit in units:
            f = unit.facts
            so_far = float(one.expected(1, np.array([0.0]), np.array([f.hours])).mean())
            ahead = float(one.expected(1, np.array([f.hours]), np.array([f.hours + f.hours_ahead])).mean())
            factor = rng.gamma(5.0 + f.repairs, 1 / (5.0 + so_far))
            n = rng.poisson(ahead * factor)
            total += rng.exponential(bill, n).sum() if n else 0.0
        totals.append(total)
    inside = np.mean([(budget.low <= t <= budget.high) for t in totals])
    assert 0.76 <= inside <= 0.86


def test_it_is_kept_for_the_page_and_moves_with_a_decision(fleet):
    refresh_reviews([fleet], today=DAY)
    kept = ReviewBasis.objects.get().budget
    assert kept["months"][0]["month"] == "2025-01"
    assert len(kept["months"]) == 12
