"""From the counter to picked up: what is recorded, what rests, what is refused, and what days bring by themselves."""

from __future__ import annotations

import datetime as dt
import uuid
from decimal import Decimal

import pytest
from django.core import mail
from django.urls import reverse
from django.utils import timezone

from fleet.models import DueFlag, Failure, GuardCheck, HoursEntry, Service, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.writing import By, Refused
from shop.bench.arriving import Told, check_in, link_open_faults, walk_in
from shop.bench.calendar_keeping import change_bench
from shop.bench.days import bench_of, calendar_of, walk_in_share
from shop.bench.facts import last_findings, months_after, open_failures, warranties
from shop.bench.mailing import send_waiting
from shop.bench.minutes import learn_minutes, minutes_of, set_own_minutes
from shop.bench.sheet_taps import Tap, record_taps
from shop.bench.sweeping import sweep
from shop.bench.working import Found, add_job, finish_job, leave_out, step
from shop.models import CheckIn, DropOff, DropOffLine, LineJob, VisitEvent, VisitMail
from tests import factories

pytestmark = pytest.mark.django_db
TODAY = dt.date.today()


@pytest.fixture
def bench(portal):
    factories.make_bench(portal.shop)
    with all_tenants():
        yield portal


def by(portal, press=None) -> By:
    return By(portal.people["technician"], "screen", "shop", press or uuid.uuid4())


def arrive(portal, unit="due", told=None, jobs=("task.port",), **more) -> DropOffLine:
    visit = factories.make_drop_off(portal.shop, portal.north, portal.units[unit], days=0, jobs=jobs, **more)
    line = visit.lines.get(trimmer=portal.units[unit])
    check_in(line=line, told=told or Told(), by=by(portal), today=TODAY, now=timezone.now())
    link_open_faults([line])
    return again(line)


def again(line) -> DropOffLine:
    return DropOffLine.objects.select_related("drop_off__shop", "trimmer").get(pk=line.pk)


def go(portal, line, to, note=""):
    return step(line=again(line), to=to, by=by(portal), now=timezone.now(), note=note)


def finish(portal, job, **found):
    job.line = again(job.line)
    return finish_job(job=job, found=Found(**found), by=by(portal), today=TODAY, now=timezone.now())


def job_of(line, job) -> LineJob:
    return LineJob.objects.get(line=line, job=job)


def test_check_in_keeps_what_was_said_and_the_ledger_what_was_seen(bench):
    told = Told(
        phone="555-0101", complaint="bogs in tall grass", symptom="bogs_full_throttle", fuel="old", guard="on",
        cutting_line="long", hours=Decimal("61"), fix_up_to=Decimal("80"), promised_on=TODAY, left_with="harness",
        more_jobs=("task.grease",),
    )  # fmt: skip
    line = arrive(bench, told=told)
    assert (line.state, line.promised_on) == ("checked_in", TODAY)
    facts = CheckIn.objects.get(line=line)
    assert (facts.fuel, facts.fix_up_to, facts.complaint) == ("old", Decimal("80"), "bogs in tall grass")
    walk = GuardCheck.objects.filter(trimmer=line.trimmer).latest("pk")
    assert (walk.guard, walk.line, walk.seen_by) == ("on", "long", "shop")
    assert HoursEntry.objects.filter(trimmer=line.trimmer, meter_hours=61).exists()
    failure = Failure.objects.get(trimmer=line.trimmer)
    assert (failure.component, failure.done) == ("carburetor", "")
    assert failure.what == "Bogs or falls off at full throttle. bogs in tall grass"
    jobs = {job.job: job for job in LineJob.objects.filter(line=line)}
    assert jobs.keys() == {"intake", "task.port", "task.grease", "fault.carburetor"}
    assert jobs["fault.carburetor"].failure == failure
    assert line.minutes == 12 + 30 + 5 + 50


def test_a_safety_finding_at_the_counter_holds_the_unit_at_once(bench):
    arrive(bench, told=Told(safety=("fuel_leak", "screen_holed")))
    held = DueFlag.objects.filter(trimmer=bench.units["due"], on_hold=True)
    assert set(held.values_list("task", flat=True)) == {"fuel_filter", "arrestor"}


