"""Export: the same fleet when imported elsewhere, byte for byte; nothing added when imported back; no formulas."""

import csv
import datetime as dt
import io
import uuid

import pytest
from openpyxl import load_workbook

from fleet.models import Contractor, Failure, GuardCheck, Trimmer, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import export_files, shielded
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.importing import import_files
from fleet.record.writing import By
from fleet.simulation.fleet import simulate
from fleet.simulation.scenario import demo_parameters

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 30)


@pytest.fixture(autouse=True)
def _every_tenant():
    with all_tenants():
        yield


def exported(contractors=None, **options):
    chosen = Contractor.objects.all() if contractors is None else contractors
    return {name: content for name, content, _rows in export_files(chosen, **options)}


def empty_the_portal():
    from django.core.management import call_command

    call_command("flush", verbosity=0, interactive=False)


def cells(content):
    return list(csv.DictReader(io.StringIO(content.decode())))


def texts(**named):
    return {f"{name}.csv": text.encode() for name, text in named.items()}


UNITS = (
    "unit,crew,maker,model,serial,bought_on,price,registered_on,hours_at_registration,guard,retired_on,retired_why\n"
)
MESSY = texts(
    contractors="contractor,shop,labour_rate,working_days\n"
    "Quarry Hill Grounds,Alder Street Small Engine,92.5,Mon-Thu\n",
    models="maker,model,price,warranty_months,warranty_months_engine,grease_hours,grease_months,port_hours,port_source\n"
    "Ostrel,Wren,329,24,36,40,none,120,common practice\n",
    units=UNITS + "T1,North,Ostrel,Wren,OW1,2026-02-01,$329.00,2026-03-01,10.25,no,,\n"
    "T2,,Ostrel,Heron,,,,2026-03-01,0,,2026-06-01,\"sold, to a school\"\n"
    "T2,South,Ostrel,Heron,,,,2026-06-02,0,,,\n",
    moves="unit,date,crew\nT1,2026-03-01,South\nT1,2026-04-01,none\nT1,2026-04-01,North\n",
    hours="unit,date,meter_hours,hours_run,litres,meter_replaced,crew,week_of,crew_hours,crew_litres,trimmer_share\n"
    "T1,2026-04-01,20.25,,,,,,,,\nT1,2026-05-01,0,,,yes,,,,,\nT2,2026-04-01,,7.75,,,,,,,\nT2,2026-04-09,,,1.5,,,,,,\n"
    ",,,,,,North,2026-04-06,30,,\n,,,,,,South,2026-04-06,,20,0.4\n",
    guard="unit,date,guard,line,safety,seen_by\nT1,2026-04-01,off,too thick,,\nT1,2026-04-01,,,fuel leak,bench\n",
    services="unit,date,hours,task,as_found,done,part_hours,done_by,minutes,parts_cost,warranty\n"
    "T1,2026-04-02,,grease,dry,,,,10,2.50,n\nT1,2026-04-03,21,plug,,new,0,shop,,,Y\n",
    failures="unit,date,component,what,cause,guard_as_found,note\n"
    "T1,2026-04-04,carb,=cmd|' /C calc'!A0,water,on,a\nT1,2026-04-04,carb,=cmd|' /C calc'!A0,water,on,b\n",
)  # fmt: skip


def load_messy():
    report = import_files(MESSY, today=TODAY)
    assert not report.bad, report.bad
    return report


@pytest.mark.django_db(transaction=True)
def test_export_then_import_elsewhere_then_export_gives_the_same_bytes():
    load_messy()
    first = exported()
    empty_the_portal()
    report = import_files(first, today=TODAY)
    assert not report.bad, report.bad
    assert exported() == first


def test_what_is_exported_adds_nothing_here():
    load_messy()
    report = import_files(exported(), today=TODAY)
    assert not report.bad, report.bad
    assert not any(report.added.values())
    assert sum(report.repeated.values()) == 21


@pytest.mark.parametrize("xlsx", [pytest.param(False, id="csv"), pytest.param(True, id="xlsx", marks=pytest.mark.once)])
@pytest.mark.django_db(transaction=True)
def test_a_simulated_fleet_of_three_contractors_goes_round(xlsx):
    fleet = simulate(demo_parameters(dt.date(2025, 6, 30)), seed=5).files
    rows = {}
    chosen = {row["unit"] for row in fleet["units"][::8]}
    for name, content in fleet.items():
        # An eighth of the units; a crew's total must still be possible for those that are left of it.
        kept = [row for row in content if not row.get("unit") or row["unit"] in chosen]
        kept = [row for row in kept if (row.get("crew_hours") or 0) <= 168]
        text = io.StringIO()
        writer = csv.DictWriter(text, list(content[0]))
        writer.writeheader()
        writer.writerows(kept)
        rows[f"{name}.csv"] = text.getvalue().encode()
    report = import_files(rows, today=TODAY)
    assert not report.bad, report.bad[:3]
    first = exported()
    there = exported(xlsx=xlsx)
    empty_the_portal()
    report = import_files(there, today=TODAY)
    assert not report.bad, report.bad[:3]
    assert exported() == first


