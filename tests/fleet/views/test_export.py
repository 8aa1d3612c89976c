"""Export: what comes out goes in again, and holds nobody else's rows."""

from __future__ import annotations

import csv
import io
import zipfile

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from fleet.models import Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.importing import plan_import
from tests.fleet.views.pages import errors, text


def made(portal, who="owner", **said):
    if who == "owner":
        said.setdefault("contractor", portal.quarry.pk)
    response = portal.client(who).post(reverse("export"), {"form": "csv", **said})
    assert response.status_code == 200
    assert response["Content-Disposition"].startswith("attachment; ")
    assert "no-store" in response["Cache-Control"]
    return response.content


def test_a_zip_of_files_that_import_finds_already_there(portal):
    archive = zipfile.ZipFile(io.BytesIO(made(portal)))
    files = {name: archive.read(name) for name in archive.namelist()}
    assert set(files) == {
        f"{name}.csv" for name in ("contractors", "models", "units", "moves", "hours", "guard", "services", "failures")
    }
    plan = plan_import(files)
    assert not plan.bad
    assert not any(plan.added.values())
    assert plan.repeated["units.csv"] == 3


def test_it_holds_the_own_fleet_alone(portal):
    archive = zipfile.ZipFile(io.BytesIO(made(portal)))
    everything = "".join(archive.read(name).decode() for name in archive.namelist())
    assert "QH-01" in everything
    assert "ME-01" not in everything
    assert "Millrace" not in everything


def test_a_workbook_with_a_sheet_for_each_file(portal):
    with all_tenants():
        Trimmer.objects.filter(pk=portal.units["fresh"].pk).update(serial="=1+2")
    book = load_workbook(io.BytesIO(made(portal, form="xlsx")))
    assert book.sheetnames[:3] == ["contractors", "models", "units"]
    rows = list(book["units"].iter_rows(values_only=True))
    serials = {row[rows[0].index("serial")] for row in rows[1:]}
    assert "'=1+2" in serials
    assert all(cell.data_type != "f" for sheet in book for row in sheet.iter_rows() for cell in row)


def test_a_shop_takes_out_one_contractor_or_all_in_sight(portal):
    one = zipfile.ZipFile(io.BytesIO(made(portal, "manager", contractor=portal.millrace.pk))).read("units.csv").decode()
    assert {row["unit"] for row in csv.DictReader(io.StringIO(one))} == {"ME-01"}
    both = zipfile.ZipFile(io.BytesIO(made(portal, "manager"))).read("units.csv").decode()
    assert len(both.splitlines()) == 5


def test_bad_choices_are_answered_on_the_page(portal):
    client = portal.client("owner")
    assert "id_contractor" in errors(client.post(reverse("export"), {"form": "csv", "contractor": portal.millrace.pk}))
    assert "id_form" in errors(client.post(reverse("export"), {"form": "pdf"}))
    assert "id_form" in errors(client.post(reverse("export"), {}))


@pytest.mark.parametrize("who", ["boss", "technician"])
def test_roles_that_take_nothing_out(portal, who):
    assert portal.client(who).post(reverse("export"), {"form": "csv"}).status_code == 404


def test_the_page_says_what_is_in_it(portal):
    assert "The record is yours" in text(portal.client("owner").get(reverse("export")))
