"""Importing folders of files: every settled meaning, all or nothing, and twice adds nothing."""

import datetime as dt
from decimal import Decimal as D

import pytest

from fleet.models import (
    Arrangement,
    Assignment,
    Contractor,
    Crew,
    CrewHours,
    Failure,
    GuardCheck,
    HoursEntry,
    Service,
    Trimmer,
    TrimmerModel,
    Withdrawal,
)
from fleet.models.tenancy import all_tenants
from fleet.record.importing import import_files, plan_import

from .folders import TODAY, TWO, UNITS, bad, files, take

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _every_tenant():
    with all_tenants():
        yield


def test_it_creates_everything_it_names():
    report = take(
        contractor="",
        contractors="contractor,shop,season_opens,working_days,spare_on_trailer,order_by\n"
        "Quarry Hill Grounds,Alder Street Small Engine,3/1,Mon-Thu,X,2027-01-31\n",
        units=TWO,
        moves="unit,date,crew\nt 1,4/1/2026,East\n",
    )
    assert not report.bad
    assert report.added == {"contractors.csv": 1, "units.csv": 2, "moves.csv": 1}
    contractor = Contractor.objects.get()
    assert (contractor.season_opens, contractor.working_days) == ("03-01", "1111000")
    assert (contractor.spare_on_trailer, contractor.order_by) == (True, "01-31")
    assert Arrangement.objects.get(contractor=contractor).shop.name == "Alder Street Small Engine"
    assert {c.name for c in Crew.objects.all()} == {"North", "South", "East"}
    assert {str(m) for m in TrimmerModel.objects.all()} == {"Ostrel Wren", "Ostrel Heron"}
    unit = Trimmer.objects.get(tag="T1")
    assert (unit.hours_at_registration, unit.guard_at_registration) == (10, "on")
    moves = Assignment.objects.filter(trimmer=unit).order_by("occurred_on").values_list("occurred_on", "crew__name")
    assert list(moves) == [(dt.date(2026, 3, 1), "North"), (dt.date(2026, 4, 1), "East")]


def test_a_file_lands_whole_or_not_at_all():
    report = take(
        units=TWO,
        guard="unit,date,guard\nT1,2026-04-01,on\nT1,2026-04-02,wobbly\n\nT9,2026-04-02,off\n",
        services="unit,date,task\nT1,2026-04-01,grease\n",
    )
    assert bad(report) == [("guard", 3, "guard", "wobbly"), ("guard", 5, "unit", "T9")]
    assert report.added == {"units.csv": 2, "guard.csv": 0, "services.csv": 1}
    assert (GuardCheck.objects.count(), Service.objects.count()) == (0, 1)


def test_twice_adds_nothing():
    texts = {
        "units": TWO,
        "models": "maker,model,price,grease_hours,grease_months\nOstrel,Wren,$329.00,40,none\n",
        "hours": "unit,date,meter_hours,hours_run,crew,week_of,crew_hours\nT1,2026-04-01,20,,,,\nT2,2026-04-01,,8,,,\n"
        ",,,,North,2026-04-08,30\n",
        "guard": "unit,date,guard,line,safety,seen_by\nT1,2026-04-01,off,long,ok,shop\n",
        "services": "unit,date,hours,task,as_found,minutes,parts_cost\nT1,2026-04-02,21,plug,worn,10,4.50\n",
        "failures": 'unit,date,component,what,cause\nT1,2026-04-03,carb,"bogs, dies",stale fuel\n',
    }
    first = take(**texts)
    assert not first.bad
    assert sum(first.added.values()) == 9
    again = take(**texts)
    assert not again.bad
    assert sum(again.added.values()) == 0
    assert again.repeated == first.added


def test_a_plan_writes_nothing():
    plan = plan_import(files({"units": TWO}), contractor="Quarry Hill Grounds", today=TODAY)
    assert plan.added == {"units.csv": 2}
    assert not Contractor.objects.exists()
    assert not TrimmerModel.objects.exists()


def test_bad_units_are_reported_once_in_each_other_file():
    take(units=UNITS + "T9,North,Ostrel,Wren,2026-03-01,0\n")
    report = take(
        units=TWO + "T3,North,Ostrel,Wren,someday,0\n",
        guard="unit,date,guard\nT9,2026-04-01,on\nT1,2026-04-01,on\nT2,2026-04-01,on\nT3,2026-04-01,on\n",
        services="unit,date,task\nT1,2026-04-01,grease\n",
        failures="unit,date,component\nT9,2026-04-01,head\n",
    )
    assert bad(report) == [
        ("units", 4, "registered_on", "someday"),
        ("guard", 3, "unit", "T1"),
        ("services", 2, "unit", "T1"),
    ]
    assert "3" in report.bad[1].reason
    assert report.added == {"units.csv": 0, "guard.csv": 0, "services.csv": 0, "failures.csv": 1}
    assert Trimmer.objects.count() == 1


