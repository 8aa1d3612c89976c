"""A unit's paper: a recall notice done on it lifts its stop, and what was missing is filled in once, with who did."""

from __future__ import annotations

import csv
import io
import uuid
import zipfile

import pytest
from django.urls import reverse
from openpyxl import load_workbook

from fleet.models import NoticeDone, Trimmer, UnitFactsFilled
from fleet.models.tenancy import all_tenants
from fleet.record.columns import kind_of_file
from fleet.upkeep.recalls import units_under_notices
from fleet.upkeep.stops import stops_for
from tests import factories
from tests.fleet.views.pages import text

TODAY = factories.days_ago(0)
SLIP = "Invented dealer, new fuel cap, slip 12"


@pytest.fixture(autouse=True)
def _all():
    with all_tenants():
        yield


@pytest.fixture
def recalled(portal):
    """QH-01 is named by its serial, QH-02 has none on record."""
    unit = portal.units["due"]
    portal.notice = factories.make_notice(unit.model, "OH2310000 - OH2319999")
    return portal


def stop_kinds(unit: Trimmer) -> list[str]:
    return [stop.kind for stop in stops_for([(unit.pk, unit.model_id)], TODAY).get(unit.pk, [])]


def said(**changes: object) -> dict[str, object]:
    return {"client_entry_id": uuid.uuid4(), "occurred_on": TODAY.isoformat(), "note": SLIP, **changes}


@pytest.mark.parametrize("who", ["owner", "technician", "manager", "administrator"])
def test_done_as_the_notice_says_lifts_the_stop(recalled, who):
    unit, client = recalled.units["due"], recalled.client(who)
    assert stop_kinds(unit) == ["recall"]
    url, page = reverse("notice_done", args=[unit.pk, recalled.notice.pk]), reverse("unit", args=[unit.pk])
    assert f'href="{url}"' in client.get(page).content.decode()
    assert recalled.notice.text in client.get(url).content.decode()
    press = said()
    assert client.post(url, press).status_code == 302
    client.post(url, press)  # the same press, sent twice
    (row,) = NoticeDone.objects.all()
    assert (row.trimmer, row.notice, row.occurred_on, row.note, row.author) == (
        unit, recalled.notice, TODAY, SLIP, recalled.people[who],
    )  # fmt: skip
    assert stop_kinds(unit) == []
    shown = text(client.get(page))
    assert SLIP in shown
    assert "Recall: do as the notice says" not in shown
    (line,) = units_under_notices([recalled.quarry.pk])
    assert (unit in line.listed, unit in line.done) == (False, True)
    # Before it was done it stopped the unit, and on that day it still did.
    assert unit.pk in stops_for([(unit.pk, unit.model_id)], factories.days_ago(2))


def test_taken_back_it_stops_the_unit_again_and_stays_to_be_seen(recalled):
    unit, client = recalled.units["due"], recalled.client("owner")
    client.post(reverse("notice_done", args=[unit.pk, recalled.notice.pk]), said())
    row = NoticeDone.objects.get()
    back = reverse("notice_taken_back", args=[unit.pk, row.pk])
    assert recalled.client("technician").post(back).status_code == 404  # not theirs, and no say over others'
    assert client.get(back).status_code == 405
    client.post(back)
    row.refresh_from_db()
    assert row.taken_back_by == recalled.people["owner"]
    assert row.note == SLIP
    assert stop_kinds(unit) == ["recall"]
    shown = text(client.get(reverse("unit", args=[unit.pk])))
    assert SLIP in shown
    assert "Taken back" in shown
    # It can be done after all.
    assert client.post(reverse("notice_done", args=[unit.pk, recalled.notice.pk]), said()).status_code == 302
    assert stop_kinds(unit) == []


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"note": "  "}, "Fill this in"),
        ({"occurred_on": factories.days_ago(40).isoformat()}, "before the notice was issued"),
        ({"occurred_on": factories.days_ago(-2).isoformat()}, "still to come"),
    ],
)
def test_what_cannot_be_so_is_said_on_the_form(recalled, changes, words):
    unit = recalled.units["due"]
    answer = recalled.client("owner").post(reverse("notice_done", args=[unit.pk, recalled.notice.pk]), said(**changes))
    assert answer.status_code == 422
    assert words in text(answer, 422)
    assert not NoticeDone.objects.exists()


