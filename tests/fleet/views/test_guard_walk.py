"""The guard walk: one tap where all is well, three at most, one save; refitted lifts the hold at once."""

from __future__ import annotations

import datetime as dt
import re
import uuid

from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import GuardCheck
from fleet.models.tenancy import all_tenants
from tests import factories

TODAY = dt.date.today()
URL = "/guard-walk/"


def form(seen, **given):
    """``seen``: unit -> (guard, line, safety)."""
    data = {"client_entry_id": str(uuid.uuid4()), "occurred_on": TODAY.isoformat(), **given}
    for unit, answers in seen.items():
        data |= {f"u{unit.pk}-{name}": value for name, value in zip(("guard", "line", "safety"), answers, strict=True)}
    return data


def walks(unit):
    with all_tenants():
        return list(GuardCheck.objects.filter(trimmer=unit).order_by("pk"))


def test_every_unit_of_the_crew_with_its_three_questions(portal):
    html = portal.client("boss").get(URL).content.decode()
    assert re.findall(r'<b class="tag">([^<]+)</b>', html) == ["QH-01", "QH-02"]
    assert html.count("all good</span>") == 2
    assert html.count('type="radio"') == 2 * (7 + 4 + 7)
    # Nothing is answered for anybody beforehand.
    assert re.findall(r'<input type="radio"[^>]*value="(\w*)"[^>]*checked', html) in ([], ["", ""])
    assert "Without its guard" in html


def test_all_good_is_one_answer(portal):
    unit = portal.units["due"]
    response = portal.client("boss").post(
        URL, form({unit: ("good", "", ""), portal.units["fresh"]: ("", "", "")}), follow=True
    )
    assert "Guard walk of 1 unit saved." in response.content.decode()
    (seen,) = walks(unit)
    assert (seen.guard, seen.line, seen.safety, seen.seen_by) == ("on", "ok", "ok", "crew")
    assert walks(portal.units["fresh"]) == []


def test_three_answers_are_kept_as_given(portal):
    unit = portal.units["due"]
    portal.client("boss").post(URL, form({unit: ("no_cutter", "long", "ok")}))
    assert [(s.guard, s.line, s.safety) for s in walks(unit)] == [("no_cutter", "long", "ok")]


def test_guard_off_holds_the_unit_and_says_so(portal):
    response = portal.client("boss").post(URL, form({portal.units["due"]: ("off", "", "")}), follow=True)
    html = response.content.decode()
    assert "QH-01 is on hold: do not start. Guard off." in html
    assert "hold: do not start" in html


def test_refitted_frees_the_unit_at_once(portal):
    unit = portal.units["held"]
    response = portal.client("south").post(URL, form({unit: ("refitted", "", "")}), follow=True)
    html = response.content.decode()
    assert "Guard refitted, its hold is lifted: QH-03." in html
    assert "do not start" not in html


def test_undo_takes_the_whole_walk_back(portal):
    client = portal.client("boss")
    html = client.post(
        URL, form({portal.units["due"]: ("off", "", ""), portal.units["fresh"]: ("damaged", "", "")}), follow=True
    ).content.decode()
    token = re.search(r'name="entries" value="([^"]+)"', html).group(1)
    html = client.post("/undo/", {"entries": token, "next": "/"}, follow=True).content.decode()
    assert "do not start" not in html


def test_htmx_save_and_part(portal):
    client = portal.htmx("boss", URL)
    assert client.get(URL).content.decode().lstrip().startswith('<div id="page"')
    response = client.post(URL, form({portal.units["due"]: ("good", "", "")}))
    assert response["HX-Redirect"] == f"/?crew={portal.north.pk}"


def test_bad_input_is_answered_on_the_page_with_nothing_lost(portal):
    unit, client = portal.units["due"], portal.client("boss")
    tomorrow = (TODAY + dt.timedelta(days=1)).isoformat()
    response = client.post(URL, form({unit: ("damaged", "long", "fuel_leak")}, occurred_on=tomorrow))
    html = response.content.decode()
    assert response.status_code == 422
    assert "still to come" in html
    assert set(re.findall(r'value="(damaged|long|fuel_leak)"[^>]*checked', html)) == {"damaged", "long", "fuel_leak"}
    assert client.post(URL, form({unit: ("gone", "", "")})).status_code == 422
    response = client.post(URL, form({unit: ("", "", "")}))
    assert response.status_code == 422
    assert "Nothing was seen yet" in response.content.decode()
    assert walks(unit) == []


def test_same_press_twice_records_once(portal):
    unit, client = portal.units["due"], portal.client("boss")
    data = form({unit: ("good", "", "")})
    client.post(URL, data)
    client.post(URL, data)
    assert len(walks(unit)) == 1


def test_strangers_get_404_and_cannot_write(portal):
    unit = portal.units["due"]
    for who in ("stranger", "neighbor", "other_bench"):
        client = portal.client(who)
        assert client.get(f"{URL}?unit={unit.pk}").status_code == 404
        assert client.get(f"{URL}?crew={portal.north.pk}").status_code == 404
        client.post(URL, form({unit: ("off", "", "")}))
    assert walks(unit) == []


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


def test_words_do_not_punish_honesty(portal):
    html = portal.client("boss").get(URL).content.decode()
    lead = re.search(r'<p class="lead">(.*?)</p>', html, re.S).group(1)
    assert "worth more than a clean sheet" in lead
    assert not re.search(r"\b(blame|violation|fault of|penalt|report(ed)? to)\b", lead)
