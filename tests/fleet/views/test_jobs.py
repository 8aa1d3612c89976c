"""*Done now*, *Not now*, *Guard refitted now* and *Undo*: with and without script, once per press, own units only."""

from __future__ import annotations

import datetime as dt
import html as markup
import re
import uuid

import pytest
from django.urls import reverse

from fleet.models import GuardCheck, Postponement, Service, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.postponing import postpone
from fleet.record.writing import By, Refused
from fleet.upkeep.holds import FINDINGS
from fleet.upkeep.put_off import SAFETY_TASKS
from tests import factories

TODAY = dt.date.today()


def done_url(unit, task="grease", back="/"):
    return reverse("done", args=[unit.pk, task]) + f"?next={back}"


def fields(**given):
    return {
        "client_entry_id": str(uuid.uuid4()), "as_found": "ok", "done": "serviced",
        "occurred_on": TODAY.isoformat(), "hours": "", "next": "/", **given,
    }  # fmt: skip


def services(unit):
    with all_tenants():
        return list(Service.objects.filter(trimmer=unit))


def test_form_stands_on_a_page_of_its_own_with_its_caution(portal):
    response = portal.client("boss").get(done_url(portal.units["due"]))
    html = response.content.decode()
    assert "<html" in html
    assert "QH-01: Gearbox grease, done now" in html
    assert "plug lead off" in html
    assert "operator" in html  # the manual comes first
    for word in ("good", "dry", "loose", "worn"):
        assert f"{word}</label>" in html
    assert f'value="{TODAY.isoformat()}"' in html


def test_form_opens_inside_the_line(portal):
    client = portal.client("boss")
    response = client.get(
        done_url(portal.units["due"]),
        HTTP_HX_REQUEST="true",
        HTTP_HX_TARGET="slot-1-grease",
        HTTP_HX_CURRENT_URL="http://testserver/?show=yard",
    )
    html = response.content.decode()
    assert "<html" not in html
    assert html.lstrip().startswith("<form")
    assert 'hx-target="#page"' in html


def test_saving_without_script_goes_back_to_the_list_without_the_job(portal):
    unit, client = portal.units["due"], portal.client("boss")
    response = client.post(done_url(unit), fields(as_found="worn", hours="61,5"), follow=True)
    html = response.content.decode()
    assert response.redirect_chain[-1][0] == "/"
    assert "QH-01: Gearbox grease saved." in html
    (entry,) = services(unit)
    assert (entry.task, entry.as_found, entry.done, entry.done_by, str(entry.hours)) == (
        "grease", "worn", "serviced", "crew", "61.50",
    )  # fmt: skip
    assert entry.author == portal.people["boss"]
    assert "Gearbox grease" not in re.search(r'<p class="job">(.*?)</p>', html, re.S).group(1)


def test_saving_with_htmx_swaps_the_list_and_says_so(portal):
    unit, client = portal.units["due"], portal.htmx("boss", "/?show=yard")
    response = client.post(done_url(unit), fields(next="/?show=yard"), follow=True)
    html = response.content.decode()
    assert html.lstrip().startswith('<div id="page">')
    assert 'hx-swap-oob="innerHTML:#messages"' in html
    assert "saved" in html


def test_shop_people_record_on_the_shops_word(portal):
    portal.client("technician").post(done_url(portal.units["due"]), fields())
    assert services(portal.units["due"])[0].done_by == "shop"


def test_bad_input_is_answered_in_the_form_with_nothing_lost(portal):
    unit = portal.units["due"]
    tomorrow = (TODAY + dt.timedelta(days=1)).isoformat()
    response = portal.client("boss").post(done_url(unit), fields(as_found="dry", occurred_on=tomorrow, hours="12 x"))
    html = response.content.decode()
    assert response.status_code == 422
    assert "Write a figure" in html
    assert f'value="{tomorrow}"' in html
    assert "12 x" in html
    assert re.search(r'value="dry"[^>]*checked', html)
    assert services(unit) == []
    again = portal.client("boss").post(done_url(unit), fields(as_found="dry", occurred_on=tomorrow))
    assert "still to come" in again.content.decode()


def test_bad_input_inside_a_line_goes_back_into_its_form(portal):
    unit, client = portal.units["due"], portal.htmx("boss")
    response = client.post(done_url(unit), fields(as_found=""))
    assert response.status_code == 422
    assert response["HX-Retarget"] == f"#do-{unit.pk}-grease"
    assert response.content.decode().lstrip().startswith("<form")


def test_same_press_twice_records_once(portal):
    unit, client, form = portal.units["due"], portal.client("boss"), fields()
    client.post(done_url(unit), form)
    client.post(done_url(unit), form)
    assert len(services(unit)) == 1


def test_a_holed_screen_puts_the_unit_on_hold_and_says_so(portal):
    unit = portal.units["due"]
    response = portal.client("boss").post(
        done_url(unit, "arrestor"), fields(as_found="holed", done="looked"), follow=True
    )
    html = response.content.decode()
    assert "QH-01 is on hold: do not start. Arrestor screen holed." in html


