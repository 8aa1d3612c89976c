"""A unit that a recall or an open fault stops: every screen, file and paper says so, and nothing says it may run."""

from __future__ import annotations

import csv
import io
import re

import pytest
from django.urls import reverse

from fleet.models.tenancy import all_tenants
from fleet.record.corrections import withdraw
from fleet.record.faults import report_fault
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.work import Broken, record_failure
from fleet.record.writing import By
from fleet.upkeep.lines import ready_list, seasons_of
from fleet.upkeep.stops import stops_for
from tests import factories
from tests.fleet.views.pages import queries, text

SIGN = "Recall: do as the notice says"
NOTICE = "Invented notice: the fuel cap may leak. Take the unit to a dealer."
SOURCE = "Ostrel safety notice (invented)"
TODAY = factories.days_ago(0)
SHOP = By(None, "screen", "shop")


@pytest.fixture
def recalled(portal):
    """QH-02, on which no job is due, is named by a notice; QH-01, which has jobs due, is too."""
    fresh = portal.units["fresh"]
    with all_tenants():
        type(fresh).objects.filter(pk=fresh.pk).update(serial="OH2310002")
        for key in ("held", "theirs"):
            type(fresh).objects.filter(pk=portal.units[key].pk).update(serial="OH9900001")
    factories.make_notice(fresh.model, "OH2310000 - OH2319999")
    return portal


def line_of(html: str, unit) -> str:
    return html[html.index(f'id="u{unit.pk}"') :].split("</li>")[0]


def test_the_ready_list_stops_recalled_units_with_and_without_a_job(recalled):
    html = recalled.client("boss").get("/").content.decode()
    for key in ("due", "fresh"):
        line = line_of(html, recalled.units[key])
        assert 'class="sign hold"' in line
        assert SIGN in line
        assert NOTICE in line
        assert SOURCE in line
        assert "Do not start it." in line
        assert 'class="button main"' not in line  # no job is what to do first
        assert '<svg class="rail"' not in line
    answer = " ".join(re.search(r'<p class="answer">(.*?)</p>', html, re.S).group(1).split())
    assert "<b>2</b> on hold" in answer
    assert "<b>2</b> of those on hold are under a recall notice" in answer
    assert "<b>0</b> of 2 units have no job due" in answer


@pytest.mark.parametrize("show", ["yard", "bench"])
def test_a_place_keeps_recalled_units_in_sight(recalled, show):
    carry = (TODAY + (TODAY - factories.days_ago(20))).isoformat()
    page = recalled.client("boss").get("/", {"carry": carry, "show": show}).content.decode()
    assert SIGN in line_of(page, recalled.units["fresh"])


def test_a_notice_about_other_serials_stops_nothing(recalled):
    html = recalled.client("south").get("/").content.decode()
    assert SIGN not in html
    assert NOTICE not in html


def test_a_unit_without_a_serial_rests_until_its_plate_was_read(portal):
    factories.make_notice(portal.units["fresh"].model, "OH9910000 - OH9919999")
    html = portal.client("boss").get("/").content.decode()
    assert "Recall: compare its serial first" in line_of(html, portal.units["fresh"])
    assert "Recall" not in line_of(html, portal.units["due"])  # its serial is on record, and not named


@pytest.mark.parametrize("url", ["/print/", "/ready.csv"])
def test_paper_and_file_name_recalled_units_without_a_job(recalled, url):
    told = recalled.client("boss").get(url).content.decode("utf-8-sig")
    for words in ("QH-02", SIGN, "Do not start it", NOTICE, SOURCE):
        assert words in told, words


