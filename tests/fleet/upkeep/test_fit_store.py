"""What is learned is kept by date, comes back as it went in, and shows counts to those who may see them."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from fleet.models import Contractor, FleetSample, TrimmerModel
from fleet.models.tenancy import all_tenants, tenant
from fleet.upkeep.fit_records import (
    Choice,
    CostBasis,
    Curve,
    FitLine,
    FitRecord,
    IntervalRecord,
    MisfitBin,
    OwnCounts,
)
from fleet.upkeep.fit_store import add_fits, latest_fits, model_records, read_fits, read_intervals
from fleet.upkeep.records_kept import kept_records
from fleet.upkeep.who_sees import own_counts, seen_counts

pytestmark = pytest.mark.django_db

FIT = FitRecord(
    component="gearbox", clock="task", events=7, rows=120, hours=5400.5, units=40, contractors=3, pooled_events=19,
    shape=2.1, shape_low=1.6, shape_high=2.8, scale=180.0, scale_low=140.0, scale_high=230.0, drawn=0.31,
    b10_hours=62.0, b10_low=41.0, b10_high=80.0, mean_hours=159.4, guard_off_ratio=1.9, guard_off_low=1.1,
    guard_off_high=3.2, mean_exposure=0.12,
    curve=Curve("kaplan_meier", (20.0, 40.0), (0.98, 0.9), (0.9, None), (0.99, None), (120, 90)),
    fit=FitLine((0.0, 20.0), (1.0, 0.97), (1.0, 0.95), (1.0, 0.99)), misfit=(MisfitBin(0.0, 25.0, 3.0, 2.5),),
    repairs=Curve("mean_repairs", (50.0,), (0.1,), (0.02,), (0.3,), (40,)), task="grease", manual_hours=50.0,
    manual_source="maker", interval_hours=30.0,
)  # fmt: skip
INTERVAL = IntervalRecord(
    task="grease", component="gearbox", method="least_cost", manual_hours=50.0, manual_source="maker",
    choices=(Choice(0.0, 30.0, "model", 0.93, 0.02, 0.06), Choice(0.5, 22.5, "model", 0.97, 0.03, 0.09, True)),
    failures=7, pooled_failures=19, rows=120, contractors=3, drawn=0.31, candidates=(25.0, 50.0),
    candidate_costs=(0.31, 0.44), planned=CostBasis(12.5, 5.0, 5.0, 0.0, 120),
    failure=CostBasis(260.0, 25.0, 80.0, 2.0, 7),
)  # fmt: skip


def _model(name: str = "Heron") -> TrimmerModel:
    return TrimmerModel.objects.create(maker="Ostrel", name=name, key=f"ostrel{name}".lower())


def test_records_come_back_as_they_went_in() -> None:
    model = _model()
    add_fits(
        as_of=dt.date(2026, 5, 1), content_key="a", data={}, fits={(model.pk, "gearbox"): FIT},
        intervals={(model.pk, "grease", "s1"): INTERVAL},
    )  # fmt: skip
    snapshot = latest_fits()
    assert read_fits(snapshot) == {(model.pk, "gearbox"): FIT}
    assert read_intervals(snapshot, [model.pk], ["s1"]) == {(model.pk, "grease", "s1"): INTERVAL}
    assert read_intervals(snapshot, [model.pk], ["other"]) == {}
    [record] = model_records(snapshot, [model.pk], {(model.pk, "grease"): "s1"})
    assert (record.name, record.fits["gearbox"], record.intervals["grease"]) == ("Ostrel Heron", FIT, INTERVAL)


def test_a_record_is_read_once_and_a_new_learning_is_told_from_the_last(django_assert_num_queries) -> None:  # type: ignore[no-untyped-def]
    model = _model()
    key, other = (model.pk, "grease", "s1"), (model.pk, "grease", "s2")
    first = add_fits(
        as_of=dt.date(2026, 5, 1), content_key="a", data={}, fits={}, intervals={key: INTERVAL}
    )  # fmt: skip
    slim = replace(INTERVAL, candidates=(), candidate_costs=())
    with django_assert_num_queries(1):
        assert kept_records(first, [key, other]) == {key: slim}
    with django_assert_num_queries(0):
        assert kept_records(first, [key, other]) == {key: slim}
    second = add_fits(
        as_of=dt.date(2026, 5, 1), content_key="b", data={}, fits={},
        intervals={key: replace(INTERVAL, failures=8), other: INTERVAL},
    )  # fmt: skip
    assert kept_records(second, [key, other]) == {key: replace(slim, failures=8), other: slim}
    assert kept_records(first, [key, other]) == {key: slim}
    assert kept_records(None, [key]) == {}


def test_what_is_not_a_number_is_kept_as_unknown() -> None:
    assert FitRecord.from_data(replace(FIT, b10_hours=float("inf"), shape=float("nan")).as_data()).shape is None


def test_as_of_a_day_finds_the_latest_of_then_or_before() -> None:
    model = _model()
    for day, key, scale in ((1, "a", 100.0), (9, "b", 90.0), (5, "c", 95.0)):
        add_fits(
            as_of=dt.date(2026, 5, day), content_key=key, data={},
            fits={(model.pk, "gearbox"): replace(FIT, scale=scale)}, intervals={},
        )  # fmt: skip

    def scale(as_of: dt.date | None) -> float | None:
        fits = read_fits(latest_fits(as_of))
        return fits[model.pk, "gearbox"].scale if fits else None

    assert scale(dt.date(2026, 4, 30)) is None
    assert scale(dt.date(2026, 5, 4)) == 100.0
    assert scale(dt.date(2026, 5, 8)) == 95.0
    assert scale(None) == 90.0


def test_a_unit_gets_the_interval_of_the_next_higher_exposure() -> None:
    assert INTERVAL.at(0.0).interval_hours == 30.0
    assert INTERVAL.at(0.01).interval_hours == 22.5
    assert INTERVAL.at(0.9).interval_hours == 22.5


def test_counts_of_others_show_only_from_three_contractors_on() -> None:
    mine = {1: OwnCounts(2, 30, 900.0)}
    assert seen_counts(FIT, mine) == seen_counts(FIT, {})
    assert seen_counts(FIT, {}).events == 7
    two = replace(FIT, contractors=2)
    assert (seen_counts(two, mine).events, seen_counts(two, mine).whole) == (2, False)
    assert (seen_counts(two, {}).events, seen_counts(two, {}).whole) == (0, False)
    both = {**mine, 2: OwnCounts(5, 90, 4500.5)}
    assert (seen_counts(two, both).events, seen_counts(two, both).whole) == (7, True)
    assert seen_counts(replace(FIT, contractors=1), mine).whole


def test_own_counts_stay_with_their_contractor() -> None:
    with all_tenants():
        a, b = (Contractor.objects.create(name=n) for n in ("Quarry Hill Grounds", "Fenwick Parks"))
        for contractor, events in ((a, 2), (b, 5)):
            FleetSample.objects.create(
                contractor=contractor, content_key="k", rows=b"", counts={"9": {"gearbox": [events, 10, 300.0]}}
            )
    with tenant([a.pk]):
        assert own_counts([a.pk, b.pk]) == {(9, "gearbox"): {a.pk: OwnCounts(2, 10, 300.0)}}
