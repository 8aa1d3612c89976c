"""The bench sheet: taps kept and taken back, holds, what they become in the ledger, and that nothing is told twice."""

from __future__ import annotations

import uuid
from decimal import Decimal

import pytest
from django.utils import timezone

from fleet.models import DueFlag, Failure, GuardCheck, Service, Withdrawal
from fleet.record.faults import FAULTS
from fleet.record.writing import Refused
from fleet.vocabulary import AS_FOUND, COMPONENTS, FINDINGS_OF_TASK, GUARD_STATES, LINE_STATES
from shop.bench.arriving import Told
from shop.bench.sheet_plan import _GRAVEST, SheetPlan
from shop.bench.sheet_reading import answers_on, keys_shown, last_time
from shop.bench.sheet_recording import Spent, plan_of, record_sheet
from shop.bench.sheet_taps import Tap, figures_of, keep_figure, record_taps
from shop.models import LineJob, SheetAnswer, SheetEntry
from shop.sheet_lines import SHEET_LINES, TASKS_ON_SHEET, lines_of_task
from tests.shop.test_bench_work import TODAY, again, arrive, bench, by, go, job_of

pytestmark = pytest.mark.django_db
__all__ = ["bench"]


def tap(portal, line, key, finding, detail="", done="", measured=None, press=None) -> list[SheetAnswer]:
    said = Tap(key, finding, detail, done, None if measured is None else Decimal(measured), press)
    return record_taps(line=again(line), taps=[said], by=by(portal), today=TODAY, now=timezone.now())


def record(portal, line, **spent) -> SheetPlan:
    took = {key.replace("_", ".", 1): value for key, value in spent.items()}
    return record_sheet(line=again(line), spent=took, by=by(portal), today=TODAY, now=timezone.now())


def services(line) -> dict[str, tuple[str, str]]:
    return {s.task: (s.as_found, s.done) for s in Service.objects.filter(trimmer=line.trimmer, occurred_on=TODAY)}


def held(line) -> set[str]:
    return set(DueFlag.objects.filter(trimmer=line.trimmer, on_hold=True).values_list("task", flat=True))


def test_every_word_of_the_sheet_is_one_the_ledger_knows() -> None:
    assert len(SHEET_LINES) == sum(1 for _ in SHEET_LINES)
    for check in SHEET_LINES.values():
        words = {check.good, *check.worn, *check.bad}
        known = {"guard": GUARD_STATES, "line": LINE_STATES}.get(check.key)
        if known is None:
            known = FINDINGS_OF_TASK[check.task] if check.task else AS_FOUND
            assert words <= set(_GRAVEST)
        assert words <= set(known), check.key
        assert {fault for _word, fault in check.holds} <= set(FAULTS)
        assert not check.component or check.component in COMPONENTS
    assert {*TASKS_ON_SHEET, "lay_up", "review"} == set(FINDINGS_OF_TASK)


def test_the_order_is_the_way_the_hands_go_and_the_carburetor_comes_last() -> None:
    order = list(SHEET_LINES)
    way = ["head", "guard", "gearbox", "shaft", "clutch", "screen", "port", "piston", "plug", "air_gap", "mounts",
           "stop_switch", "trigger", "starter", "joints", "fuel", "fuel_line", "fuel_filter", "primer", "carburetor",
           "run_level", "run_nose", "run_side", "idle_rpm", "full_rpm"]  # fmt: skip
    assert [key for key in order if key in way] == way
    assert order.index("carburetor") == max(order.index(k) for k in order if not k.startswith(("run_", "idle", "full")))


def test_planned_service_shows_only_its_lines_and_a_complaint_all(bench):
    line = arrive(bench, jobs=("task.grease", "task.stop_switch"))
    jobs = list(LineJob.objects.filter(line=line))
    assert keys_shown(jobs, complaint=False) == ["grease", "stop_switch", "trigger"]
    assert keys_shown(jobs, complaint=True) == list(SHEET_LINES)
    assert keys_shown(jobs, complaint=False, everything=True) == list(SHEET_LINES)


def test_taps_are_only_added_the_latest_stands_and_the_same_adds_nothing(bench):
    line = arrive(bench, jobs=("task.plug",))
    press = uuid.uuid4()
    assert tap(bench, line, "piston", "good", press=press)
    assert not tap(bench, line, "piston", "good")
    assert tap(bench, line, "piston", "worn")
    assert not tap(bench, line, "piston", "good", press=press)  # the first tap sent once more, late
    assert answers_on(line)["piston"].finding == "worn"
    assert tap(bench, line, "piston", "not_looked")
    assert SheetAnswer.objects.filter(line=line).count() == 3
    assert again(line).state == "on_bench"


