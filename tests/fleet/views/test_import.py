"""Files handed in on the screen: seen first, taken once, kept for their owner alone, and nothing lost on the way."""

from __future__ import annotations

import io
import os
import re
import time

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from django.utils import timezone
from openpyxl import Workbook

from fleet.models import HoursEntry, ImportRun, Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record import import_runs
from tests.factories import days_ago
from tests.fleet.views.pages import PART, errors, text

UNITS = "unit,crew,maker,model,serial,registered_on,color\nQH-70,North,Ostrel,Heron,OH2699001,2026-01-05,green\n"
DAY = days_ago(60).isoformat()
HOURS = f"unit,date,hours_run\nQH-01,{DAY},4\nQH-99,{DAY},4\nQH-01,2026-02-30,4\n"


def file(name: str, content: str | bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, content.encode() if isinstance(content, str) else content)


def hand_in(client, *files, **said):
    return client.post(reverse("import"), {"upload": list(files), **said})


def given(portal, *files, who="owner"):
    """Hand files in; the client, the set's own address, and its row."""
    client = portal.client(who)
    response = hand_in(client, *files, contractor=portal.quarry.pk)
    assert response.status_code == 302, errors(response)
    return client, response["Location"], ImportRun.objects.latest("pk")


def test_the_page_asks_for_files_without_scolding(portal):
    response = portal.client("owner").get(reverse("import"))
    assert "What the files are called" in text(response)
    assert not errors(response, 200)


def test_the_page_names_each_files_columns(portal):
    page = text(portal.client("owner").get(reverse("import")))
    assert "unit contractor date meter_hours hours_run" in page


def test_what_would_be_added_is_shown_and_nothing_is_written(portal):
    client, url, _run = given(portal, file("units.csv", UNITS))
    page = text(client.get(url))
    assert "1 row would be added" in page
    assert "units.csv 1 0 0 color" in page
    with all_tenants():
        assert not Trimmer.objects.filter(tag="QH-70").exists()


def test_bad_rows_are_named_with_what_to_do(portal):
    client, url, run = given(portal, file("hours.csv", HOURS))
    page = text(client.get(url))
    assert "hours.csv, line 3" in page
    assert "2026-02-30" in page
    assert "1 file with bad rows would stay out" in page
    assert "disabled" in client.get(url).content.decode()
    rows = client.get(reverse("import_bad", args=[run.token])).content.decode("utf-8-sig").splitlines()
    assert rows[0] == "file,line,column,value,reason"
    assert [row.split(",")[1] for row in rows[1:]] == ["3", "4"]


def test_taking_them_adds_each_row_once(portal, at_once):
    client, url, run = given(portal, file("units.csv", UNITS))
    take = reverse("import_take", args=[run.token])
    assert client.post(take)["Location"] == url
    page = text(client.get(url))
    assert "1 row was added" in page
    with all_tenants():
        unit = Trimmer.objects.get(tag="QH-70")
        assert unit.contractor == portal.quarry
    run.refresh_from_db()
    assert run.state == ImportRun.DONE
    client.post(take)
    with all_tenants():
        assert Trimmer.objects.filter(tag="QH-70").count() == 1
    client, url, _run = given(portal, file("units.csv", UNITS))
    assert "0 rows would be added. 1 is there already." in text(client.get(url))


def test_who_handed_it_in_is_the_author(portal, at_once):
    client, _url, run = given(portal, file("hours.csv", f"unit,date,hours_run\nQH-02,{days_ago(3)},4\n"))
    client.post(reverse("import_take", args=[run.token]))
    with all_tenants():
        entry = HoursEntry.objects.get(source="import", author=portal.people["owner"])
        assert entry.trimmer == portal.units["fresh"]


def test_a_workbook_does_as_well(portal):
    book = Workbook()
    for row in UNITS.splitlines():
        book.active.append(row.split(","))
    content = io.BytesIO()
    book.save(content)
    client, url, _run = given(portal, file("UNITS.xlsx", content.getvalue()))
    assert "1 row would be added" in text(client.get(url))


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ([], "Choose the files first."),
        ([("photo.jpg", "x")], "none of"),
        ([("hours.csv", HOURS), ("hours.csv", HOURS)], "twice"),
        ([("hours.csv", "")], "empty"),
        ([(f"hours{'_' * n}.csv", HOURS) for n in range(21)], "more than 20"),
    ],
)
def test_what_cannot_be_taken_is_said_on_the_page(portal, files, words):
    response = hand_in(portal.client("owner"), *(file(*one) for one in files), contractor=portal.quarry.pk)
    assert words in errors(response)["id_upload"]
    assert not ImportRun.objects.exists()


def test_the_sum_of_files_is_bounded(portal, monkeypatch):
    monkeypatch.setattr(import_runs, "MAX_TOTAL", 10)
    response = hand_in(portal.client("owner"), file("hours.csv", HOURS), contractor=portal.quarry.pk)
    assert "more than" in errors(response)["id_upload"]


