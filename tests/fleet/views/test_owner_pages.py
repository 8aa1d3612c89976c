"""Season budget, free repair waiting and the theft sheet on the screen."""

from __future__ import annotations

import csv
import datetime as dt
import io
from decimal import Decimal

import openpyxl
import pytest
from django.urls import reverse

from fleet.models.tenancy import all_tenants
from fleet.upkeep.free_repairs import free_repairs
from fleet.upkeep.review_store import refresh_reviews
from tests import factories
from tests.fleet.views.pages import queries, text

PAGES = ("season_budget", "season_budget_csv", "season_budget_xlsx", "free_repairs", "theft_sheet", "theft_sheet_print")


def test_nobody_but_the_owner_sees_them(told):
    for name in PAGES:
        for who in ("boss", "technician", "manager", "stranger", "neighbor"):
            assert told.client(who).get(reverse(name)).status_code == 404, (name, who)
        assert told.client("owner").get(reverse(name), {"contractor": told.millrace.pk}).status_code == 404
        assert told.client("owner").get(reverse(name)).status_code == 200


def test_the_budget_by_month_on_the_page_and_in_files(told):
    client = told.client("owner")
    assert "Not worked out yet" in text(client.get(reverse("season_budget")))
    with all_tenants():
        refresh_reviews([told.quarry], today=dt.date.today())
    page = text(client.get(reverse("season_budget")))
    assert "are expected to cost" in page
    assert "four times in five between" in page
    rows = list(csv.DictReader(io.StringIO(client.get(reverse("season_budget_csv")).content.decode("utf-8-sig"))))
    assert len(rows) == 12
    book = openpyxl.load_workbook(io.BytesIO(client.get(reverse("season_budget_xlsx")).content))
    sheet = list(book.active.values)
    assert list(sheet[0]) == list(rows[0])
    for line, row in zip(sheet[1:], rows, strict=True):
        assert line[0] == row["month"]
        assert line[4] == pytest.approx(float(row["expected"]))
        assert float(row["expected"]) == pytest.approx(
            float(row["repairs"]) + float(row["services"]) + float(row["replacements"]), abs=0.02
        )


def test_too_few_repairs_make_no_budget(portal):
    with all_tenants():
        refresh_reviews([portal.quarry], today=dt.date.today())
    assert "Too little on record" in text(portal.client("owner").get(reverse("season_budget")))


def test_a_fault_on_a_covered_part_is_a_free_repair(told):
    due, fresh = told.units["due"], told.units["fresh"]
    factories.break_part(fresh, "starter", days=5, done="", what="pawl broken")
    factories.break_part(due, "ignition", days=20, parts_cost=Decimal(25), warranty=False)
    factories.break_part(due, "fuel", days=20, parts_cost=Decimal(9), cause="stale_fuel")
    factories.break_part(fresh, "gearbox", days=20, parts_cost=Decimal(70))  # three months only, long over
    with all_tenants():
        found = free_repairs(told.quarry, today=dt.date.today())
    assert [(r.tag, r.component, r.mended, r.doubt) for r in found] == [
        ("QH-02", "starter", False, ""), ("QH-01", "ignition", True, ""), ("QH-01", "fuel", True, "stale_fuel"),
    ]  # fmt: skip
    page = text(told.client("owner").get(reverse("free_repairs")))
    assert "1 fault not mended yet is on a part under warranty" in page
    assert "1 repair of the past year, $25 , was paid for" in page
    assert "1 more may be refused" in page
    assert "proof of purchase" in page


def test_where_nothing_is_covered_the_page_says_so(portal):
    assert "No free repair is waiting" in text(portal.client("owner").get(reverse("free_repairs")))


def test_the_theft_sheet_finds_units_by_tag_or_crew(told):
    client, url = told.client("owner"), reverse("theft_sheet")
    page = text(client.get(url, {"tags": "qh01, QH-99"}))
    assert "OH2310001" in page
    assert "No unit wears: QH-99." in page
    trailer = text(client.get(url, {"crew": told.north.pk}))
    assert "QH-01" in trailer
    assert "QH-02" in trailer
    assert "No serial is on record for QH-02" in trailer
    assert "QH-03" not in text(client.get(reverse("theft_sheet_print"), {"crew": told.north.pk}))
    empty = client.get(url, {"tags": " "})
    assert "Name the units by their tags, or choose a crew." in text(empty)
    # Another contractor's unit is no unit here, nor is its crew a choice.
    assert "ME-01" not in text(client.get(url, {"tags": "QH-01"}))
    assert "No unit wears: ME-01." in text(client.get(url, {"tags": "ME-01"}))
    assert "QH" not in text(client.get(reverse("theft_sheet_print"), {"crew": told.park.pk}))


def test_the_sheet_for_paper_has_what_police_ask_for(told):
    page = text(told.client("owner").get(reverse("theft_sheet_print"), {"tags": "QH-01"}))
    for words in ("Stolen equipment", "Quarry Hill Grounds", "OH2310001", "Police report no.", "1 string trimmer"):
        assert words in page


def test_as_many_queries_for_many_units(told):
    client = told.client("owner")
    urls = [reverse("season_budget"), reverse("free_repairs"), reverse("theft_sheet") + f"?crew={told.north.pk}"]
    factories.break_part(told.units["due"], "ignition", days=20)
    few = [queries(client, url) for url in urls]
    for number in range(20):
        unit = factories.make_unit(told.north, f"QC-{number}", model=told.units["due"].model, run=5)
        with all_tenants():
            unit.bought_on = factories.days_ago(100)
            unit.save()
        factories.break_part(unit, "ignition", days=10)
    assert [queries(client, url) for url in urls] == few