def test_a_safety_complaint_holds_the_unit_and_is_not_told_twice(bench):
    line = arrive(bench, told=Told(symptom="no_stop_switch_off"))
    assert DueFlag.objects.get(trimmer=line.trimmer, task="stop_switch").on_hold
    assert not Failure.objects.exists()
    assert job_of(line, "fault.stop_switch").failure is None


def test_nothing_of_a_check_in_stands_where_a_part_of_it_is_refused(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=0)
    line = visit.lines.get()
    walks = GuardCheck.objects.count()
    for wrong, field in (
        (Told(guard="off", hours=Decimal("1")), "hours"),
        (Told(guard="off", promised_on=TODAY - dt.timedelta(days=1)), "promised_on"),
        (Told(guard="off", symptom="tired"), "symptom"),
        (Told(guard="off", safety=("bogs",)), "safety"),
    ):
        with pytest.raises(Refused) as refusal:
            check_in(line=line, told=wrong, by=by(bench), today=TODAY, now=timezone.now())
        assert refusal.value.field == field
    assert GuardCheck.objects.count() == walks
    assert again(line).state == "booked"
    assert not CheckIn.objects.exists()


def test_the_same_complaint_is_not_a_second_failure(bench):
    unit = bench.units["due"]
    with all_tenants():
        from fleet.record.faults import report_fault

        report_fault(unit=unit, fault="bogs", on=TODAY, by=By(None, "import"), today=TODAY, words="since Monday")
    line = arrive(bench, told=Told(symptom="bogs_full_throttle"))
    assert Failure.objects.count() == 1
    assert job_of(line, "fault.carburetor").failure == Failure.objects.get()


def test_a_task_done_at_the_bench_is_in_the_ledger_and_moves_its_flag(bench):
    line = arrive(bench, jobs=("task.grease",))
    before = DueFlag.objects.get(trimmer=line.trimmer, task="grease").counts_from_hours
    job = finish(bench, job_of(line, "task.grease"), as_found="dry", done="serviced", minutes=7)
    entry = Service.objects.get(pk=job.entry_id)
    assert (job.entry_kind, entry.task, entry.as_found, entry.done_by, entry.minutes) == (
        "service",
        "grease",
        "dry",
        "shop",
        7,
    )
    assert DueFlag.objects.get(trimmer=line.trimmer, task="grease").counts_from_hours > before
    assert again(line).state == "on_bench"
    assert finish(bench, job_of(line, "task.grease")).entry_id == entry.pk
    assert Service.objects.filter(task="grease").count() == 1


def test_a_fault_becomes_what_it_really_was_and_lifts_its_hold(bench):
    line = arrive(bench, told=Told(symptom="quits_when_hot", complaint="dies after lunch"))
    said = Failure.objects.get()
    job = finish(
        bench, job_of(line, "fault.ignition"), component="fuel", done="replaced", cause="stale_fuel", minutes=25,
        parts_cost=Decimal("11.50"), what="vent blocked",
    )  # fmt: skip
    entry = Failure.objects.get(pk=job.entry_id)
    assert (entry.component, entry.cause, entry.done, entry.parts_cost) == (
        "fuel",
        "stale_fuel",
        "replaced",
        Decimal("11.50"),
    )
    assert entry.found == "in_use"
    assert Withdrawal.objects.get(kind="failure").entry_id == said.pk
    assert job.job == "repair.fuel.replaced"
    assert open_failures([line.trimmer_id]) == {}


def test_ready_asks_that_every_job_is_recorded_or_left_out(bench):
    line = arrive(bench)
    with pytest.raises(Refused, match="still open"):
        go(bench, line, "ready")
    finish(bench, job_of(line, "intake"), minutes=10)
    job = job_of(line, "task.port")
    job.line = again(line)
    with pytest.raises(Refused, match="why"):
        leave_out(job=job, why=" ", by=by(bench), now=timezone.now())
    leave_out(job=job, why="Owner said no", by=by(bench), now=timezone.now())
    assert go(bench, line, "ready").ready_at
    assert DropOff.objects.get().state == "ready"
    assert VisitMail.objects.get(kind="ready")
    assert go(bench, line, "picked_up").state == "picked_up"
    assert DropOff.objects.get().state == "picked_up"
    with pytest.raises(Refused, match="picked up now"):
        go(bench, line, "on_bench")


