"""Hours: a crew on one page, one unit, the crew's week; asked about above 8 a day; nothing lost, nothing twice."""

from __future__ import annotations

import datetime as dt
import re
import uuid
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import CrewHours, HoursEntry
from fleet.models.tenancy import all_tenants
from tests import factories

TODAY = dt.date.today()


def form(lines, **given):
    """``lines``: unit -> (figure, kind)."""
    data = {"client_entry_id": str(uuid.uuid4()), "occurred_on": TODAY.isoformat(), **given}
    for unit, (figure, kind) in lines.items():
        data |= {f"u{unit.pk}-figure": figure, f"u{unit.pk}-kind": kind}
    return data


def everyone(portal, **given):
    """All lines of the crew North, empty but for those given by key."""
    return {portal.units[key]: given.get(key, ("", "run")) for key in ("due", "fresh")}


def entries(today_only=True):
    with all_tenants():
        rows = HoursEntry.objects.order_by("trimmer__tag")
        return list(rows.filter(occurred_on=TODAY) if today_only else rows)


def test_one_line_a_unit_with_hours_now_and_the_usual_week(portal):
    html = portal.client("boss").get("/hours/").content.decode()
    assert "Hours, North" in html
    assert re.findall(r'<b class="tag">([^<]+)</b>', html) == ["QH-01", "QH-02"]
    assert re.search(r"about \d+ h now, usual week \d+ h", html)
    assert 'inputmode="decimal"' in html
    # What the last entry was is offered first: these units were read off a meter.
    assert re.search(r'<option value="meter" selected', html)
    assert not re.search(r'name="u\d+-figure"[^>]*value=', html)


def test_a_whole_crew_in_one_save_each_its_own_way(portal):
    lines = everyone(portal, due=("6,5", "run"), fresh=("1", "gal"))
    response = portal.client("boss").post("/hours/", form(lines), follow=True)
    assert "Hours of 2 units saved." in response.content.decode()
    first, second = entries()
    assert first.hours_run == Decimal("6.50")
    assert second.litres == Decimal("3.79")  # one US gallon, 231 cubic inches
    assert first.author == portal.people["boss"]


def test_htmx_save_leads_to_the_list(portal):
    response = portal.htmx("boss", "/hours/").post("/hours/", form(everyone(portal, due=("4", "run"))))
    assert response.status_code == 204
    assert response["HX-Redirect"] == f"/?crew={portal.north.pk}"


def test_htmx_choice_of_crew_gets_the_part(portal):
    html = portal.htmx("owner", "/hours/").get(f"/hours/?crew={portal.south.pk}").content.decode()
    assert html.lstrip().startswith('<div id="page"')
    assert "QH-03" in html


def test_figures_above_eight_a_day_are_asked_about_with_nothing_lost(portal):
    client = portal.client("boss")
    lines = everyone(portal, due=("45", "run"), fresh=("3", "run"))
    response = client.post("/hours/", form(lines))
    html = response.content.decode()
    assert response.status_code == 422
    assert "more than 8 a day" in html
    assert 'name="sure"' in html
    assert re.search(
        rf'name="u{portal.units["due"].pk}-figure"[^>]*value="45"|value="45"[^>]*name="u{portal.units["due"].pk}-figure"',
        html,
    )
    assert 'value="3"' in html
    assert entries() == []
    client.post("/hours/", form(lines, sure="on"))
    assert [e.hours_run for e in entries()] == [Decimal(45), Decimal(3)]


def test_every_bad_line_is_told_next_to_it_at_once(portal):
    lines = everyone(portal, due=("90", "run"), fresh=("2", "meter"))
    html = portal.client("boss").post("/hours/", form(lines)).content.decode()
    parts = html.split('<li class="entry-line')
    assert "90 hours for QH-01 is more than 8 a day" in parts[1]
    assert "would go backwards" in parts[2]
    assert entries() == []