def test_bad_contractors_are_reported_once_in_each_other_file():
    report = take(
        "", contractors="contractor,season_opens\nQuarry Hill Grounds,spring\n", units=TWO,
        moves="unit,date,crew\nT1,2026-04-01,East\n",
    )  # fmt: skip
    assert [b[:3] for b in bad(report)] == [
        ("contractors", 2, "season_opens"),
        ("units", 2, "unit"),
        ("moves", 2, "unit"),
    ]
    assert not Contractor.objects.exists()


def test_identical_rows_are_one_entry_and_rows_that_differ_in_an_ignored_column_are_two():
    report = take(
        units=TWO,
        failures="unit,date,component,event\nT1,2026-04-01,head,1\nT1,4/1/2026,cutting head,1\nT1,2026-04-01,head,2\n",
    )
    assert report.added["failures.csv"] == 2
    assert report.repeated["failures.csv"] == 1
    assert report.ignored_columns["failures.csv"] == ["event"]
    # The same two without the ignored column: both are there.
    numbered = "unit,date,component,entry\nT1,2026-04-01,head,\nT1,2026-04-01,head,2\nT1,2026-04-01,head,3\n"
    report = take(failures=numbered)
    assert (report.added["failures.csv"], report.repeated["failures.csv"]) == (1, 2)


def test_a_row_matching_a_withdrawn_entry_is_not_added_again():
    take(units=TWO, guard="unit,date,guard\nT1,2026-04-01,off\n")
    check = GuardCheck.objects.get()
    Withdrawal.objects.create(contractor=check.contractor, kind="guard", entry_id=check.pk, why="wrong unit")
    report = take(guard="unit,date,guard\nT1,2026-04-01,off\n")
    assert (report.added, report.repeated) == ({"guard.csv": 0}, {"guard.csv": 1})


def test_a_withdrawn_reading_does_not_stand_in_the_way():
    take(units=TWO, hours="unit,date,meter_hours\nT1,2026-05-01,200\n")
    entry = HoursEntry.objects.get()
    Withdrawal.objects.create(contractor=entry.contractor, kind="hours", entry_id=entry.pk, why="typo")
    assert not take(hours="unit,date,meter_hours\nT1,2026-05-02,20\n").bad


def test_dates_that_cannot_be():
    report = take(
        units=UNITS.replace("\n", ",retired_on\n")
        + "T1,North,Ostrel,Wren,2026-03-01,0,2026-05-01\nT2,North,Ostrel,Wren,2026-03-01,0,\n",
        guard="unit,date,guard\nT1,2026-02-28,on\nT1,2026-05-02,on\nT2,2026-07-01,on\nT1,2026-05-01,on\n",
        hours="crew,week_of,crew_hours\nNorth,2026-07-06,10\n",
    )
    assert bad(report) == [
        ("hours", 2, "week_of", "2026-07-06"),
        ("guard", 2, "date", "2026-02-28"),
        ("guard", 3, "date", "2026-05-02"),
        ("guard", 4, "date", "2026-07-01"),
    ]
    assert "registered on 2026-03-01" in report.bad[1].reason
    assert "retired on 2026-05-01" in report.bad[2].reason


def test_backward_and_impossible_hours_over_all_files_and_the_ledger():
    take(units=TWO, hours="unit,date,meter_hours\nT1,2026-04-01,50\nT1,2026-05-01,80\n")
    report = take(
        hours="unit,date,meter_hours\nT1,2026-04-15,90\nT1,2026-04-16,60\n",
        services="unit,date,hours,task\nT1,2026-04-17,55,grease\nT1,2026-05-02,120,grease\n",
        failures="unit,date,hours,component\nT2,2026-03-02,30,head\n",
    )
    assert bad(report) == [
        ("hours", 2, "meter_hours", "90"),
        ("services", 2, "hours", "55"),
        ("services", 3, "hours", "120"),
        ("failures", 2, "hours", "30"),
    ]
    assert "2026-05-01" in report.bad[0].reason


def test_a_backdated_row_is_tested_against_both_neighbors():
    take(units=TWO, hours="unit,date,meter_hours\nT1,2026-04-01,50\nT1,2026-05-01,80\n")
    assert not take(hours="unit,date,meter_hours\nT1,2026-04-15,65\n").bad
    assert take(hours="unit,date,meter_hours\nT1,2026-04-20,64\n").bad
    assert take(hours="unit,date,meter_hours\nT1,2026-04-10,66\n").bad