@pytest.mark.parametrize(
    "said",
    [("nonsense", "good"), ("plug", "fine"), ("plug", "good", "", "thrown"), ("plug", "good", "", "", "5"),
     ("port", "good", "", "", "1"), ("full_rpm", "good", "", "", "9000.5"), ("plug", "good", "", "", "-1")],
)  # fmt: skip
def test_what_cannot_be_is_refused_and_nothing_kept(bench, said):
    line = arrive(bench)
    with pytest.raises(Refused):
        tap(bench, line, *said)
    assert not SheetAnswer.objects.exists()


def test_what_can_hurt_holds_at_once_until_taken_back(bench):
    line = arrive(bench)
    tap(bench, line, "stop_switch", "bad")
    assert held(line) == {"stop_switch"}
    tap(bench, line, "stop_switch", "bad", done="serviced")  # the same finding: one hold
    assert GuardCheck.objects.filter(trimmer=line.trimmer, safety="no_stop").count() == 1
    tap(bench, line, "stop_switch", "not_looked")
    assert Withdrawal.objects.get().kind == "guard"
    assert not held(line)


def test_a_planned_service_is_recorded_from_its_taps_and_nothing_is_typed_twice(bench):
    line = arrive(bench, jobs=("task.grease", "task.stop_switch", "task.arrestor"))
    before = DueFlag.objects.get(trimmer=line.trimmer, task="grease").counts_from_hours
    for key, finding in (("grease", "bad"), ("screen", "worn"), ("stop_switch", "good"), ("trigger", "good")):
        tap(bench, line, key, finding)
    with pytest.raises(Refused, match="not recorded yet"):
        go(bench, line, "ready")
    record(bench, line, task_grease=Spent(6, Decimal("2.50")))
    assert services(line) == {
        "grease": ("dry", "serviced"), "arrestor": ("partly", "serviced"), "stop_switch": ("ok", "looked"),
    }  # fmt: skip
    assert Service.objects.get(task="grease", occurred_on=TODAY).parts_cost == Decimal("2.50")
    assert job_of(line, "task.grease").minutes_taken == 6
    assert DueFlag.objects.get(trimmer=line.trimmer, task="grease").counts_from_hours > before
    assert not LineJob.objects.filter(line=line, job__startswith="task.", done_at=None).exists()
    finish_intake(bench, line)
    go(bench, line, "ready")
    go(bench, line, "picked_up")


def finish_intake(portal, line) -> None:
    LineJob.objects.filter(line=line, job="intake").update(done_at=timezone.now())


def test_recording_twice_records_once_and_a_new_look_is_recorded_beside_it(bench):
    line = arrive(bench, jobs=("task.plug",))
    tap(bench, line, "plug", "worn", done="replaced", measured="0.031")
    record(bench, line)
    assert not record(bench, line)
    assert services(line) == {"plug": ("worn", "replaced")}
    assert SheetEntry.objects.count() == 1
    tap(bench, line, "plug", "not_looked")
    assert Service.objects.filter(trimmer=line.trimmer, task="plug", occurred_on=TODAY).count() == 1
    tap(bench, line, "plug", "good", done="looked")
    record(bench, line)
    assert Service.objects.filter(trimmer=line.trimmer, task="plug", occurred_on=TODAY).count() == 2


def test_a_check_is_whole_before_it_counts_but_a_bad_finding_counts_at_once(bench):
    line = arrive(bench, jobs=("task.fuel_filter",))
    tap(bench, line, "fuel_filter", "worn", done="replaced")
    assert [task for task, _missing in plan_of(line).incomplete] == ["fuel_filter"]
    assert not plan_of(line)
    tap(bench, line, "fuel_line", "bad")
    assert held(line) == {"fuel_filter"}
    record(bench, line)
    assert services(line) == {"fuel_filter": ("failed", "looked")}
    assert held(line) == {"fuel_filter"}
    assert job_of(line, "fault.fuel").done_at is None  # still to be put right before it is called ready


