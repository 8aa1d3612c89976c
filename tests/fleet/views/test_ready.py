"""The Ready list: who sees which lines, what each says, paper, file and text; quick, and the same for htmx."""

from __future__ import annotations

import csv
import datetime as dt
import io
import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Postponement, Trimmer
from fleet.models.tenancy import all_tenants
from tests import factories

CARRY = (dt.date.today() + dt.timedelta(days=28)).isoformat()


def tags(html: str) -> list[str]:
    return re.findall(r'<a class="tag"[^>]*>([^<]+)</a>', html)


def page(client, url: str = "/") -> str:
    response = client.get(url)
    assert response.status_code == 200
    return response.content.decode()


def test_crew_boss_opens_on_the_own_crew_with_the_answer_first(portal):
    html = page(portal.client("boss"))
    assert tags(html) == ["QH-01"]
    answer = " ".join(re.search(r'<p class="answer">(.*?)</p>', html, re.S).group(1).split())
    assert "<b>0</b> on hold" in answer
    assert "<b>1</b> due now or past" in answer
    assert "<b>1</b> of 2 units have no job due" in answer


def test_line_tells_state_jobs_place_rail_and_reasons(portal):
    html = page(portal.client("boss"))
    assert re.search(r'class="sign past_due".*?past due \d+ h', html, re.S)
    assert "Air filter, gearbox grease" in html or "Air filter, arrestor screen clean" in html
    assert '<span class="pill">yard</span>' in html
    assert '<svg class="rail"' in html
    assert "Every 40 h" in html
    assert "the maker" in html  # what the interval rests on
    assert "Hours rest on the meter" in html


def test_what_the_hours_rest_on_is_said_once_a_unit(portal):
    html = page(portal.client("boss"))
    assert html.count('class="duty"') >= 3
    assert html.count("Hours rest on the meter") == 1


def test_hold_shows_what_was_found_and_what_clears_it(portal):
    html = page(portal.client("south"))
    assert tags(html)[0] == "QH-03"
    assert "hold: do not start" in html
    assert "Guard off" in html
    assert "Guard refitted now" in html
    held = html[html.index('id="u') :]
    assert "not-now/head/" not in held


def test_shop_hold_offers_a_crew_nothing_but_the_reason(portal):
    factories.see_guard(portal.units["due"], safety="no_stop")
    html = page(portal.client("boss"))
    assert "The shop clears this after checking the unit." in html
    assert "done/stop_switch/" not in html
    assert "done/stop_switch/" in page(portal.client("technician"), "/?crew=all")


@pytest.mark.parametrize(
    ("who", "seen"),
    [
        ("owner", {"QH-01", "QH-03"}),
        ("manager", {"QH-01", "QH-03", "ME-01"}),
        ("technician", {"QH-01", "QH-03", "ME-01"}),
        ("administrator", {"QH-01", "QH-03", "ME-01"}),
        ("neighbor", {"ME-01"}),
        ("stranger", set()),
        ("other_bench", set()),
    ],
)
def test_everyone_sees_their_own_contractors_units_only(portal, who, seen):
    client = portal.client(who)
    assert set(tags(page(client))) == seen
    hidden = {u.tag for u in portal.units.values()} - seen - {"QH-02"}
    for url in ("/", "/print/", "/ready.csv"):
        answer = client.get(url).content.decode("utf-8-sig")
        assert not [tag for tag in hidden if tag in answer], url


def test_choosing_a_crew_or_contractor_out_of_sight_is_404(portal):
    client = portal.client("stranger")
    assert client.get(f"/?crew={portal.north.pk}").status_code == 404
    assert client.get(f"/?contractor={portal.quarry.pk}").status_code == 404
    assert client.get("/?crew=north").status_code == 404