def test_what_lands_agrees_with_what_lands():
    # The new meter's row waits in a file that is refused, so hours after it cannot be told from hours that go back.
    report = take(
        units=TWO,
        hours="unit,date,meter_hours,meter_replaced\nT1,2026-05-01,0,yes\nT9,2026-05-01,1,\n",
        services="unit,date,hours,task\nT1,2026-04-01,300,grease\nT1,2026-06-01,250,grease\n",
    )
    assert ("hours", 3, "unit", "T9") in bad(report)
    assert ("services", 3, "hours", "250") in bad(report)
    assert Service.objects.count() == 0


def test_a_replaced_meter_starts_anew():
    report = take(
        units=TWO,
        hours="unit,date,meter_hours,meter_replaced\nT1,2026-04-01,300,\nT1,2026-05-01,0,yes\nT1,2026-06-01,40,\n",
    )
    assert not report.bad
    assert HoursEntry.objects.get(meter_replaced=True).meter_hours == 0


def test_hours_run_beyond_the_days_since_the_last_entry():
    report = take(units=TWO, hours="unit,date,hours_run\nT1,2026-04-01,168\nT1,2026-04-03,49\nT2,2026-06-01,169\n")
    assert bad(report) == [("hours", 3, "hours_run", "49"), ("hours", 4, "hours_run", "169")]


def test_crew_hours_belong_to_the_week_from_monday_to_sunday():
    report = take(units=TWO, hours="crew,week_of,crew_hours\nNorth,2026-04-09,40\nNorth,2026-04-15,169\n")
    assert bad(report) == [("hours", 3, "crew_hours", "169")]
    take(hours="crew,week_of,crew_litres,trimmer_share\nnorth,4/9/2026,20,40%\n")
    week = CrewHours.objects.get()
    assert (week.week_of, week.occurred_on) == (dt.date(2026, 4, 6), dt.date(2026, 4, 6))
    assert (week.crew_litres, week.trimmer_share) == (20, D("0.4"))


def test_moves_to_nobody():
    report = take(units=TWO, moves="unit,date,crew\nT1,2026-04-01,None\nT1,2026-04-02,\n")
    assert bad(report) == [("moves", 3, "crew", "")]
    take(moves="unit,date,crew\nT1,2026-04-01,None\n")
    assert Assignment.objects.get(occurred_on=dt.date(2026, 4, 1)).crew is None


def test_what_blank_cells_mean():
    take(
        units=TWO,
        services="unit,date,task\nT1,2026-04-01,grease\n",
        failures="unit,date,component\nT1,2026-04-01,head\n",
        guard="unit,date,line\nT1,2026-04-01,long\n",
    )
    service, failure, check = Service.objects.get(), Failure.objects.get(), GuardCheck.objects.get()
    assert (service.hours, service.done, service.done_by, service.warranty) == (None, "serviced", "crew", None)
    assert (failure.found, failure.done, failure.cause) == ("in_use", "", "")
    assert (check.guard, check.seen_by) == ("", "crew")


def test_the_same_rows_in_two_kinds_of_file_are_added_once():
    text = b"unit,date,guard\nT1,2026-04-01,on\n"
    take(units=TWO)
    report = import_files({"guard.csv": text, "Guard.CSV": text}, contractor="Quarry Hill Grounds", today=TODAY)
    assert sorted(report.added.values()) == [0, 1]


def test_progress_is_told():
    told = []
    import_files(
        files({"units": TWO}), contractor="Quarry Hill Grounds", today=TODAY,
        progress=lambda done, total, file: told.append((done, total, file)),
    )  # fmt: skip
    assert told[-1][0] == told[-1][1] == 4
    assert {file for _done, _total, file in told} == {"units.csv"}


def test_a_file_that_the_database_refuses_leaves_nothing(monkeypatch):
    from django.db import IntegrityError

    def refuse(self, rows, **options):
        raise IntegrityError

    monkeypatch.setattr("django.db.models.query.QuerySet.bulk_create", refuse)
    report = take(units=TWO)
    assert report.bad[0].line == 1
    assert report.added == {"units.csv": 0}
    assert not Trimmer.objects.exists()
    assert not Contractor.objects.exists()


def test_queries_do_not_grow_with_rows(django_assert_max_num_queries):
    def guard(count):
        days = [dt.date(2026, 3, 2) + dt.timedelta(days=n) for n in range(count)]
        return "unit,date,guard\n" + "".join(f"T1,{day},on\n" for day in days)

    take(units=TWO)
    with django_assert_max_num_queries(40):
        plan_import(files({"guard": guard(2)}), contractor="Quarry Hill Grounds", today=TODAY)
    with django_assert_max_num_queries(40):
        plan_import(files({"guard": guard(100)}), contractor="Quarry Hill Grounds", today=TODAY)