def test_the_file_says_stop_on_every_row_of_the_unit(recalled):
    told = recalled.client("boss").get("/ready.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(told)))
    assert {row["unit"] for row in rows if row["task"] == "recall"} == {"QH-01", "QH-02"}
    assert {row["state"] for row in rows if row["task"] == "recall"} == {"hold"}
    assert all(SIGN in row["stop"] for row in rows)
    assert [row["task"] for row in rows if row["unit"] == "QH-02"] == ["recall"]


def test_paper_has_no_box_to_tick_for_a_recall(recalled):
    html = recalled.client("boss").get("/print/").content.decode()
    stopped = re.search(r'<li class="unit">(?:(?!<li class="unit">).)*QH-02.*?</li>\s*</ul>', html, re.S).group(0)
    assert NOTICE in stopped
    assert 'class="box"' not in stopped
    assert "Done on:" not in html.split("QH-02")[1].split('class="unit"')[0]


def test_the_text_to_send_says_each_notice_once_and_stops_each_unit(recalled):
    html = recalled.client("boss").get("/").content.decode()
    sent = re.search(r"<textarea[^>]*data-share-text[^>]*>(.*?)</textarea>", html, re.S).group(1)
    assert sent.count(NOTICE) == 1
    assert f"QH-01, QH-02: {SIGN}. Do not start it." in sent
    assert f"QH-02: {SIGN}." in sent
    assert "QH-01: past due" not in sent


def test_unit_page_units_list_hours_and_guard_walk_stop_it(recalled):
    client, unit = recalled.client("boss"), recalled.units["fresh"]
    page = text(client.get(reverse("unit", args=[unit.pk])))
    assert f"{SIGN}. Do not start it." in page
    assert "First on the list" not in page
    assert f"{NOTICE} {SOURCE}" in page
    for url in (reverse("units"), reverse("hours"), reverse("guard_walk")):
        assert text(client.get(url)).count(SIGN) == 2, url


def test_a_job_done_on_a_recalled_unit_does_not_free_it(recalled):
    client, unit = recalled.client("boss"), recalled.units["due"]
    url = reverse("done", args=[unit.pk, "grease"])
    form = text(client.get(url))
    assert SIGN in form
    assert "no repair takes its place" in form
    press = re.search(r'name="client_entry_id" value="([^"]+)"', client.get(url).content.decode()).group(1)
    said = {"client_entry_id": press, "as_found": "ok", "done": "serviced", "occurred_on": TODAY.isoformat()}
    after = text(client.post(url, said, follow=True))
    assert f"QH-01: {SIGN}. Do not start it." in after


def test_a_guard_back_on_does_not_free_it_either(recalled):
    factories.see_guard(recalled.units["due"], "off")
    url = reverse("guard_refitted", args=[recalled.units["due"].pk])
    after = text(recalled.client("boss").post(url, {"next": "/"}, follow=True))
    assert f"QH-01: {SIGN}. Do not start it." in after


def test_hours_are_taken_and_the_stop_said(recalled):
    client, unit = recalled.client("boss"), recalled.units["fresh"]
    url = f"{reverse('hours')}?unit={unit.pk}"
    press = re.search(r'name="client_entry_id" value="([^"]+)"', client.get(url).content.decode()).group(1)
    said = {
        "client_entry_id": press, "occurred_on": TODAY.isoformat(),
        f"u{unit.pk}-figure": "2", f"u{unit.pk}-kind": "run",
    }  # fmt: skip
    assert f"QH-02: {SIGN}. Do not start it." in text(client.post(url, said, follow=True))


def test_the_command_keeps_its_settled_holds(recalled):
    """Holds of the command are a closed list in which recalls do not stand; the screens stop the unit all the same."""
    with all_tenants():
        found = ready_list(
            [recalled.quarry], seasons_of([recalled.quarry]), as_of=TODAY, before=TODAY, crew_id=recalled.north.pk
        )
    assert found.on_hold == found.recalled == 2
    assert all(job.state != "hold" for line in found.lines for job in line.jobs)


def test_as_many_queries_for_twenty_recalled_units_as_for_two(recalled):
    client = recalled.client("boss")
    few = {url: queries(client, url) for url in ("/", "/units/", "/hours/", "/guard-walk/", "/print/")}
    for number in range(20):
        factories.make_unit(
            recalled.north, f"QN-{number:02d}", model=recalled.units["fresh"].model, serial=f"OH23110{number:02d}"
        )
    assert {url: queries(client, url) for url in few} == few


# -- faults the shop must look at first -----------------------------------------------------------------------------


def stopped(unit) -> bool:
    with all_tenants():
        return bool(stops_for([(unit.pk, unit.model_id)], TODAY))


def report(unit, fault, days=0):
    with all_tenants():
        by = By(None, "screen", "crew")
        return report_fault(unit=unit, fault=fault, on=factories.days_ago(days), by=by, today=TODAY)


@pytest.mark.parametrize("fault", ["hot", "gearbox", "shaft", "muffler", "head_still"])
def test_a_fault_that_may_hurt_stops_the_unit_until_the_shop_has_looked(portal, fault):
    unit = portal.units["fresh"]
    report(unit, fault)
    line = line_of(portal.client("boss").get("/").content.decode(), unit)
    assert 'class="sign hold"' in line
    assert "Do not start it until the shop has looked." in line


def test_the_unit_page_says_stop_once(portal):
    unit = portal.units["fresh"]
    report(unit, "gearbox")
    html = portal.client("boss").get(reverse("unit", args=[unit.pk])).content.decode()
    answer = re.search(r'<p class="answer">(.*?)</p>', html, re.S).group(1)
    assert answer.lower().count("do not start") == 1


@pytest.mark.parametrize("fault", ["no_start", "bogs", "starter", "spark"])
def test_other_faults_do_not(portal, fault):
    report(portal.units["fresh"], fault)
    assert not stopped(portal.units["fresh"])


def test_the_shops_look_the_repair_or_a_withdrawal_frees_it(portal):
    unit = portal.units["fresh"]
    entry = report(unit, "gearbox", days=2)
    with all_tenants():
        record_walk(seen=[Seen(unit, safety="ok")], on=TODAY, by=By(None, "screen", "crew"), today=TODAY)
    assert stopped(unit)  # a crew's look does not
    with all_tenants():
        withdraw(kind="failure", entry_id=entry.pk, why="another unit", by=SHOP)
    assert not stopped(unit)
    report(unit, "gearbox", days=1)
    assert stopped(unit)
    with all_tenants():
        record_failure(broken=Broken(unit, "drive_shaft", TODAY, done="repaired"), by=SHOP, today=TODAY)
    assert stopped(unit)  # something else was mended
    with all_tenants():
        record_failure(broken=Broken(unit, "gearbox", TODAY, done="repaired"), by=SHOP, today=TODAY)
    assert not stopped(unit)
    report(unit, "hot")
    assert stopped(unit)
    with all_tenants():
        record_walk(seen=[Seen(unit, guard="on", safety="ok")], on=TODAY, by=SHOP, today=TODAY)
    assert not stopped(unit)


def test_the_unit_page_tells_why_with_its_caution_and_the_shop_how_it_ends(portal):
    unit = portal.units["fresh"]
    report(unit, "hot")
    page = text(portal.client("boss").get(reverse("unit", args=[unit.pk])))
    assert "Do not start it until the shop has looked. Runs hot or smells of burning" in page
    assert "can light fuel and dry grass" in page
    assert "Record a guard check" not in page
    assert "Record a guard check" in text(portal.client("technician").get(reverse("unit", args=[unit.pk])))