@pytest.mark.parametrize("who", ["stranger", "neighbor", "other_bench"])
def test_strangers_get_404(portal, who):
    unit, client = portal.units["due"], portal.client(who)
    for url in (done_url(unit), reverse("not_now", args=[unit.pk, "grease"])):
        assert client.get(url).status_code == 404
        assert client.post(url, fields()).status_code == 404
    assert client.post(reverse("guard_refitted", args=[unit.pk])).status_code == 404
    assert client.post(reverse("pick_up_again", args=[unit.pk, "grease"])).status_code == 404
    assert services(unit) == []


def test_unknown_task_is_404_and_review_is_the_owners(portal):
    unit = portal.units["due"]
    assert portal.client("boss").get(reverse("done", args=[unit.pk, "polish"])).status_code == 404
    assert portal.client("boss").get(reverse("done", args=[unit.pk, "review"])).status_code == 404
    assert portal.client("owner").get(reverse("done", args=[unit.pk, "review"])).status_code == 200


@pytest.mark.parametrize("elsewhere", ["https://elsewhere.example/", "//elsewhere.example/", "javascript:alert(1)"])
def test_back_leads_to_our_own_pages_only(portal, elsewhere):
    unit = portal.units["due"]
    response = portal.client("boss").post(done_url(unit), fields(next=elsewhere))
    assert response["Location"] == reverse("unit", args=[unit.pk])


# -- not now -------------------------------------------------------------------------------------------------------


def put_off(client, unit, task="grease", **given):
    form = fields(why="no_part", reason="", until=(TODAY + dt.timedelta(days=9)).isoformat(), **given)
    return client.post(reverse("not_now", args=[unit.pk, task]), form, follow=True)


def test_not_now_puts_the_job_into_the_fold_and_back(portal):
    unit, client = portal.units["due"], portal.client("boss")
    html = put_off(client, unit).content.decode()
    assert "1 job put off" in html
    assert "Waiting for a part" in html
    client.post(reverse("pick_up_again", args=[unit.pk, "grease"]))
    assert "job put off" not in client.get("/").content.decode()


def test_not_now_asks_for_words_and_a_near_day(portal):
    unit, client = portal.units["due"], portal.client("boss")
    url = reverse("not_now", args=[unit.pk, "grease"])
    far = (TODAY + dt.timedelta(days=400)).isoformat()
    response = client.post(url, fields(why="other", reason="", until=far))
    assert response.status_code == 422
    assert "Say in a few words why not now." in response.content.decode()
    response = client.post(url, fields(why="other", reason="waits for rain", until=far))
    assert response.status_code == 422
    assert "next four months" in response.content.decode()
    assert "waits for rain" in response.content.decode()
    with all_tenants():
        assert not Postponement.objects.exists()


def test_safety_jobs_and_holds_cannot_be_put_off(portal):
    client = portal.client("owner")
    assert client.get(reverse("not_now", args=[portal.units["held"].pk, "head"])).status_code == 404
    assert put_off(client, portal.units["due"], "stop_switch").status_code == 404
    assert (
        portal.client("technician").get(reverse("not_now", args=[portal.units["due"].pk, "grease"])).status_code == 404
    )


@pytest.mark.parametrize("task", ["head", "stop_switch", "clutch", "fuel_filter", "arrestor", "mounts"])
def test_what_checks_a_safety_function_cannot_be_put_off(portal, task):
    unit, client = portal.units["due"], portal.client("owner")
    assert client.get(reverse("not_now", args=[unit.pk, task])).status_code == 404
    assert put_off(client, unit, task).status_code == 404
    assert f"not-now/{task}/" not in client.get(reverse("unit", args=[unit.pk])).content.decode()
    with all_tenants(), pytest.raises(Refused, match="keeps people safe"):
        postpone(unit=unit, task=task, until=TODAY + dt.timedelta(days=5), reason="later", by=By(None), today=TODAY)


def test_safety_jobs_are_those_that_clear_a_hold():
    assert {finding.task for finding in FINDINGS} == SAFETY_TASKS


def test_a_safety_job_put_off_long_ago_is_back_on_the_list(portal):
    unit = portal.units["due"]
    with all_tenants():
        Postponement.objects.create(
            contractor=portal.quarry, trimmer=unit, task="arrestor", until=TODAY + dt.timedelta(days=9), reason="later"
        )
    html = portal.client("boss").get("/").content.decode()
    assert "put off" not in html
    assert "done/arrestor/" in html


def test_not_now_says_that_the_manual_asks_the_same(portal):
    html = portal.client("boss").get(reverse("not_now", args=[portal.units["due"].pk, "grease"])).content.decode()
    assert "Putting it off does not change what the manual asks." in html


def test_doing_the_job_ends_its_postponement(portal):
    unit, client = portal.units["due"], portal.client("boss")
    put_off(client, unit)
    client.post(done_url(unit), fields())
    assert "job put off" not in client.get("/").content.decode()


