"""Report a fault: safety holds at once with its caution, the rest goes to the bench with the crew's words."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.cautions import caution_for_finding
from fleet.models import DueFlag, Failure, GuardCheck, Service
from fleet.models.tenancy import all_tenants
from fleet.record.faults import FAULTS
from fleet.vocabulary import COMPONENTS, SAFETY_STATES
from tests import factories

TODAY = dt.date.today()
URL = "/report-fault/"


def form(unit, fault, **given):
    return {
        "client_entry_id": str(uuid.uuid4()), "unit": str(unit.pk), "fault": fault, "words": "", "component": "",
        "occurred_on": TODAY.isoformat(), **given,
    }  # fmt: skip


def report(client, unit, fault, **given):
    return client.post(URL, form(unit, fault, **given), follow=True).content.decode()


def on_hold(unit):
    with all_tenants():
        return DueFlag.objects.filter(trimmer=unit, on_hold=True).exists()


def test_list_offers_units_of_the_crew_and_safety_first(portal):
    html = portal.client("boss").get(URL).content.decode()
    assert "QH-01" in html
    assert "QH-03" not in html
    assert html.index("The switch does not stop the engine") < html.index("Does not start")


def test_unit_can_be_chosen_beforehand(portal):
    html = portal.client("boss").get(f"{URL}?unit={portal.units['due'].pk}").content.decode()
    assert "QH-01: report a fault" in html
    assert "QH-02" not in html


@pytest.mark.parametrize("fault", [f.key for f in FAULTS.values() if f.holds])
def test_safety_fault_holds_at_once_and_says_why(portal, fault):
    unit = portal.units["due"]
    html = report(portal.client("boss"), unit, fault)
    assert on_hold(unit)
    assert "QH-01 is on hold: do not start." in html
    # What it can do stands on the unit's page as a caution, not inside a message.
    assert html.count('class="caution"') == 1
    assert str(caution_for_finding(FAULTS[fault].caution).text) in unescape(html)
    assert 'class="message warning"' in html


def test_fault_for_the_bench_is_an_open_failure_with_the_crews_words(portal):
    unit = portal.units["due"]
    html = report(portal.client("boss"), unit, "bogs", words="after ten minutes, in thick grass")
    with all_tenants():
        entry = Failure.objects.get(trimmer=unit)
    assert (entry.component, entry.done, entry.found) == ("carburetor", "", "in_use")
    assert entry.what == "Bogs, dies or has no power. after ten minutes, in thick grass"
    assert not on_hold(unit)
    assert "The shop sees it" in html
    told = re.search(r'<[^>]*class="message info".*?</', html, re.S).group(0)
    assert "drop-off" not in told


def test_something_else_asks_where_and_what(portal):
    unit, client = portal.units["due"], portal.client("boss")
    response = client.post(URL, form(unit, "other", words="strap hook torn"))
    assert response.status_code == 422
    assert "which part" in response.content.decode()
    assert "strap hook torn" in response.content.decode()
    report(client, unit, "other", words="strap hook torn", component="mounts")
    with all_tenants():
        assert Failure.objects.get().component == "mounts"


def test_every_fault_has_a_place_in_the_ledger():
    for fault in FAULTS.values():
        assert fault.holds != bool(fault.component), fault.key
        assert fault.component in {"", "other", *COMPONENTS}
        assert fault.safety in {"", *SAFETY_STATES}


def test_screen_is_recorded_as_found(portal):
    report(portal.client("boss"), portal.units["due"], "screen_missing")
    with all_tenants():
        entry = Service.objects.get()
    assert (entry.task, entry.as_found, entry.done) == ("arrestor", "missing", "looked")


def test_same_press_twice_records_once(portal):
    unit, client = portal.units["due"], portal.client("boss")
    for fault, model in (("guard_off", GuardCheck), ("starter", Failure)):
        data = form(unit, fault)
        assert client.post(URL, data).status_code == 302
        assert client.post(URL, data).status_code == 302
        with all_tenants():
            assert model.objects.filter(trimmer=unit).count() == 1


def test_bad_input_is_answered_on_the_page(portal):
    unit, client = portal.units["due"], portal.client("boss")
    for bad in ({"fault": ""}, {"unit": ""}, {"fault": "explodes"}, {"occurred_on": "someday"}):
        response = client.post(URL, form(unit, "starter", words="rope gone") | bad)
        assert response.status_code == 422, bad
        assert "rope gone" in response.content.decode()
    with all_tenants():
        assert not Failure.objects.exists()


def test_htmx(portal):
    client = portal.htmx("boss", URL)
    assert client.get(URL).content.decode().lstrip().startswith('<div id="page"')
    assert client.post(URL, form(portal.units["due"], "starter"))["HX-Redirect"] == f"/units/{portal.units['due'].pk}/"


def test_strangers_get_404_and_cannot_write(portal):
    unit = portal.units["due"]
    for who in ("stranger", "neighbor", "other_bench"):
        client = portal.client(who)
        assert client.get(f"{URL}?unit={unit.pk}").status_code == 404
        assert client.post(URL, form(unit, "starter")).status_code == 422
    with all_tenants():
        assert not Failure.objects.exists()


def test_query_count_does_not_grow_with_the_crew(portal):
    client = portal.client("boss")

    def queries():
        with CaptureQueriesContext(connection) as found:
            assert client.get(URL).status_code == 200
        return len(found)

    few = queries()
    for number in range(18):
        factories.make_unit(portal.north, f"QN-{number:02d}", run=None)
    assert queries() == few
    assert len(re.findall("<option", client.get(URL).content.decode())) > 20