def test_a_bad_part_becomes_a_failure_where_put_right_else_a_job(bench):
    line = arrive(bench)
    tap(bench, line, "gearbox", "bad", done="replaced")
    tap(bench, line, "starter", "bad")
    tap(bench, line, "cooling", "worn")
    tap(bench, line, "piston", "good")
    record(bench, line, fault_gearbox=Spent(20, Decimal("48")))
    failure = Failure.objects.get(trimmer=line.trimmer)
    assert (failure.component, failure.done, failure.found, failure.minutes) == ("gearbox", "replaced", "at_look", 20)
    assert failure.what == "Gearbox, turned by hand: bad"
    assert job_of(line, "repair.gearbox.replaced").done_at is not None
    assert job_of(line, "fault.starter").done_at is None
    assert set(SheetEntry.objects.values_list("answer__check_key", "entry_kind")) == {
        ("gearbox", "failure"), ("starter", "job"),
    }  # fmt: skip
    assert not plan_of(line)  # checks of single parts that found nothing stay on the sheet


def test_a_complaint_put_right_on_the_sheet_settles_its_job_and_is_one_failure(bench):
    line = arrive(bench, told=Told(symptom="no_spark"))
    tap(bench, line, "plug", "bad", done="replaced")
    record(bench, line)
    standing = Failure.objects.exclude(
        pk__in=Withdrawal.objects.filter(kind="failure").values_list("entry_id", flat=True)
    )
    assert [(f.component, f.done, f.found) for f in standing] == [("ignition", "replaced", "in_use")]
    # The repair tells what was found; the plug's clock starts anew all the same.
    assert services(line) == {"plug": ("", "replaced")}


def test_guard_and_line_go_into_the_guard_check_as_found_and_as_left(bench):
    line = arrive(bench)
    walks = GuardCheck.objects.filter(trimmer=line.trimmer, occurred_on=TODAY, seen_by="shop").order_by("pk")
    tap(bench, line, "guard", "bad", "off")
    assert held(line) == {"head"}
    tap(bench, line, "line", "bad", "long", done="serviced")
    tap(bench, line, "head", "good")
    # A good head does not clear a missing guard: its look waits for the guard.
    assert [task for task, _missing in plan_of(line).incomplete] == ["head"]
    tap(bench, line, "guard", "bad", "off", done="replaced")
    record(bench, line)
    assert [(w.guard, w.line) for w in walks] == [("off", ""), ("", "long"), ("refitted", "ok")]
    assert services(line) == {"head": ("ok", "looked")}
    assert not held(line)
    assert not Failure.objects.exists()  # a lost guard is no wear of the part


def test_a_job_recorded_on_its_own_page_is_not_recorded_again(bench):
    from tests.shop.test_bench_work import finish

    line = arrive(bench, jobs=("task.plug",))
    tap(bench, line, "plug", "worn")
    finish(bench, job_of(line, "task.plug"), as_found="worn", done="replaced")
    assert not plan_of(line)


def test_last_time_is_what_an_earlier_visit_found(bench):
    line = arrive(bench)
    tap(bench, line, "compression", "worn", measured="95")
    tap(bench, line, "piston", "good")
    tap(bench, line, "piston", "not_looked")
    assert last_time(line) == {}
    finish_intake(bench, line)
    LineJob.objects.filter(line=line).update(done_at=timezone.now())
    go(bench, line, "ready")
    go(bench, line, "picked_up")
    later = arrive(bench)
    before = last_time(later)
    assert {key: (a.finding, a.measured) for key, a in before.items()} == {"compression": ("worn", Decimal(95))}


def test_the_manuals_figure_is_kept_by_model_and_can_be_taken_back(bench):
    line = arrive(bench)
    args = {"line": line, "key": "air_gap", "by": by(bench), "now": timezone.now()}
    keep_figure(**args, low=Decimal("0.010"), high=Decimal("0.014"))
    keep_figure(**args, low=Decimal("0.010"), high=Decimal("0.014"))
    model = line.trimmer.model_id
    assert figures_of(bench.shop.pk, model)["air_gap"].high == Decimal("0.014")
    assert figures_of(bench.shop.pk + 1, model) == {}
    keep_figure(**args, low=None, high=None)
    assert figures_of(bench.shop.pk, model) == {}
    for low, high in ((Decimal("0.02"), Decimal("0.01")), (Decimal("4"), None), (Decimal("0.0123"), None)):
        with pytest.raises(Refused):
            keep_figure(**args, low=low, high=high)


def test_tasks_of_several_lines_are_known() -> None:
    assert [c.key for c in lines_of_task("head")] == ["head", "line", "guard"]
    assert [c.key for c in lines_of_task("clutch")] == ["clutch", "idle_head"]