# -- guard refitted ------------------------------------------------------------------------------------------------


def test_guard_refitted_lifts_the_hold_in_one_tap(portal):
    unit, client = portal.units["held"], portal.client("south")
    html = client.get("/").content.decode()
    form = re.search(r'<form method="post" action="([^"]*guard-refitted/)".*?</form>', html, re.S)
    press = re.search(r'name="client_entry_id" value="([^"]+)"', form.group(0)).group(1)
    for _again in range(2):
        answer = client.post(form.group(1), {"client_entry_id": press, "next": "/"}, follow=True).content.decode()
    assert "guard refitted, recorded" in answer or "is on hold" not in answer
    assert "hold: do not start" not in client.get("/").content.decode()
    with all_tenants():
        assert GuardCheck.objects.filter(trimmer=unit, guard="refitted").count() == 1


def test_a_damaged_guard_is_replaced_not_refitted(portal):
    unit, client = portal.units["due"], portal.client("boss")
    factories.see_guard(unit, "damaged")
    for url in ("/", reverse("unit", args=[unit.pk])):
        html = client.get(url).content.decode()
        assert "Sound guard fitted now" in html
        assert "Guard refitted now" not in html
    url = reverse("guard_refitted", args=[unit.pk])
    after = client.post(url, {"next": reverse("unit", args=[unit.pk])}, follow=True).content.decode()
    assert "QH-01: sound guard fitted, recorded." in after
    assert "Hold: do not start" not in after
    assert "Guard off or damaged, put right that day" in after
    with all_tenants():
        # Found off (damaged counts as off) and left on: what the guard statistics take as off until that day.
        assert GuardCheck.objects.filter(trimmer=unit).latest("pk").guard == "refitted"


def test_guard_refitted_is_no_page(portal):
    assert portal.client("south").get(reverse("guard_refitted", args=[portal.units["held"].pk])).status_code == 405


# -- undo ----------------------------------------------------------------------------------------------------------


def undo_form(html: str) -> dict[str, str]:
    form = re.search(r'<form method="post" action="/undo/">(.*?)</form>', html, re.S).group(1)
    return {k: markup.unescape(v) for k, v in re.findall(r'name="(entries|next)" value="([^"]*)"', form)}


def test_undo_withdraws_what_was_just_saved(portal):
    unit, client = portal.units["due"], portal.client("boss")
    html = client.post(done_url(unit), fields(), follow=True).content.decode()
    answer = client.post("/undo/", undo_form(html), follow=True).content.decode()
    assert "Taken back" in answer
    assert "earbox grease" in re.search(r'<p class="job">(.*?)</p>', answer, re.S).group(1)
    with all_tenants():
        assert Withdrawal.objects.get(kind="service").entry_id == services(unit)[0].pk


def test_undo_of_not_now(portal):
    unit, client = portal.units["due"], portal.client("boss")
    html = put_off(client, unit, next="/").content.decode()
    assert "job put off" not in client.post("/undo/", undo_form(html), follow=True).content.decode()


def test_undo_is_the_authors_alone_and_cannot_be_made_up(portal):
    unit, client = portal.units["due"], portal.client("boss")
    html = client.post(done_url(unit), fields(), follow=True).content.decode()
    for who in ("owner", "stranger", "manager"):
        assert portal.client(who).post("/undo/", undo_form(html)).status_code == 404
    assert client.post("/undo/", {"entries": "service:1"}).status_code == 404
    with all_tenants():
        assert not Withdrawal.objects.exists()


def test_undo_is_offered_on_the_list_of_a_crew_boss_and_of_a_technician(portal):
    for who in ("boss", "technician"):
        factories.see_guard(portal.units["due"], "on")
        html = portal.client(who).post(done_url(portal.units["due"]), fields(), follow=True).content.decode()
        assert undo_form(html)["next"] == "/"


# -- bench jobs ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("task", ["port", "mounts", "stop_switch", "clutch"])
def test_bench_jobs_are_the_shops_to_record(portal, task):
    unit = portal.units["due"]
    for who in ("boss", "owner"):
        client = portal.client(who)
        page = client.get(reverse("unit", args=[unit.pk])).content.decode()
        assert f"done/{task}/" not in page
        job = page[page.index(f'id="job-{task}"') :].split("</li>")[0]
        assert f"{reverse('report_fault')}?unit={unit.pk}" in job  # what a crew can do instead
        assert client.get(done_url(unit, task)).status_code == 404
        assert client.post(done_url(unit, task), fields()).status_code == 404
    shop = portal.client("technician")
    assert f"done/{task}/" in shop.get(reverse("unit", args=[unit.pk])).content.decode()
    assert shop.get(done_url(unit, task)).status_code == 200
    assert services(unit) == []


def test_that_no_failures_stand_behind_intervals_is_said_once_a_page(portal):
    for url in ("/", reverse("unit", args=[portal.units["due"].pk])):
        html = portal.client("boss").get(url).content.decode()
        assert html.count("no failure record stands behind") == 1
        assert "No failure record stands behind this interval yet." not in html
