"""First checks on a line: answers kept and taken back, holds, jobs, what the shop learns, and the pages."""

from __future__ import annotations

import re
import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.models import DueFlag, Failure, GuardCheck, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.writing import Refused
from shop.bench.arriving import Told
from shop.bench.checking import _HOLD_OF_PART, _HOLD_OF_SYMPTOM, answer_check, answers_of, hold_of, own_findings
from shop.first_checks import NONE, symptoms
from shop.models import CheckAnswer, CheckRun, LineJob
from tests.fleet.views.pages import errors, text
from tests.shop.test_bench_work import TODAY, arrive, bench, by, finish, go, job_of

pytestmark = pytest.mark.django_db
__all__ = ["bench"]


def answer(portal, line, cause, what, symptom="no_start", press=None) -> CheckRun:
    return answer_check(
        line=line, symptom=symptom, cause=cause, answer=what, by=by(portal, press), today=TODAY, now=timezone.now()
    )


def kept(run) -> dict[str, str]:
    return {key: a.answer for key, a in answers_of(run).items()}


def ready(portal, line) -> None:
    for job in LineJob.objects.filter(line=line, done_at=None):
        given = {"as_found": "clear"} if job.job.startswith("task.") else {}
        finish(portal, job, minutes=5, what="put right", done="repaired" if "fault" in job.job else "serviced", **given)
    go(portal, line, "ready")


def test_every_cause_of_safety_has_a_finding_that_holds_and_no_other_cause_has():
    for key, symptom in symptoms().items():
        for cause in symptom.causes:
            assert bool(hold_of(key, cause)) == cause.safety
    used = {c.part for s in symptoms().values() for c in s.causes if c.safety and s.key not in _HOLD_OF_SYMPTOM}
    assert used == set(_HOLD_OF_PART)