def test_filters_by_contractor_crew_and_place(portal):
    client = portal.client("manager")
    assert set(tags(page(client, f"/?contractor={portal.millrace.pk}"))) == {"ME-01"}
    assert set(tags(page(client, f"/?crew={portal.south.pk}"))) == {"QH-03"}
    bench = page(client, f"/?carry={CARRY}&show=bench&crew={portal.north.pk}")
    assert "Gearbox grease" not in bench
    yard = page(client, f"/?carry={CARRY}&show=yard&crew={portal.north.pk}")
    assert "earbox grease" in yard


def test_signed_out_goes_to_sign_in(portal, client):
    response = client.get("/")
    assert response.status_code == 302
    assert response["Location"].startswith("/account/login/")
    assert client.get("/", HTTP_HX_REQUEST="true")["HX-Redirect"].startswith("/account/login/")


def test_htmx_gets_the_part_that_changes(portal):
    response = portal.htmx("boss").get("/", {"carry": CARRY})
    html = response.content.decode()
    assert html.lstrip().startswith('<div id="page">')
    assert "<html" not in html
    assert tags(html) == ["QH-01"]
    assert "HX-Request" in response["Vary"]


@pytest.mark.parametrize("carry", ["yesterday", "2001-01-01", "2999-01-01", ""])
def test_a_day_that_cannot_be_is_answered_on_the_page(portal, carry):
    html = page(portal.client("boss"), f"/?carry={carry}&show=yard&crew=all")
    assert 'class="errorlist' in html
    assert tags(html)  # the list is still there, for the usual day
    assert re.search(r'<option value="yard" selected', html)


def test_carry_through_brings_up_what_falls_due_by_then(portal):
    later = (dt.date.today() + dt.timedelta(days=500)).isoformat()
    html = page(portal.client("boss"), f"/?carry={later}")
    assert set(tags(html)) == {"QH-01", "QH-02"}
    assert "due by" in html


def test_put_off_jobs_stand_in_a_fold_with_who_why_and_until(portal):
    unit = portal.units["due"]
    factories.do_task(unit, "arrestor", as_found="clear")
    with all_tenants():
        for task in ("grease", "air_filter"):
            Postponement.objects.create(
                contractor=portal.quarry, trimmer=unit, task=task, reason="Waiting for a part",
                until=dt.date.today() + dt.timedelta(days=5), author=portal.people["boss"],
            )  # fmt: skip
    html = page(portal.client("boss"))
    assert tags(html) == []
    assert "2 jobs put off" in html
    assert "Waiting for a part" in html
    assert "North Boss" in html
    assert "<b>1</b> more has only jobs that were put off" in " ".join(html.split())


def test_empty_crew_says_what_the_page_will_show(portal):
    with all_tenants():
        crew = factories.make_crew(portal.quarry, "West")
    assert "No unit rides with this crew yet" in page(portal.client("owner"), f"/?crew={crew.pk}")
    assert "No units yet" in page(portal.client("stranger"), "/?crew=all")


def test_text_to_send_is_the_list_without_markup(portal):
    html = page(portal.client("boss"))
    text = re.search(r"<textarea[^>]*data-share-text[^>]*>(.*?)</textarea>", html, re.S).group(1)
    assert "QH-01: past due" in text
    assert "[yard]" in text


def test_paper_has_boxes_rails_and_no_controls(portal):
    html = page(portal.client("boss"), "/print/")
    assert "QH-01" in html
    assert html.count('class="box"') >= 3
    assert '<svg class="rail"' in html
    assert "<form" not in html


def test_file_has_the_columns_of_the_command_and_no_formulas(portal):
    with all_tenants():
        Trimmer.objects.filter(pk=portal.units["due"].pk).update(tag='=HYPERLINK("x")')
    response = portal.client("boss").get("/ready.csv")
    assert "attachment" in response["Content-Disposition"]
    rows = list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))
    assert {"unit", "task", "state", "hours_now", "due_on", "interval_basis", "reasons"} <= set(rows[0])
    assert all(row["unit"].startswith("'=") for row in rows)
    assert {row["state"] for row in rows} <= {"hold", "past_due", "due_now", "due_by"}