def test_waiting_on_parts_says_for_what_and_ready_mail_goes_once_all_are_ready(bench):
    visit = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], bench.units["fresh"], days=0, jobs=())
    first, second = visit.lines.order_by("pk")
    for line in (first, second):
        check_in(line=line, told=Told(), by=by(bench), today=TODAY, now=timezone.now())
        finish(bench, job_of(line, "intake"))
    with pytest.raises(Refused, match="waits for"):
        go(bench, first, "waiting")
    assert go(bench, first, "waiting", "gearbox").waiting_for == "gearbox"
    go(bench, second, "ready")
    assert DropOff.objects.get().state == "waiting"
    assert not VisitMail.objects.filter(kind="ready").exists()
    assert go(bench, first, "ready").waiting_for == ""
    assert VisitMail.objects.filter(kind="ready").count() == 1


def test_a_job_found_at_the_bench_is_added_once(bench):
    line = arrive(bench)
    for _time in range(2):
        add_job(line=line, job="fault.clutch", author=bench.people["technician"], now=timezone.now())
    assert LineJob.objects.filter(line=line, job="fault.clutch").count() == 1
    assert again(line).minutes == 42 + 35
    with pytest.raises(Refused):
        add_job(line=line, job="repair.clutch.replaced", author=None, now=timezone.now())


def test_a_walk_in_is_checked_in_at_once_and_once(bench):
    press = by(bench)
    said = {
        "shop": bench.shop,
        "contractor": bench.quarry,
        "crew": bench.north,
        "jobs": (),
        "by": press,
        "today": TODAY,
    }
    for _time in range(2):
        line = walk_in(unit=bench.units["due"], kit="", told=Told(symptom="no_start"), now=timezone.now(), **said)
    assert DropOff.objects.get().walk_in
    assert (line.state, Failure.objects.get().component) == ("checked_in", "fuel")
    kit = {**said, "by": by(bench)}
    line = walk_in(unit=None, kit="Blower", told=Told(left_with="can"), now=timezone.now(), **kit)
    assert (line.name, line.state) == ("Blower", "checked_in")


def test_days_that_pass_bring_no_shows_lapsed_offers_and_reminders(bench):
    bench.people["boss"].email = "boss@example.org"
    bench.people["boss"].save()
    now = timezone.now()
    missed = factories.make_drop_off(bench.shop, bench.north, bench.units["due"], days=-1)
    offer = factories.make_drop_off(bench.shop, bench.north, bench.units["fresh"], days=-1, state="offered")
    change_bench(shop=bench.shop, values={"unclaimed_days": 10})
    ready = factories.make_drop_off(bench.shop, bench.north, bench.units["held"], days=-30, state="ready")
    ready.lines.update(ready_at=now - dt.timedelta(days=12))
    first = sweep(shop=bench.shop, today=TODAY, now=now)
    assert (first.no_shows, first.lapsed, first.unclaimed) == (1, 1, 1)
    second = sweep(shop=bench.shop, today=TODAY, now=now)
    assert (second.no_shows, second.lapsed, second.unclaimed) == (0, 0, 0)
    missed.refresh_from_db()
    offer.refresh_from_db()
    assert (missed.state, offer.state) == ("no_show", "cancelled")
    assert send_waiting() == 2
    assert send_waiting() == 0
    subjects = sorted(message.subject for message in mail.outbox)
    assert subjects[0].startswith("Not seen on")
    assert subjects[1] == "Still waiting for you at Alder Street Small Engine"
    assert all(message.to == ["boss@example.org"] for message in mail.outbox)
    assert "QH-01: Clean the exhaust port" in mail.outbox[0].body
    # Late is better than never: the unit comes after all.
    line = missed.lines.get()
    check_in(line=line, told=Told(), by=by(bench), today=TODAY, now=now)
    assert again(line).state == "checked_in"