def test_entries_from_screens_go_out_and_add_nothing_on_their_way_back():
    load_messy()
    unit = Trimmer.objects.get(tag="T1")
    by = By(None, "screen", "crew", uuid.uuid4())
    before = GuardCheck.objects.count()
    record_walk(seen=[Seen(unit, "off", "long")], on=dt.date(2026, 6, 1), by=by, today=TODAY)
    assert GuardCheck.objects.count() == before + 1
    report = import_files(exported(), today=TODAY)
    assert not any(report.added.values())


def test_alike_entries_are_numbered_only_where_there_are_any():
    load_messy()
    files = exported()
    assert [row["entry"] for row in cells(files["failures.csv"])] == ["", "2"]
    assert "entry" not in cells(files["services.csv"])[0]


def test_withdrawn_entries_stay_behind():
    load_messy()
    gone = Failure.objects.order_by("pk").first()
    Withdrawal.objects.create(contractor=gone.contractor, kind="failure", entry_id=gone.pk, why="twice")
    (left,) = cells(exported()["failures.csv"])
    assert left["entry"] == "2"


def test_crew_totals_stay_crew_rows_and_unknown_hours_stay_empty():
    load_messy()
    files = exported()
    crews = [row for row in cells(files["hours.csv"]) if row["crew"]]
    assert [(row["crew"], row["week_of"], row["crew_hours"], row["crew_litres"]) for row in crews] == [
        ("North", "2026-04-06", "30", ""),
        ("South", "2026-04-06", "", "20"),
    ]
    assert [row["hours"] for row in cells(files["services.csv"])] == ["", "21"]


@pytest.mark.django_db(transaction=True)
def test_one_contractor_alone_and_several_together():
    load_messy()
    import_files({"units.csv": MESSY["units.csv"]}, contractor="Fenwick Verge Care", today=TODAY)
    fenwick = Contractor.objects.get(name="Fenwick Verge Care")
    assert len(cells(exported([fenwick])["units.csv"])) == 3
    assert exported([fenwick])["moves.csv"] == b"unit,date,crew\n"
    both = exported()
    assert {row["contractor"] for row in cells(both["models.csv"])} == {"Fenwick Verge Care", "Quarry Hill Grounds"}
    empty_the_portal()
    report = import_files(both, today=TODAY)
    assert not report.bad, report.bad
    assert exported() == both


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "'=1", "''-x"])
def test_texts_that_look_like_formulas_are_shielded(text):
    assert shielded(text) == "'" + text


def test_harmless_texts_are_left_alone():
    for text in ("bogs", "1=1", "'tis", ""):
        assert shielded(text) == text


def test_no_cell_of_an_export_is_a_formula():
    load_messy()
    failures = cells(exported()["failures.csv"])
    assert failures[0]["what"] == "'=cmd|' /C calc'!A0"
    book = load_workbook(io.BytesIO(exported(xlsx=True)["failures.xlsx"]))
    assert {cell.data_type for row in book.active.iter_rows() for cell in row} <= {"s", "inlineStr", "n", "d"}
    assert Failure.objects.first().what == "=cmd|' /C calc'!A0"


def test_the_shops_figures_go_out_as_they_stand_for_the_contractor():
    from fleet.models import ModelTerms, TrimmerModel

    load_messy()
    contractor = Contractor.objects.get()
    shop = contractor.arrangements.get().shop
    ModelTerms.objects.create(model=TrimmerModel.objects.get(name="Heron"), shop=shop, price=389)
    prices = {row["model"]: row["price"] for row in cells(exported()["models.csv"])}
    assert prices == {"Heron": "389", "Wren": "329"}
    assert not any(import_files(exported(), today=TODAY).added.values())


def test_what_models_need_and_who_said_so_comes_back():
    load_messy()
    wren = next(row for row in cells(exported()["models.csv"]) if row["model"] == "Wren")
    assert (wren["grease_hours"], wren["grease_months"], wren["arrestor_hours"]) == ("40", "none", "")
    assert (wren["port_hours"], wren["port_source"], wren["warranty_months_engine"]) == ("120", "practice", "36")