@pytest.mark.parametrize("figure", ["seven", "-3", "1e3", "NaN"])
def test_what_is_no_figure_is_answered_on_its_line(portal, figure):
    response = portal.client("boss").post("/hours/", form(everyone(portal, due=(figure, "run"))))
    html = response.content.decode()
    assert response.status_code == 422
    assert "Write a figure" in html
    assert f'value="{figure}"' in html


def test_nothing_entered_says_so(portal):
    response = portal.client("boss").post("/hours/", form(everyone(portal)))
    assert response.status_code == 422
    assert "Nothing was entered yet" in response.content.decode()


def test_a_day_to_come_is_refused(portal):
    tomorrow = (TODAY + dt.timedelta(days=1)).isoformat()
    response = portal.client("boss").post("/hours/", form(everyone(portal, due=("3", "run")), occurred_on=tomorrow))
    assert response.status_code == 422
    assert "still to come" in response.content.decode()


def test_same_press_twice_records_once(portal):
    client, data = portal.client("boss"), form(everyone(portal, due=("3", "run"), fresh=("2", "run")))
    client.post("/hours/", data)
    client.post("/hours/", data)
    assert len(entries()) == 2


def test_one_unit_with_a_new_meter(portal):
    unit, client = portal.units["due"], portal.client("boss")
    html = client.get(f"/hours/?unit={unit.pk}&meter=new").content.decode()
    assert re.findall(r'<b class="tag">([^<]+)</b>', html) == ["QH-01"]
    assert re.search(r'name="u\d+-meter_replaced"[^>]*checked', html)
    data = form({unit: ("0", "meter")}) | {f"u{unit.pk}-meter_replaced": "on"}
    response = client.post(f"/hours/?unit={unit.pk}", data, follow=True)
    assert response.redirect_chain[-1][0] == f"/units/{unit.pk}/"
    assert entries()[0].meter_replaced


def test_strangers_get_404(portal):
    unit = portal.units["due"]
    for who in ("stranger", "neighbor", "other_bench"):
        client = portal.client(who)
        assert client.get(f"/hours/?unit={unit.pk}").status_code == 404
        assert client.get(f"/hours/?crew={portal.north.pk}").status_code == 404
        assert client.post(f"/hours/crew/?crew={portal.north.pk}", {}).status_code == 404
        client.post("/hours/", form({unit: ("3", "run")}))
    assert entries() == []


def test_query_count_does_not_grow_with_the_crew(portal):
    client = portal.client("boss")

    def queries():
        with CaptureQueriesContext(connection) as found:
            assert client.get("/hours/").status_code == 200
        return len(found)

    few = queries()
    for number in range(18):
        factories.make_unit(portal.north, f"QN-{number:02d}")
    assert queries() == few


def test_the_crews_week(portal):
    url = f"/hours/crew/?crew={portal.north.pk}"
    data = {
        "client_entry_id": str(uuid.uuid4()),
        "week_of": TODAY.isoformat(),
        "figure": "31,5",
        "kind": "run",
        "share": "",
    }
    client = portal.client("boss")
    response = client.post(url, data, follow=True)
    assert "North: hours of the week saved." in response.content.decode()
    client.post(url, data)
    with all_tenants():
        entry = CrewHours.objects.get()
    assert entry.crew_hours == Decimal("31.50")
    assert entry.week_of.weekday() == 0
    again = client.post(url, {**data, "client_entry_id": str(uuid.uuid4())})
    assert again.status_code == 422
    assert "already in" in again.content.decode()
    assert 'value="31,5"' in again.content.decode()


def test_a_shared_can(portal):
    url = f"/hours/crew/?crew={portal.north.pk}"
    data = {
        "client_entry_id": str(uuid.uuid4()),
        "week_of": TODAY.isoformat(),
        "figure": "20",
        "kind": "l",
        "share": "60 %",
    }
    portal.client("boss").post(url, data)
    with all_tenants():
        entry = CrewHours.objects.get()
    assert (entry.crew_litres, entry.trimmer_share) == (Decimal("20.00"), Decimal("0.600"))
    response = portal.client("boss").post(url, {**data, "client_entry_id": str(uuid.uuid4()), "share": "140"})
    assert response.status_code == 422