def test_a_crew_boss_and_a_stranger_close_no_recall(recalled):
    unit = recalled.units["due"]
    url = reverse("notice_done", args=[unit.pk, recalled.notice.pk])
    for who in ("boss", "stranger", "neighbor"):
        assert recalled.client(who).post(url, said()).status_code == 404
    assert url not in recalled.client("boss").get(reverse("unit", args=[unit.pk])).content.decode()
    other = factories.make_notice(factories.make_model("Rook"))
    assert recalled.client("owner").get(reverse("notice_done", args=[unit.pk, other.pk])).status_code == 404
    assert not NoticeDone.objects.exists()


def test_a_missing_serial_is_filled_in_and_settles_the_recall(recalled):
    unit, client = recalled.units["fresh"], recalled.client("owner")
    assert stop_kinds(unit) == ["serial"]
    url, page = reverse("unit_facts", args=[unit.pk]), reverse("unit", args=[unit.pk])
    assert f'href="{url}"' in client.get(page).content.decode()
    version = Trimmer.objects.get(pk=unit.pk).ledger_version
    assert client.post(url, {"serial": " OH9900001 "}).status_code == 302
    unit.refresh_from_db()
    assert unit.serial == "OH9900001"
    assert unit.ledger_version == version + 1
    assert stop_kinds(unit) == []
    (row,) = UnitFactsFilled.objects.all()
    assert (row.after, row.author) == ({"serial": "OH9900001"}, recalled.people["owner"])
    assert "Filled in later: serial, by" in text(client.get(page))
    # What stands is asked for no more, and is not changed from here.
    client.post(url, {"serial": "OTHER", "price": "389.00"})
    unit.refresh_from_db()
    assert (unit.serial, str(unit.price)) == ("OH9900001", "389.00")
    assert 'name="serial"' not in client.get(url).content.decode()


def test_bad_facts_are_answered_on_the_form_and_others_may_not(recalled):
    unit = recalled.units["fresh"]
    url, client = reverse("unit_facts", args=[unit.pk]), recalled.client("technician")
    for given, words in (
        ({}, "Fill in at least one"),
        ({"bought_on": TODAY.isoformat()}, "bought after it was registered"),
        ({"bought_on": "1901-01-01"}, "Check the year"),
        ({"price": "-1"}, "Write 0 or more"),
    ):
        answer = client.post(url, given)
        assert answer.status_code == 422
        assert words in text(answer, 422)
    for who in ("boss", "stranger"):
        assert recalled.client(who).get(url).status_code == 404
    assert not UnitFactsFilled.objects.exists()


@pytest.mark.parametrize("form", ["csv", "xlsx"])
def test_what_was_done_goes_out_with_the_export_and_is_no_file_to_hand_in(recalled, form):
    unit, client = recalled.units["due"], recalled.client("owner")
    before = _parts(client, form, recalled.quarry)
    client.post(reverse("notice_done", args=[unit.pk, recalled.notice.pk]), said(note="=cap fitted"))
    client.post(reverse("notice_taken_back", args=[unit.pk, NoticeDone.objects.get().pk]))
    after = _parts(client, form, recalled.quarry)
    (new,) = set(after) - set(before)
    assert {name: after[name] for name in before} == before
    header, row = after[new]
    found = dict(zip(header, row, strict=True))
    assert (found["unit"], found["serial"], found["note"]) == ("QH-01", "OH2310001", "'=cap fitted")
    assert found["taken_back_on"]
    assert kind_of_file(new) is None


def _parts(client, form, contractor):  # type: ignore[no-untyped-def]
    """Rows of each file or sheet of the export."""
    content = io.BytesIO(client.post(reverse("export"), {"form": form, "contractor": contractor.pk}).content)
    if form == "xlsx":
        return {s.title: list(s.iter_rows(values_only=True)) for s in load_workbook(content).worksheets}
    with zipfile.ZipFile(content) as archive:
        return {n: list(csv.reader(io.StringIO(archive.read(n).decode()))) for n in archive.namelist()}
