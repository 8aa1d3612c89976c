"""The bench on screen: its days, check-in, bench sheet, pictures; bad input, strangers, parts."""

from __future__ import annotations

import datetime as dt
import io
import uuid

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from PIL import Image

from fleet.models import DueFlag, Failure, Service
from fleet.models.tenancy import all_tenants
from shop.bench.days import loads
from shop.models import (
    Bench,
    BenchPhoto,
    CheckIn,
    ClosedDays,
    DropOff,
    DropOffLine,
    LineJob,
    StandardMinutes,
    Technician,
)
from tests import factories
from tests.fleet.views.pages import errors, text

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()
WEEK = dict.fromkeys(("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"), 400)


@pytest.fixture
def bench(portal):
    factories.make_bench(portal.shop)
    return portal


@pytest.fixture
def line(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=0)
    with all_tenants():
        return visit.lines.get()


def press(**more) -> dict:
    return {"client_entry_id": uuid.uuid4(), **more}


def state_of(line) -> str:
    with all_tenants():
        return DropOffLine.objects.get(pk=line.pk).state


def test_nobody_at_the_bench_yet_says_what_to_do(portal):
    assert "Nobody works at this bench yet" in text(portal.client("manager").get(reverse("bench_week")))
    assert "Nobody yet: add who works" in text(portal.client("manager").get(reverse("bench_calendar")))


def test_the_manager_sets_technicians_days_and_shares(portal):
    client = portal.client("manager")
    assert client.post(reverse("technician_add"), {"name": "Lou", **WEEK}).status_code == 302
    lou = Technician.objects.get(shop=portal.shop)
    assert lou.weekday_minutes == (400,) * 7
    said = errors(client.post(reverse("technician_add"), {"name": "Lou", **WEEK, "monday": "5000"}))
    assert "id_monday" in said
    assert "of this name" in errors(client.post(reverse("technician_add"), {"name": "Lou", **WEEK}))["id_name"]
    client.post(reverse("technician_change", args=[lou.pk]), {"name": "Lou", **WEEK, "sunday": 0})
    assert Technician.objects.get().sunday == 0
    settings = {
        "walk_in_share": "10", "bring_by": "08:30", "offer_days": 3, "unclaimed_days": 20, "diagnosis_charge": "30",
    }  # fmt: skip
    assert client.post(reverse("bench_calendar"), settings).status_code == 302
    assert float(Bench.objects.get(shop=portal.shop).walk_in_share) == 0.1
    assert "10 % of them held for walk-ins" in text(client.get(reverse("bench_calendar")))
    assert "id_offer_days" in errors(client.post(reverse("bench_calendar"), {**settings, "offer_days": 0}))


def test_closing_days_says_which_visits_to_move_and_opens_again(bench, line):
    client = bench.client("manager")
    response = client.post(reverse("closed_add"), {"first": TODAY.isoformat(), "why": "Storm"}, follow=True)
    assert "More is booked than these days have now" in text(response)
    row = ClosedDays.objects.get()
    assert (row.first, row.last) == (TODAY, TODAY)
    assert "Storm" in text(bench.client("technician").get(reverse("bench_week")))
    client.post(reverse("closed_remove", args=[row.pk]))
    assert not ClosedDays.objects.exists()
    wrong = {"first": TODAY.isoformat(), "last": (TODAY - dt.timedelta(days=1)).isoformat()}
    assert "before the first" in errors(client.post(reverse("closed_add"), wrong))["id_last"]


def test_minutes_of_jobs_show_where_they_come_from(bench):
    client = bench.client("manager")
    factories.do_task(bench.units["due"], "grease", days=3, minutes=20, seen_as="shop")
    response = client.post(reverse("job_minutes"), {"learn": "1"}, follow=True)
    assert "from 1 finished jobs" in text(response)
    client.post(reverse("job_minutes"), {"task.port": "45"})
    assert StandardMinutes.objects.get(job="task.port").own_minutes == 45
    assert client.post(reverse("job_minutes"), {"task.port": "0"}).status_code == 422


@pytest.mark.parametrize("name", ["bench_calendar", "technician_add", "closed_add", "job_minutes"])
def test_only_the_manager_sets_the_bench(bench, name):
    for who in ("technician", "boss", "owner", "administrator"):
        assert bench.client(who).get(reverse(name)).status_code == 404


