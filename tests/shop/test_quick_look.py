"""The quick look: what four findings advise, what was decided, what follows. The rule is common practice, no source."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from fleet.record.writing import Refused
from shop.bench.arriving import Told
from shop.bench.quick_looking import decide, verdict_on
from shop.bench.sheet_reading import answers_on
from shop.models import LineJob, QuickVerdict, VisitEvent
from shop.quick_look import CALL, CARRY_ON, LOOK_ON, QUICK_LINES, STOP, WHY, advise
from shop.sheet_lines import SHEET_LINES
from tests.fleet.views.pages import text
from tests.shop.test_bench_work import again, arrive, bench, by
from tests.shop.test_sheet import tap
from tests.shop.test_sheet_pages import posted

pytestmark = pytest.mark.django_db
__all__ = ["bench"]
SOUND = dict.fromkeys(QUICK_LINES, "good")


@pytest.mark.parametrize(
    ("findings", "more", "verdict"),
    [
        ({}, {}, LOOK_ON),
        ({**SOUND, "piston": "not_looked"}, {}, LOOK_ON),
        (SOUND, {}, CARRY_ON),
        ({**SOUND, "fuel": "bad"}, {}, CARRY_ON),
        ({**SOUND, "spark": "bad"}, {}, CARRY_ON),
        ({"piston": "bad"}, {}, STOP),  # one is enough: nothing else need be opened
        ({**SOUND, "compression": "bad"}, {"limit": Decimal(500), "expected": Decimal(9)}, STOP),
        ({**SOUND, "compression": "worn"}, {}, CALL),
        (SOUND, {"beyond": True}, CALL),
        (SOUND, {"beyond": True, "limit": Decimal(80), "expected": Decimal(75)}, CARRY_ON),
        (SOUND, {"limit": Decimal(80), "expected": Decimal("80.01")}, CALL),
    ],
)
def test_carry_on_call_the_owner_or_stop(findings, more, verdict) -> None:
    advice = advise(findings, **more)
    assert advice.verdict == verdict
    assert advice.why
    assert set(advice.why) <= set(WHY)
    assert set(QUICK_LINES) <= set(SHEET_LINES)


def say(portal, line, verdict, note="") -> QuickVerdict:
    return decide(line=again(line), verdict=verdict, note=note, by=by(portal), now=timezone.now())


def test_stop_puts_the_review_on_the_visit_and_twice_is_once(bench):
    line = arrive(bench, told=Told(symptom="no_start"))
    say(bench, line, STOP)
    say(bench, line, STOP)
    assert QuickVerdict.objects.count() == 1
    assert LineJob.objects.filter(line=line, job="task.review").count() == 1
    assert VisitEvent.objects.filter(line=line, what="quick_look").count() == 1
    assert again(line).state == "on_bench"
    say(bench, line, CARRY_ON, "owner says go on")
    assert verdict_on(line).note == "owner says go on"
    with pytest.raises(Refused):
        say(bench, line, "burn it")


def test_what_is_tapped_in_the_quick_look_stands_on_the_sheet(bench):
    line = arrive(bench, told=Told(symptom="no_start", phone="555-0101", fix_up_to=Decimal(300)))
    client = bench.client("technician")
    address = reverse("quick_look", args=[line.pk])
    page = text(client.get(address))
    assert "None of the four needs it running" in page
    assert "The operator's manual and local rules come first" in page
    sent = {"quick": "1", **posted("piston", "good"), **posted("compression", "good", m="120"), **posted("fuel", "bad")}
    after = client.post(reverse("sheet_save", args=[line.pk]), sent, follow=True)
    assert after.request["PATH_INFO"] == address
    tapped = {"quick": "1", "check": "spark", **posted("spark", "bad")}
    one = client.post(reverse("sheet_save", args=[line.pk]), tapped, headers={"HX-Request": "true"}).content.decode()
    assert "carry on" in one
    assert answers_on(line)["compression"].measured == 120
    # Nothing typed twice: the same answers stand on the sheet.
    assert "4 of 34 lines looked at" in text(client.get(reverse("bench_sheet", args=[line.pk])))
    go_on = client.post(reverse("quick_decide", args=[line.pk]), {"verdict": CARRY_ON})
    assert go_on["Location"] == reverse("first_checks", args=[line.pk]) + "?symptom=no_spark"


def test_the_decision_is_told_with_the_bench_work(bench):
    line = arrive(bench, told=Told(symptom="no_start", phone="555-0101"))
    client = bench.client("technician")
    assert "Quick look" in text(client.get(reverse("bench_line", args=[line.pk])))
    tap(bench, line, "piston", "bad")
    assert "stop" in text(client.get(reverse("quick_look", args=[line.pk])))
    page = client.post(reverse("quick_decide", args=[line.pk]), {"verdict": CALL, "note": "left word"}, follow=True)
    assert "No more work until the owner has answered" in text(page)
    assert "left word" in text(page)
    wrong = client.post(reverse("quick_decide", args=[line.pk]), {"verdict": "?"}, follow=True)
    assert "Choose one of the answers offered" in text(wrong)