def test_answers_are_kept_and_the_latest_stands(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    answer(bench, line, "stop_wire", "clear")
    run = answer(bench, line, "stop_wire", "taken_back")
    assert kept(run) == {}
    run = answer(bench, line, "stop_wire", "skipped")
    assert kept(run) == {"stop_wire": "skipped"}
    assert CheckAnswer.objects.count() == 3
    assert state_of(line) == "on_bench"


def state_of(line) -> str:
    return type(line).objects.get(pk=line.pk).state


def test_the_same_press_answers_once_and_an_old_form_cannot_answer_for_another_line(bench):
    line, other = arrive(bench, told=Told(symptom="no_start")), arrive(bench, unit="fresh")
    press = uuid.uuid4()
    answer(bench, line, "stop_wire", "clear", press=press)
    answer(bench, line, "stop_wire", "clear", press=press)
    assert CheckAnswer.objects.count() == 1
    with pytest.raises(Refused):
        answer(bench, other, "stop_wire", "clear", press=press)
    assert not CheckRun.objects.filter(line=other).exists()


def test_what_can_hurt_holds_the_unit_at_once_until_taken_back(bench):
    line = arrive(bench, told=Told(symptom="no_spark"))
    assert not DueFlag.objects.filter(trimmer=line.trimmer, on_hold=True).exists()
    answer(bench, line, "stop_wire", "found", symptom="no_spark")
    assert DueFlag.objects.get(trimmer=line.trimmer, on_hold=True).task == "stop_switch"
    assert GuardCheck.objects.filter(trimmer=line.trimmer, safety="no_stop", seen_by="shop").count() == 1
    answer(bench, line, "stop_wire", "taken_back", symptom="no_spark")
    assert Withdrawal.objects.filter(kind="guard").count() == 1
    assert not DueFlag.objects.filter(trimmer=line.trimmer, on_hold=True).exists()
    # Found again, it holds again: what was withdrawn does not count as told already.
    answer(bench, line, "stop_wire", "found", symptom="no_spark")
    assert DueFlag.objects.filter(trimmer=line.trimmer, on_hold=True).exists()


def test_what_the_counter_told_already_is_not_told_twice(bench):
    line = arrive(bench, told=Told(symptom="fuel_leak"))
    before = GuardCheck.objects.count()
    answer(bench, line, "cap_vent", "found", symptom="fuel_leak")
    assert GuardCheck.objects.count() == before
    answer(bench, line, "cap_vent", "taken_back", symptom="fuel_leak")
    # The counter's own finding stands: the check had not made it.
    assert DueFlag.objects.filter(trimmer=line.trimmer, on_hold=True).exists()


def test_one_cause_at_a_time_and_only_while_it_is_in_the_shop(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    first, second = (c.key for c in symptoms()["no_start"].causes[:2])
    answer(bench, line, first, "found")
    with pytest.raises(Refused):
        answer(bench, line, second, "found")
    for cause, what, symptom in (("tired", "clear", "no_start"), (first, "maybe", "no_start"), (first, "clear", "x")):
        with pytest.raises(Refused):
            answer(bench, line, cause, what, symptom=symptom)
    ready(bench, line)
    go(bench, line, "picked_up")
    with pytest.raises(Refused):
        answer(bench, line, second, "clear")


def test_a_found_cause_fills_in_the_repair_and_nobody_types_it_twice(bench):
    line = arrive(bench, told=Told(symptom="bogs_full_throttle"))
    cause = _repairable("bogs_full_throttle")
    answer(bench, line, cause.key, "found", symptom="bogs_full_throttle")
    jobs = LineJob.objects.filter(line=line, job__startswith="fault.")
    assert [j.job for j in jobs] == ["fault.carburetor"]
    page = bench.client("technician").get(reverse("bench_job", args=[jobs.get().pk]))
    form = page.context["form"]
    assert (form["component"].value(), form["what"].value()) == (cause.component, cause.text)
    assert "First checks found" in text(bench.client("technician").get(reverse("bench_line", args=[line.pk])))


def _repairable(symptom: str):
    return next(
        c for c in symptoms()[symptom].causes if not c.about_use and not c.safety and c.component != "carburetor"
    )


def test_a_cause_without_a_job_adds_one(bench):
    line = arrive(bench)
    cause = _repairable("no_spark")
    answer(bench, line, cause.key, "found", symptom="no_spark")
    assert job_of(line, f"fault.{cause.component}").added == "bench"


def test_a_finding_about_use_blames_no_part(bench):
    line = arrive(bench, told=Told(symptom="no_start", complaint="dead"))
    cause = next(c for c in symptoms()["no_start"].causes if c.about_use)
    answer(bench, line, cause.key, "found")
    job = job_of(line, "fault.fuel")
    client = bench.client("technician")
    address = reverse("bench_job", args=[job.pk])
    form = client.get(address).context["form"]
    assert form["done"].value() == "not_broken"
    sent = {"client_entry_id": uuid.uuid4(), "component": "fuel", "done": "not_broken", "what": ""}
    assert "what" in str(errors(client.post(address, sent)))
    assert client.post(address, {**sent, "what": "tank nearly empty", "minutes": "4"}).status_code == 302
    with all_tenants():
        assert Withdrawal.objects.get(kind="failure").entry_id == Failure.objects.get().pk
        job.refresh_from_db()
    assert job.done_at is not None
    assert job.minutes_taken == 4


def test_the_shop_learns_from_units_made_ready_and_only_its_own(bench):
    cause = _repairable("no_start").key
    line = arrive(bench, told=Told(symptom="no_start"))
    answer(bench, line, cause, "found")
    assert own_findings(bench.shop.pk, "no_start") == {}
    ready(bench, line)
    assert own_findings(bench.shop.pk, "no_start") == {cause: 1}
    assert own_findings(bench.shop.pk, "no_spark") == {}
    assert own_findings(bench.shop.pk + 1, "no_start") == {}
    go(bench, line, "on_bench")
    assert own_findings(bench.shop.pk, "no_start") == {}


def test_something_else_is_learned_from_too(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    for cause in symptoms()["no_start"].causes:
        answer(bench, line, cause.key, "clear")
    page = text(bench.client("technician").get(reverse("first_checks", args=[line.pk])))
    assert "It was something else" in page
    answer(bench, line, NONE, "found")
    page = text(bench.client("technician").get(reverse("first_checks", args=[line.pk])))
    assert "not in the table" in page
    ready(bench, line)
    assert own_findings(bench.shop.pk, "no_start") == {NONE: 1}


def _next_check(page) -> str:
    return page.context["next"]["key"]


def test_one_tap_an_answer_and_the_next_check_follows(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    client = bench.client("technician")
    page = client.get(reverse("first_checks", args=[line.pk]))
    first = _next_check(page)
    assert symptoms()["no_start"].cause(first).check in text(page)
    # The stop circuit can hurt, so it comes first, after what must be known before it.
    assert first in symptoms()["no_start"].cause("stop_wire").after
    assert "The operator's manual and local rules come first" in text(page)
    sent = {"symptom": "no_start", "cause": first, "answer": "clear", "client_entry_id": uuid.uuid4()}
    response = client.post(reverse("first_checks_answer", args=[line.pk]), sent, follow=True)
    assert _next_check(response) != first
    assert re.search(r"\d+ checks are left", text(response))
    assert "Take back" in text(response)


def test_a_line_without_complaint_asks_for_one_and_other_kit_has_no_checks(bench):
    line = arrive(bench)
    client = bench.client("technician")
    assert "Choose what is wrong" in text(client.get(reverse("first_checks", args=[line.pk])))
    assert client.get(reverse("first_checks", args=[line.pk]) + "?symptom=nonsense").status_code == 404
    assert client.post(reverse("first_checks_answer", args=[line.pk]), {"answer": "clear"}).status_code == 404


def test_a_refusal_is_told_on_the_page(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    sent = {"symptom": "no_start", "cause": "nonsense", "answer": "clear"}
    response = bench.client("technician").post(reverse("first_checks_answer", args=[line.pk]), sent, follow=True)
    assert "Choose one of the answers offered" in text(response)


def test_as_many_queries_with_many_answers_and_findings_as_with_none(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    client = bench.client("technician")
    address = reverse("first_checks", args=[line.pk])
    answer(bench, line, symptoms()["no_start"].causes[8].key, "clear")
    client.get(address)
    with CaptureQueriesContext(connection) as few:
        client.get(address)
    for cause in symptoms()["no_start"].causes[:8]:
        answer(bench, line, cause.key, "clear")
    client.get(address)
    with CaptureQueriesContext(connection) as many:
        client.get(address)
    assert len(many) == len(few)