def test_a_request_larger_than_any_set_is_not_read(portal, monkeypatch):
    monkeypatch.setattr("fleet.uploads.MAX_REQUEST", 1000)
    response = hand_in(portal.client("owner"), file("hours.csv", "x" * 2000), contractor=portal.quarry.pk)
    assert response.status_code == 400
    assert "could not be read" in text(response, 400)


def test_damaged_files_are_answered(portal):
    client, url, _run = given(portal, file("units.xlsx", b"PK\x03\x04 no workbook"), file("hours.csv", b"\xff\xfe\x00"))
    assert "damaged" in text(client.get(url))


def test_rows_of_another_contractor_are_refused(portal, at_once):
    rows = UNITS.replace("unit,", "contractor,unit,", 1).replace("QH-70", "Millrace Estates,ME-70")
    client, url, run = given(portal, file("units.csv", rows))
    assert "cannot import for this contractor" in text(client.get(url))
    client.post(reverse("import_take", args=[run.token]))
    with all_tenants():
        assert not Trimmer.objects.filter(tag="ME-70").exists()
    response = hand_in(portal.client("owner"), file("units.csv", UNITS), contractor=portal.millrace.pk)
    assert "id_contractor" in errors(response)


def test_a_shop_does_not_change_settings_by_a_file(portal):
    rows = "contractor,labour_rate\nQuarry Hill Grounds,10\n"
    response = hand_in(portal.client("manager"), file("contractors.csv", rows), contractor=portal.quarry.pk)
    assert "only their owners" in errors(response)["id_upload"]
    _client, url, _run = given(portal, file("contractors.csv", rows))
    assert url


def test_an_administrator_may_bring_new_contractors(portal, at_once):
    client = portal.client("administrator")
    rows = UNITS.replace("unit,", "contractor,unit,", 1).replace("QH-70", "Brook Lawn,BL-1")
    response = hand_in(client, file("units.csv", rows))
    client.post(reverse("import_take", args=[ImportRun.objects.get().token]))
    assert "1 row was added" in text(client.get(response["Location"]))


def test_files_lie_under_a_name_nobody_can_guess_readable_by_us_alone(portal, tmp_path):
    _client, _url, run = given(portal, file("hours.csv", HOURS))
    folder = import_runs.folder_of(run)
    assert folder.parent == tmp_path / "media" / "uploads"
    assert len(run.token) >= 22
    assert folder.stat().st_mode & 0o077 == 0
    assert {path.name for path in folder.iterdir()} == {"00.bin", "bad.jsonl"}


def test_files_go_after_a_day(portal):
    client, url, run = given(portal, file("units.csv", UNITS))
    old = time.time() - 25 * 3600
    os.utime(import_runs.folder_of(run), (old, old))
    assert import_runs.sweep(timezone.now()) == 1
    assert "The files are gone" in text(client.get(url))
    page = client.post(reverse("import_take", args=[run.token]), follow=True)
    assert "Hand them in again" in text(page)


def test_files_can_be_thrown_away(portal):
    client, _url, run = given(portal, file("units.csv", UNITS))
    client.post(reverse("import_drop", args=[run.token]))
    assert not import_runs.folder_of(run).exists()


def test_progress_is_asked_for_while_it_runs(portal, monkeypatch):
    monkeypatch.setattr(import_runs, "_BETWEEN_WORDS", 0)
    client, url, run = given(portal, file("units.csv", UNITS))
    assert import_runs.start_taking(run=run)
    import_runs._Telling(run)(50, 200, "units.csv")
    page = client.get(url).content.decode()
    assert 'http-equiv="refresh"' in page
    part = client.get(url, headers=PART).content.decode()
    assert part.strip().startswith('<div id="state" hx-get=')
    assert "25 %, at units.csv" in re.sub(r"\s+", " ", part)
    assert not import_runs.start_taking(run=ImportRun.objects.get(pk=run.pk))


def test_a_run_that_broke_can_be_taken_again(portal, at_once, monkeypatch):
    client, url, run = given(portal, file("units.csv", UNITS))
    take = reverse("import_take", args=[run.token])

    def broken(*args, **kwargs):
        raise RuntimeError("power cut")

    with monkeypatch.context() as patched:
        patched.setattr(import_runs, "import_files", broken)
        with pytest.raises(RuntimeError):
            client.post(take)
    assert "Something broke on our side" in text(client.get(url))
    client.post(take)
    assert "1 row was added" in text(client.get(url))


def test_a_run_that_died_with_its_process_can_be_taken_again(portal, at_once):
    client, url, run = given(portal, file("units.csv", UNITS))
    import_runs.start_taking(run=run)
    ImportRun.objects.filter(pk=run.pk).update(heard_at=timezone.now() - 2 * import_runs.SILENT)
    assert "stopped being taken" in text(client.get(url))
    client.post(reverse("import_take", args=[run.token]))
    assert "1 row was added" in text(client.get(url))


def test_roles_that_import_nothing(portal):
    for who in ("boss", "technician"):
        assert portal.client(who).get(reverse("import")).status_code == 404
