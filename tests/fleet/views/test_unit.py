"""A unit's page: what it tells, to whom, and everything that can be changed on it."""

from __future__ import annotations

import datetime as dt
import io
import re
import uuid
from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from PIL import Image

from fleet.models import Assignment, HoursEntry, Retirement, Trimmer, UnitPhoto, Withdrawal
from fleet.models.tenancy import all_tenants
from tests import factories

TODAY = dt.date.today()


def at(name, unit, *more):
    return reverse(name, args=[unit.pk, *more])


def page(client, unit, query=""):
    response = client.get(at("unit", unit) + query)
    assert response.status_code == 200
    return response.content.decode()


def press(**given):
    return {"client_entry_id": str(uuid.uuid4()), **given}


def test_tells_hours_with_their_range_and_what_they_rest_on(portal):
    html = page(portal.client("boss"), portal.units["due"])
    answer = " ".join(re.search(r'<p class="answer">(.*?)</p>', html, re.S).group(1).split())
    assert re.search(r"It has run <b>\d+ h \(\d+ to \d+\)</b>", answer)
    assert "Hours rest on the meter" in html
    assert html.count('<svg class="rail"') >= 10  # every task has its rail


def test_held_unit_says_so_first(portal):
    html = page(portal.client("south"), portal.units["held"])
    assert "<b>Hold: do not start.</b> Guard off" in html
    assert "Guard refitted now" in html


@pytest.mark.parametrize(("who", "told"), [("owner", True), ("technician", True), ("boss", False)])
def test_price_is_for_those_who_see_money_and_the_serial_for_all(portal, who, told):
    unit = portal.units["due"]
    with all_tenants():
        Trimmer.objects.filter(pk=unit.pk).update(price=Decimal("389.50"), bought_on=factories.days_ago(201))
    html = page(portal.client(who), unit)
    assert "OH2310001" in html  # a crew compares it with a recall notice, and finds it in the units list too
    assert ("389.50" in html) is told


@pytest.mark.parametrize("who", ["stranger", "neighbor", "other_bench"])
def test_strangers_get_404_everywhere(portal, who):
    unit, client = portal.units["due"], portal.client(who)
    with all_tenants():
        entry = HoursEntry.objects.filter(trimmer=unit).get()
    for name, more in [
        ("unit", ()), ("unit_note", ()), ("unit_move", ()), ("unit_retire", ()), ("unit_photos", ()),
        ("unit_withdraw", ("hours", entry.pk)), ("unit_photo", (1,)), ("unit_photo_remove", (1,)),
    ]:  # fmt: skip
        url = at(name, unit, *more)
        assert client.get(url).status_code in (404, 405), url
        assert client.post(url, press(why="x")).status_code == 404 or name == "unit", url


def test_htmx_gets_the_part_that_changes(portal):
    unit = portal.units["due"]
    html = portal.htmx("boss", at("unit", unit)).get(at("unit", unit)).content.decode()
    assert html.lstrip().startswith('<div id="page"')
    assert "<html" not in html


def test_history_is_whole_newest_first_with_withdrawn_entries_struck(portal):
    unit, client = portal.units["due"], portal.client("owner")
    factories.do_task(unit, "grease", days=3)
    factories.see_guard(unit, "on", days=2, line="long")
    with all_tenants():
        entry = HoursEntry.objects.get(trimmer=unit)
    client.post(at("unit_withdraw", unit, "hours", entry.pk), press(why="read off another unit"))
    html = page(client, unit)
    history = html[html.index('id="history"') :]
    order = [
        history.index(words)
        for words in ("Guard on; line long", "Gearbox grease: serviced", "Meter reads 60", "Rides with North")
    ]
    assert order == sorted(order)
    assert "<s>Meter reads 60 h</s>" in history
    assert "read off another unit" in history


def test_history_is_paged(portal):
    unit, client = portal.units["due"], portal.client("boss")
    for day in range(35, 0, -1):
        factories.see_guard(unit, "on", days=day)
    first, second = page(client, unit), page(client, unit, "?page=2")
    assert "Page 1 of 2" in first
    assert "Rides with North" in second[second.index('id="history"') :]
    assert page(client, unit, "?page=99").count("Page 2 of 2") == 1


def test_query_count_does_not_grow_with_the_history(portal):
    unit, client = portal.units["due"], portal.client("boss")

    def queries():
        with CaptureQueriesContext(connection) as found:
            page(client, unit)
        return len(found)

    factories.see_guard(unit, "on", days=40)
    factories.do_task(unit, "grease", days=39)
    few = queries()
    for day in range(20, 0, -1):
        factories.see_guard(unit, "on", days=day)
    assert queries() == few


# -- changes -------------------------------------------------------------------------------------------------------


def test_note(portal):
    unit, client = portal.units["due"], portal.client("boss")
    client.post(at("unit_note", unit), {"note": "Starts best on half choke.\nKeep <dry>."})
    html = page(client, unit)
    assert "half choke.<br>Keep &lt;dry&gt;" in html
    response = client.post(at("unit_note", unit), {"note": "x" * 2001})
    assert response.status_code == 422
    assert "x" * 2001 in response.content.decode()


def test_move(portal):
    unit, client = portal.units["due"], portal.client("boss")
    assert "South" in client.get(at("unit_move", unit)).content.decode()
    response = client.post(
        at("unit_move", unit), press(crew=str(portal.south.pk), occurred_on=TODAY.isoformat()), follow=True
    )
    assert "QH-01 rides with South" in response.content.decode()
    assert "Undo" in response.content.decode()
    assert "QH-01" in portal.client("south").get("/").content.decode()