def test_query_count_does_not_grow_with_the_fleet(portal):
    client = portal.client("boss")

    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as found:
            page(client)
        return len(found)

    few = queries()
    for number in range(18):
        factories.make_unit(portal.north, f"QN-{number:02d}", run=60)
    many = queries()
    assert len(tags(page(client))) > 15
    assert many == few


def test_long_lists_are_cut_and_counted_whole(portal, monkeypatch):
    monkeypatch.setattr("fleet.views.ready.LINES_SHOWN", 2)
    for number in range(4):
        factories.make_unit(portal.north, f"QN-{number:02d}", run=60)
    client = portal.client("boss")
    html = page(client)
    assert len(tags(html)) == 2
    assert "<b>5</b> due now or past" in html
    more = re.search(r'href="(\?[^"]*from=2[^"]*)"', html).group(1).replace("&amp;", "&")
    assert len(set(tags(page(client, "/" + more))) - set(tags(html))) == 2


def test_with_too_many_units_in_sight_one_contractor_is_listed_at_a_time(portal, monkeypatch):
    monkeypatch.setattr("fleet.views.ready.MOST_AT_ONCE", 1)
    client = portal.client("manager")
    html = page(client)
    assert tags(html) == ["ME-01"]
    assert "all contractors" not in html
    assert tags(page(client, f"/?contractor={portal.quarry.pk}")) == ["QH-01"]
    assert tags(page(client, f"/?contractor={portal.quarry.pk}&crew={portal.south.pk}")) == ["QH-03"]


def test_with_too_many_units_of_one_contractor_one_crew_is_listed_at_a_time(portal, monkeypatch):
    client = portal.client("owner")
    assert "all crews" in page(client)
    monkeypatch.setattr("fleet.views.ready.MOST_AT_ONCE", 1)
    html = page(client)
    assert tags(html) == ["QH-01"]
    assert "all crews" not in html
    assert tags(page(client, f"/?crew={portal.south.pk}")) == ["QH-03"]


def test_lines_of_a_long_list_send_their_reasons_when_unfolded(portal, monkeypatch):
    whole = page(portal.client("boss"))
    monkeypatch.setattr("fleet.views.ready.MOST_UNFOLDED", 1)
    html = page(portal.client("boss"), f"/?carry={CARRY}&show=yard&crew=all")
    assert "Every 40 h" in whole
    assert "Every 40 h" not in html
    unit = portal.units["due"]
    assert f'href="/units/{unit.pk}/"' in html
    url = re.search(rf'hx-get="(/lines/{unit.pk}/[^"]*)"', html).group(1).replace("&amp;", "&")
    part = page(portal.htmx("boss"), url)
    assert "Every 40 h" in part
    assert "<h1" not in part
    # What is done from here leads back to the list as it was asked for, and only jobs it asked for are shown.
    assert f"next=%2F%3Fcarry%3D{CARRY}%26show%3Dyard" in part
    assert "bench" not in re.findall(r'<span class="pill">(\w+)</span>', part)
    assert portal.client("boss").get(url)["Location"] == f"/units/{unit.pk}/"
    assert portal.htmx("stranger").get(url).status_code == 404


def test_a_line_unfolded_after_its_job_was_done_says_so(portal):
    unit = portal.units["fresh"]
    assert "Nothing is due on this unit any more." in page(portal.htmx("boss"), f"/lines/{unit.pk}/?carry={CARRY}")


@pytest.mark.parametrize(
    ("who", "to"),
    [("boss", "/"), ("owner", "/"), ("technician", "/bench/"), ("manager", "/bench/"), ("administrator", "/portal/")],
)
def test_home_sends_each_role_to_its_page(portal, who, to):
    response = portal.client(who).get("/home/")
    assert response.status_code == 302
    assert response["Location"] == to