def test_minutes_are_drawn_toward_finished_jobs_with_their_count(bench):
    for n in range(10):
        factories.do_task(bench.units["due"], "grease", days=n + 1, minutes=Decimal(20), seen_as="shop")
    factories.do_task(bench.units["due"], "grease", days=20, minutes=Decimal(300), seen_as="crew")
    assert learn_minutes(shop=bench.shop, today=TODAY) == 10
    about = minutes_of(bench.shop).about("task.grease")
    # Half-way on the scale of logarithms between the start of 5, which counts as ten jobs, and ten jobs of 20.
    assert (about.minutes, about.start, about.jobs, round(about.learned)) == (10, 5, 10, 20)
    set_own_minutes(shop=bench.shop, job="task.grease", minutes=20)
    assert minutes_of(bench.shop).about("task.grease").minutes == 20
    with pytest.raises(Refused):
        set_own_minutes(shop=bench.shop, job="task.grease", minutes=0)
    Withdrawal.objects.bulk_create(
        Withdrawal(contractor=bench.quarry, kind="service", entry_id=pk, why="test")
        for pk in Service.objects.values_list("pk", flat=True)
    )
    assert learn_minutes(shop=bench.shop, today=TODAY) == 0
    assert minutes_of(bench.shop).about("task.grease").jobs == 0


def test_the_share_for_walk_ins_is_learned_from_the_bench_and_shrunk(bench):
    share = walk_in_share(bench_of(bench.shop), calendar_of(bench.shop), TODAY)
    assert (share.value, share.own, share.days) == (0.25, False, 0)
    for n in range(20):
        factories.make_drop_off(
            bench.shop, bench.north, days=-n - 1, kit=("A", "B", "C", "D", "E", "F", "G"), walk_in=True
        )
    share = walk_in_share(bench_of(bench.shop), calendar_of(bench.shop), TODAY)
    # Twenty days of 210 walk-in minutes out of 420, and the usual quarter counted as twenty more.
    assert (share.value, share.days) == (pytest.approx((0.25 + 0.5) / 2), 20)
    change_bench(shop=bench.shop, values={"walk_in_share": Decimal("0.1")})
    assert walk_in_share(bench_of(bench.shop), calendar_of(bench.shop), TODAY).own


def test_last_time_is_what_the_shop_found_before_today(bench):
    unit = bench.units["due"]
    factories.do_task(unit, "clutch", days=40, as_found="worn", done="looked", seen_as="shop")
    factories.do_task(unit, "grease", days=30, as_found="dry", seen_as="crew")
    factories.do_task(unit, "port", days=0, as_found="blocked", seen_as="shop")
    (found,) = last_findings(unit, TODAY)
    assert found[0] == factories.days_ago(40)
    assert "found worn" in found[1]


def test_warranty_runs_by_group_from_the_day_it_was_bought(bench):
    from fleet.models import ModelTerms

    unit = bench.units["due"]
    ModelTerms.objects.create(
        model=unit.model, contractor=bench.quarry, warranty_months=12, warranty_by_group={"engine": 24}
    )
    assert all(w.until is None for w in warranties(unit, TODAY))
    unit.bought_on = dt.date(2024, 8, 31)
    by_label = {str(w.label): w for w in warranties(unit, dt.date(2026, 8, 31))}
    assert (by_label["engine"].until, by_label["engine"].running) == (dt.date(2026, 8, 31), True)
    assert (by_label["drive line"].until, by_label["drive line"].running) == (dt.date(2025, 8, 31), False)


@pytest.mark.parametrize(
    ("day", "months", "after"),
    [
        ("2024-08-31", 6, "2025-02-28"),
        ("2023-08-31", 6, "2024-02-29"),
        ("2024-12-15", 1, "2025-01-15"),
        ("2024-01-31", 11, "2024-12-31"),
    ],
)
def test_months_after_a_day(day, months, after):
    assert months_after(dt.date.fromisoformat(day), months) == dt.date.fromisoformat(after)


def test_a_unit_that_failed_its_run_test_is_ready_only_with_a_reason(bench):
    line = arrive(bench, jobs=())
    finish(bench, job_of(line, "intake"), minutes=10)

    def tap(finding):
        now = timezone.now()
        record_taps(line=again(line), taps=[Tap("run_nose", finding)], by=by(bench), today=TODAY, now=now)

    tap("bad")
    page = bench.client("technician").get(reverse("bench_line", args=[line.pk])).content.decode()
    assert "The run test says bad: Runs nose-down" in page
    with pytest.raises(Refused, match="did not pass its run test: Runs nose-down"):
        go(bench, line, "ready")
    tap("good")
    assert go(bench, line, "ready").ready_at
    assert go(bench, line, "on_bench").ready_at is None
    tap("bad")
    assert go(bench, line, "ready", note="Owner fetches it to scrap it").ready_at
    assert VisitEvent.objects.filter(note="Owner fetches it to scrap it").exists()