def test_another_shops_technician_is_not_there(bench):
    theirs = Technician.objects.create(shop=bench.people["other_bench"].memberships.get().shop, name="Kim")
    assert bench.client("manager").get(reverse("technician_change", args=[theirs.pk])).status_code == 404
    assert bench.client("manager").get(reverse("bench_calendar") + f"?shop={theirs.shop_id}").status_code == 404


def test_check_in_by_tag_or_list(bench, line):
    client = bench.client("technician")
    page = client.get(reverse("check_in"))
    assert reverse("line_check_in", args=[line.pk]) in page.content.decode()
    found = text(client.get(reverse("check_in") + "?tag=qh 0"))
    assert "QH-02" in found
    assert "not booked" in found
    assert "No unit in use wears" in text(client.get(reverse("check_in") + "?tag=ZZ"))
    unit_url = reverse("unit_check_in", args=[bench.units["due"].pk])
    assert client.get(unit_url)["Location"] == reverse("line_check_in", args=[line.pk])
    assert client.get(reverse("unit_check_in", args=[bench.units["fresh"].pk]))["Location"] == reverse(
        "walk_in_unit", args=[bench.units["fresh"].pk]
    )


def test_check_in_shows_last_time_recalls_and_due_work(bench, line):
    unit = bench.units["due"]
    factories.do_task(unit, "clutch", days=40, as_found="worn", done="looked", seen_as="shop")
    factories.make_notice(unit.model)
    page = text(bench.client("technician").get(reverse("line_check_in", args=[line.pk])))
    assert "Clutch and idle check: looked, found worn" in page
    assert "Invented notice: the fuel cap may leak" in page
    assert "Gearbox grease · past due" in page
    assert "not known: enter the maker's months" in page


def test_check_in_records_and_holds(bench, line):
    client = bench.client("technician")
    url = reverse("line_check_in", args=[line.pk])
    data = press(symptom="bogs_full_throttle", complaint="bogs", guard="on", safety=["fuel_leak"], fix_up_to="80")
    response = client.post(url, data, follow=True)
    page = text(response)
    assert "QH-01 is on hold: do not start" in page
    assert "Leaking fuel near a hot muffler is a fire" in page
    assert "$80.00" in page
    assert state_of(line) == "checked_in"
    with all_tenants():
        assert DueFlag.objects.get(trimmer=line.trimmer, task="fuel_filter").on_hold


def test_a_wrong_figure_keeps_what_was_typed(bench, line):
    url = reverse("line_check_in", args=[line.pk])
    response = bench.client("technician").post(url, press(hours="lots", complaint="Shakes at idle", left_with="can"))
    assert "id_hours" in errors(response)
    assert "Shakes at idle" in response.content.decode()
    refused = bench.client("technician").post(url, press(hours="1", complaint="Shakes at idle"))
    assert "id_hours" in errors(refused)
    with all_tenants():
        assert not CheckIn.objects.exists()
        assert not Failure.objects.exists()


def test_a_walk_in_unit_and_a_walk_in_blower(bench):
    client = bench.client("technician")
    url = reverse("walk_in_unit", args=[bench.units["fresh"].pk])
    assert "walk-in" in text(client.get(url))
    client.post(url, press(symptom="no_start", fuel="unknown"))
    kit = reverse("walk_in_kit")
    wrong = errors(client.post(kit, press(contractor=bench.quarry.pk, crew=bench.park.pk, kit="Blower")))
    assert "another contractor" in wrong["id_crew"]
    client.post(kit, press(contractor=bench.quarry.pk, crew=bench.north.pk, kit="Blower", left_with="tube"))
    with all_tenants():
        visits = list(DropOff.objects.order_by("pk"))
        assert [(v.walk_in, v.state, str(v.crew)) for v in visits] == [(True, "checked_in", "North")] * 2
    today = text(client.get(reverse("bench_today")))
    assert "QH-02" in today
    assert "Blower" in today


