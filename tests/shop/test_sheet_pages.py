"""The bench sheet on screen: a tap by htmx, a plain save, figures that cannot be read, recording, constant queries."""

from __future__ import annotations

import uuid

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from fleet.models import Service
from shop.bench.arriving import Told
from shop.bench.sheet_reading import answers_on
from shop.models import LineJob, MeasureFigure, SheetAnswer
from shop.sheet_lines import SHEET_LINES
from tests.fleet.views.pages import text
from tests.shop.test_bench_work import arrive, bench, job_of
from tests.shop.test_sheet import record, tap

pytestmark = pytest.mark.django_db
__all__ = ["bench"]


def address(line, name="bench_sheet") -> str:
    return reverse(name, args=[line.pk])


def posted(key, finding, was="not_looked||looked|", **more) -> dict[str, str]:
    return {
        f"f-{key}": finding, f"was-{key}": was, f"press-{key}": str(uuid.uuid4()),
        **{f"{name}-{key}": value for name, value in more.items()},
    }  # fmt: skip


def test_one_page_in_order_with_cautions_practice_and_the_manual_first(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    page = bench.client("technician").get(address(line))
    shown = [row["key"] for stretch in page.context["stretches"] for row in stretch["lines"]]
    assert shown == list(SHEET_LINES)
    words = text(page)
    for said in ("0 of 34 lines looked at", "left-hand threaded", "(common practice)", "see the manual",
                 "The operator's manual and local rules come first"):  # fmt: skip
        assert said in words


def test_a_tap_answers_with_its_own_line_and_the_sentence_on_top(bench):
    line = arrive(bench, jobs=("task.plug",))
    sent = {"check": "plug", **posted("plug", "worn", m="0.031")}
    page = bench.client("technician").post(address(line, "sheet_save"), sent, headers={"HX-Request": "true"})
    body = page.content.decode()
    assert page.status_code == 200
    assert 'id="line-plug"' in body
    assert 'id="line-grease"' not in body
    assert "<b>1</b> of 1 lines looked at" in body
    assert answers_on(line)["plug"].done == "serviced"  # booked as a service, so done unless said otherwise


def test_a_figure_that_cannot_be_read_is_answered_on_the_line_and_nothing_is_lost(bench):
    line = arrive(bench, jobs=("task.plug",))
    client = bench.client("technician")
    for figure, why in (("thick", "Write a figure"), ("25", "too large")):
        sent = {"check": "plug", **posted("plug", "worn", m=figure)}
        page = client.post(address(line, "sheet_save"), sent, headers={"HX-Request": "true"})
        assert page.status_code == 422
        assert why in page.content.decode()
        assert f'value="{figure}"' in page.content.decode()
    page = client.post(address(line, "sheet_save"), posted("plug", "worn", m="thick"))
    assert page.status_code == 422
    assert not SheetAnswer.objects.exists()


def test_without_scripts_one_save_keeps_what_changed_and_leaves_the_rest_alone(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    tap(bench, line, "piston", "bad")  # by somebody else, after this page was loaded
    sent = {**posted("piston", "not_looked"), **posted("plug", "good"), **posted("spark", "bad")}
    page = bench.client("technician").post(address(line, "sheet_save"), sent, follow=True)
    assert "2 lines saved" in text(page)
    assert {k: a.finding for k, a in answers_on(line).items()} == {"piston": "bad", "plug": "good", "spark": "bad"}


def test_recording_shows_what_follows_asks_minutes_once_and_says_what_is_missing(bench):
    line = arrive(bench, jobs=("task.plug", "task.stop_switch"))
    client = bench.client("technician")
    assert "Nothing waits to be recorded" in text(client.get(address(line, "sheet_record")))
    tap(bench, line, "plug", "worn", done="replaced")
    tap(bench, line, "trigger", "good")
    page = client.get(address(line, "sheet_record"))
    assert "1 entry follows from the taps" in text(page)
    assert "Still to look at or put right: Stop switch and its wire" in text(page)
    wrong = client.post(address(line, "sheet_record"), {"minutes-task-plug": "-3", "parts-task-plug": "4"})
    assert wrong.status_code == 422
    assert not Service.objects.filter(trimmer=line.trimmer, task="plug", done="replaced").exists()
    done = client.post(
        address(line, "sheet_record"), {"minutes-task-plug": "5", "parts-task-plug": "4.10"}, follow=True
    )
    assert "bench sheet recorded" in text(done)
    assert job_of(line, "task.plug").minutes_taken == 5
    sheet = text(client.get(address(line)))
    assert "worn: recorded as service" in sheet
    client.post(address(line, "sheet_save"), {"again": "plug"})
    assert answers_on(line)["plug"].finding == "not_looked"


def test_the_manuals_figure_stands_on_the_line_and_a_value_outside_is_said(bench):
    line = arrive(bench, told=Told(symptom="no_spark"))
    client = bench.client("technician")
    client.post(address(line, "sheet_figure"), {"check_key": "air_gap", "low": "0.010", "high": "0.014"})
    assert MeasureFigure.objects.count() == 1
    tap(bench, line, "air_gap", "worn", measured="0.02")
    words = text(client.get(address(line)))
    assert "manual: 0.01 to 0.014 in" in words
    assert "above the manual's figure" in words
    page = client.post(address(line, "sheet_figure"), {"check_key": "air_gap", "low": "two"}, follow=True)
    assert "Write a figure" in text(page)


def test_other_kit_has_no_sheet_and_outside_the_shop_nothing_is_kept(bench):
    line = arrive(bench)
    LineJob.objects.filter(line=line).update(done_at=timezone.now())
    type(line).objects.filter(pk=line.pk).update(state="picked_up", standing=False)
    client = bench.client("technician")
    assert "not in the shop" in text(client.get(address(line)))
    page = client.post(address(line, "sheet_save"), posted("piston", "good"), follow=True)
    assert "is not in the shop" in text(page)
    assert not SheetAnswer.objects.exists()


def test_as_many_queries_with_every_line_answered_as_with_one(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    client = bench.client("technician")
    tap(bench, line, "piston", "good")
    client.get(address(line))
    with CaptureQueriesContext(connection) as few:
        client.get(address(line))
    for key in SHEET_LINES:
        tap(bench, line, key, "worn")
    record(bench, line)
    client.get(address(line))
    with CaptureQueriesContext(connection) as many:
        client.get(address(line))
    assert len(many) <= len(few)
