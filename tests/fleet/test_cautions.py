"""Every job that can hurt somebody has its caution, and none leads past the maker's manual or a safety part."""

from __future__ import annotations

import re

import pytest
from django.template.loader import render_to_string

from fleet.cautions import (
    FINDING_CAUTIONS,
    TASK_CAUTIONS,
    caution_for_as_found,
    caution_for_component,
    caution_for_finding,
    caution_for_hold,
    caution_for_task,
)
from fleet.record.faults import FAULTS
from fleet.upkeep.holds import FINDINGS
from fleet.upkeep.stops import STOPPING_COMPONENTS
from fleet.vocabulary import TASKS

EVERY = {**TASK_CAUTIONS, **FINDING_CAUTIONS}


def words(caution) -> str:
    return " ".join([str(caution.text), *(str(point) for point in caution.points)])


def test_every_job_with_hands_on_the_machine_has_one():
    assert set(TASK_CAUTIONS) == set(TASKS) - {"review"}


def test_every_fault_that_holds_or_stops_has_one():
    for fault in FAULTS.values():
        if fault.holds or fault.stops:
            assert caution_for_finding(fault.caution) is not None, fault.key


def test_every_finding_that_holds_and_every_component_that_stops_has_one():
    for finding in FINDINGS:
        assert caution_for_hold(finding.key) is not None, finding.key
    for component in STOPPING_COMPONENTS:
        assert caution_for_component(component) is not None, component


@pytest.mark.parametrize(
    ("task", "word"),
    [
        ("grease", "plug lead off"), ("grease", "hot"), ("grease", "gloves"), ("arrestor", "never run without it"),
        ("arrestor", "hot"), ("port", "carbon"), ("fuel_filter", "flames"), ("lay_up", "indoors"),
        ("stop_switch", "exhaust gas kills"), ("stop_switch", "hearing protection"), ("head", "blade"),
        ("head", "never run without the guard"), ("clutch", "still at idle"),
    ],
)  # fmt: skip
def test_says_what_the_trade_warns_of(task, word):
    assert word in words(caution_for_task(task)).lower()


@pytest.mark.parametrize("key", list(EVERY))
def test_never_tells_to_run_without_guard_screen_or_switch(key):
    text = words(EVERY[key]).lower()
    for sentence in re.split(r"[.:;]", text):
        if "without" in sentence and re.search(r"\b(run|start|work|use)\b", sentence):
            assert "never" in sentence or "runs long" in sentence, sentence


def test_common_practice_says_so():
    assert words(TASK_CAUTIONS["grease"]).count("(common practice)") == 1


def test_holed_or_missing_screen_speaks_of_fire_and_law():
    for found in ("holed", "missing"):
        assert "law" in words(caution_for_as_found("arrestor", found))
    assert caution_for_as_found("arrestor", "clear") is None


def test_shown_with_the_manual_and_local_rules_last():
    html = render_to_string("fleet/_caution.html", {"caution": caution_for_task("plug")})
    assert html.rstrip().endswith("</aside>")
    assert "manual and local rules come first" in html
