"""The quick look at a complaint: four taps, what they advise, what was decided."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.record.writing import Refused
from fleet.views.asking import go, show
from shop.bench.quick_looking import advice_for, decide, expected_labor, verdict_on
from shop.forms.sheet import Posted
from shop.quick_look import CALL, CARRY_ON, LOOK_ON, QUICK_CAUTION, QUICK_LINES, QUICK_MINUTES, STOP, VERDICTS, WHY
from shop.sheet_lines import BAD, SHEET_LINES
from shop.views.asking import by_shop
from shop.views.sheet_page import Sheet
from shop.views.stopped import stopped
from shop.vocabulary import SYMPTOMS


def quick_context(sheet: Sheet) -> dict[str, Any]:
    """What the four findings say to do now."""
    advice = advice_for(sheet.line, sheet.answers, sheet.row.jobs, sheet.row.check_in)
    told = sheet.row.check_in
    spark = sheet.answers.get("spark")
    symptom = "no_spark" if spark is not None and spark.finding == BAD else (told.symptom if told else "")
    return {
        "advice": advice,
        "advice_words": VERDICTS.get(advice.verdict, _("look on")),
        "why": [WHY[key] for key in advice.why],
        "look_on": advice.verdict == LOOK_ON,
        "expected": expected_labor(sheet.line, sheet.row.jobs),
        "limit": told.fix_up_to if told else None,
        "phone": told.phone if told else "",
        "verdicts": [(key, VERDICTS[key], key == advice.verdict) for key in (CARRY_ON, CALL, STOP)],
        "checks_url": reverse("first_checks", args=[sheet.line.pk]) + (f"?symptom={symptom}" if symptom else ""),
        "checks_for": SYMPTOMS[symptom].label if symptom else "",
    }


def show_quick(request: HttpRequest, sheet: Sheet, posted: Mapping[str, Posted] | None = None) -> HttpResponse:
    """The page of the four."""
    sheet.quick, sheet.keys = True, list(QUICK_LINES)
    sheet.history()
    context = {
        "sheet": sheet,
        "line": sheet.line,
        "unit": sheet.unit,
        "rows": [sheet.line_of(SHEET_LINES[key], (posted or {}).get(key)) for key in QUICK_LINES],
        "minutes": QUICK_MINUTES,
        "caution": QUICK_CAUTION,
        "verdict": verdict_on(sheet.line),
        **stopped(request.access, sheet.unit, sheet.now.date()),  # type: ignore[attr-defined]
        **quick_context(sheet),
    }
    bad = any(row.error for row in (posted or {}).values())
    return show(request, "shop/quick_look.html", context, status=422 if bad else 200)


@allowed("work_bench")
def quick_look(request: HttpRequest, pk: int) -> HttpResponse:
    """Four checks before anything else is done about a complaint."""
    return show_quick(request, Sheet(request, pk))


@allowed("work_bench")
@require_POST
def quick_decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Carry on, call the owner, or stop."""
    sheet = Sheet(request, pk)
    verdict, note = request.POST.get("verdict", ""), request.POST.get("note", "")
    try:
        kept = decide(line=sheet.line, verdict=verdict, note=note, by=by_shop(request), now=sheet.now)
    except Refused as refusal:
        messages.error(request, refusal.message)
        return go(request, reverse("quick_look", args=[pk]))
    messages.success(request, _("%(name)s: %(what)s.") % {"name": sheet.line.name, "what": VERDICTS[kept.verdict]})
    if kept.verdict == CARRY_ON:
        return go(request, quick_context(sheet)["checks_url"])
    return go(request, reverse("bench_line", args=[pk]))