def test_move_to_another_contractors_crew_is_not_offered(portal):
    unit, client = portal.units["due"], portal.client("boss")
    response = client.post(at("unit_move", unit), press(crew=str(portal.park.pk), occurred_on=TODAY.isoformat()))
    assert response.status_code == 422
    with all_tenants():
        assert Assignment.objects.filter(trimmer=unit).count() == 1


def test_lost_or_stolen(portal):
    unit, client = portal.units["due"], portal.client("boss")
    form = client.get(at("unit_retire", unit) + "?why=stolen").content.decode()
    assert re.search(r'value="stolen"[^>]*checked', form)
    html = client.post(
        at("unit_retire", unit),
        press(why="stolen", words="from the trailer", occurred_on=TODAY.isoformat()),
        follow=True,
    ).content.decode()
    assert "Left service on" in html
    answer = re.search(r'<p class="answer">(.*?)</p>', html, re.S).group(1)
    assert "<b>Stolen: from the trailer</b>" in answer
    with all_tenants():
        assert Retirement.objects.get(trimmer=unit).why == "stolen: from the trailer"
    assert "QH-01" not in client.get("/").content.decode()


def test_retiring_before_the_last_entry_is_refused_on_the_page(portal):
    unit, client = portal.units["due"], portal.client("boss")
    day = factories.days_ago(30).isoformat()
    response = client.post(at("unit_retire", unit), press(why="sold", words="to a neighbor", occurred_on=day))
    assert response.status_code == 422
    assert "has an entry on" in response.content.decode()
    assert "to a neighbor" in response.content.decode()


def test_technician_may_not_move_or_retire(portal):
    for name in ("unit_move", "unit_retire"):
        assert portal.client("technician").get(at(name, portal.units["due"])).status_code == 404


def test_withdrawing_is_for_the_author_and_those_who_answer_for_the_fleet(portal):
    unit = portal.units["due"]
    with all_tenants():
        entry = HoursEntry.objects.get(trimmer=unit)
    url = at("unit_withdraw", unit, "hours", entry.pk)
    assert portal.client("boss").get(url).status_code == 404  # imported: not the crew boss's own
    assert portal.client("owner").post(url, press(why="")).status_code == 422
    portal.client("owner").post(url, press(why="wrong unit"))
    with all_tenants():
        assert Withdrawal.objects.get().why == "wrong unit"


def test_an_entry_of_another_unit_cannot_be_reached_through_this_one(portal):
    with all_tenants():
        entry = HoursEntry.objects.get(trimmer=portal.units["theirs"])
    client = portal.client("owner")
    assert client.get(at("unit_withdraw", portal.units["due"], "hours", entry.pk)).status_code == 404
    assert client.get(at("unit_withdraw", portal.units["due"], "forecast", 1)).status_code == 404


# -- pictures ------------------------------------------------------------------------------------------------------


def picture(size=(3000, 2000), form="JPEG", **kwargs):
    out = io.BytesIO()
    Image.new("RGB", size, (40, 110, 70)).save(out, form, **kwargs)
    return SimpleUploadedFile("IMG_0001.jpg", out.getvalue(), "image/jpeg")


def test_picture_is_redrawn_small_and_bare_and_served_to_those_who_see_the_unit(portal):
    unit, client = portal.units["due"], portal.client("boss")
    exif = Image.Exif()
    exif[0x010E] = "a yard at 44.05 N"
    client.post(at("unit_photos", unit), {"picture": picture(exif=exif), "caption": "Serial plate"})
    with all_tenants():
        photo = UnitPhoto.objects.get(trimmer=unit)
    url = at("unit_photo", unit, photo.pk)
    response = client.get(url)
    assert response["Content-Type"] == "image/jpeg"
    assert response["X-Content-Type-Options"] == "nosniff"
    kept = Image.open(io.BytesIO(response.content))
    assert max(kept.size) == 1600
    assert not kept.getexif()
    assert b"44.05" not in response.content
    assert "IMG_0001" not in photo.picture.name
    assert "Serial plate" in page(client, unit)
    for who in ("stranger", "neighbor", "other_bench"):
        assert portal.client(who).get(url).status_code == 404
    assert client.get(at("unit_photo", portal.units["fresh"], photo.pk)).status_code == 404


@pytest.mark.parametrize(
    "upload",
    [
        SimpleUploadedFile("x.jpg", b"no picture at all", "image/jpeg"),
        SimpleUploadedFile("x.svg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>", "image/svg+xml"),
        SimpleUploadedFile("x.jpg", b"\xff\xd8\xff\xe0" + b"\0" * 200, "image/jpeg"),
    ],
    ids=["text", "drawing", "torn"],
)
def test_what_is_no_picture_is_refused_on_the_page(portal, upload):
    unit, client = portal.units["due"], portal.client("boss")
    upload.seek(0)
    response = client.post(at("unit_photos", unit), {"picture": upload, "caption": "Tag"})
    assert response.status_code == 422
    assert "no JPEG, PNG or WebP picture" in response.content.decode()
    assert 'value="Tag"' in response.content.decode()


def test_a_picture_too_large_to_unpack_is_refused(portal):
    client = portal.client("boss")
    huge = picture((9000, 8000), "PNG")
    response = client.post(at("unit_photos", portal.units["due"]), {"picture": huge})
    assert response.status_code == 422


def test_pictures_are_removed_by_who_added_them_or_the_owner(portal):
    unit = portal.units["due"]
    portal.client("boss").post(at("unit_photos", unit), {"picture": picture((80, 60))})
    with all_tenants():
        photo = UnitPhoto.objects.get()
    url = at("unit_photo_remove", unit, photo.pk)
    assert portal.client("south").post(url).status_code == 404
    assert portal.client("owner").post(url).status_code == 302
    with all_tenants():
        assert not UnitPhoto.objects.exists()