def test_from_the_bench_sheet_to_picked_up(bench, line):
    client = bench.client("technician")
    client.post(reverse("line_check_in", args=[line.pk]), press())
    sheet = reverse("bench_line", args=[line.pk])
    assert "2 jobs are open" in text(client.get(sheet))
    step = reverse("line_step", args=[line.pk])
    assert "still open" in text(client.post(step, {"to": "ready"}, follow=True))
    with all_tenants():
        intake, port = LineJob.objects.filter(line=line).order_by("pk")
    assert client.post(reverse("bench_job", args=[intake.pk]), press(minutes=9)).status_code == 302
    job_url = reverse("bench_job", args=[port.pk])
    assert "id_as_found" in errors(client.post(job_url, press(done="serviced")))
    client.post(job_url, press(as_found="blocked", done="serviced", minutes=33, parts_cost="2.50"))
    with all_tenants():
        entry = Service.objects.get(trimmer=line.trimmer, task="port")
    assert (entry.as_found, entry.minutes, float(entry.parts_cost)) == ("blocked", 33, 2.5)
    assert "Say what it waits for" in text(client.post(step, {"to": "waiting"}, follow=True))
    client.post(step, {"to": "waiting", "note": "muffler gasket"})
    assert "muffler gasket" in text(client.get(reverse("bench_today")))
    client.post(step, {"to": "ready"})
    client.post(step, {"to": "picked_up"})
    assert state_of(line) == "picked_up"
    assert "Choose one of the answers" in text(client.post(step, {"to": "nowhere"}, follow=True))


def test_jobs_can_be_added_and_left_out(bench, line):
    client = bench.client("technician")
    client.post(reverse("line_check_in", args=[line.pk]), press())
    client.post(reverse("line_add_job", args=[line.pk]), {"job": "fault.clutch"})
    with all_tenants():
        job = LineJob.objects.get(line=line, job="fault.clutch")
    url = reverse("bench_job", args=[job.pk])
    assert "id_why" in errors(client.post(url, {"leave_out": "1", "why": ""}))
    client.post(url, {"leave_out": "1", "why": "Owner said no"})
    assert "left out: Owner said no" in text(client.get(reverse("bench_line", args=[line.pk])))
    assert "Choose one" in text(client.post(reverse("line_add_job", args=[line.pk]), {"job": "x"}, follow=True))


def picture(size=(60, 40)) -> SimpleUploadedFile:
    content = io.BytesIO()
    Image.new("RGB", size).save(content, "JPEG", exif=b"Exif\x00\x00MM\x00*\x00\x00\x00\x08\x00\x00")
    return SimpleUploadedFile("IMG.jpg", content.getvalue(), "image/jpeg")


def test_pictures_are_redrawn_and_seen_by_those_whose_visit_it_is(bench, line):
    client = bench.client("technician")
    url = reverse("bench_photos", args=[line.pk])
    assert client.post(url, {"picture": picture((3000, 1000)), "caption": "Piston"}).status_code == 302
    with all_tenants():
        photo = BenchPhoto.objects.get()
        with Image.open(photo.picture) as kept:
            assert max(kept.size) == 1600
            assert not kept.getexif()
    shown = reverse("bench_photo", args=[line.pk, photo.pk])
    assert bench.client("boss").get(shown)["Content-Type"] == "image/jpeg"
    assert bench.client("neighbor").get(shown).status_code == 404
    broken = SimpleUploadedFile("x.jpg", b"no picture", "image/jpeg")
    assert "no JPEG, PNG or WebP" in errors(client.post(url, {"picture": broken}))["id_picture"]
    assert client.post(url, {}).status_code == 422


def test_an_overfull_day_says_by_how_much_and_its_figures_add_up(bench):
    for number in range(15):
        factories.make_drop_off(bench.shop, bench.north, days=0, kit=(f"Saw {number}",), walk_in=True)
    week = text(bench.client("manager").get(reverse("bench_week")))
    load = loads(bench.shop, TODAY, TODAY, TODAY)[TODAY]
    assert load.left < 0
    assert f"is overfull by {-load.left} minutes" in week
    assert "where the day's minutes end" in week
    days = bench.client("manager").get(reverse("bench_calendar")).context["days"]
    assert all(d.open_minutes - d.still_held - d.taken == d.left for _words, d in days)


def test_what_is_late_is_said(bench, line):
    with all_tenants():
        DropOff.objects.filter(pk=line.drop_off_id).update(day=TODAY - dt.timedelta(days=2))
    client = bench.client("technician")
    assert "1 is late" in text(client.get(reverse("bench_week")))
    today = text(client.get(reverse("bench_today")))
    assert "Late" in today
    assert "QH-01" in today


def test_parts_for_htmx(bench, line):
    for url in (
        reverse("bench_week"),
        reverse("bench_today"),
        reverse("check_in"),
        reverse("bench_line", args=[line.pk]),
    ):
        html = bench.htmx("technician", url).get(url).content.decode()
        assert html.lstrip().startswith('<div id="page">')
        assert "<html" not in html
