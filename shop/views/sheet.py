"""The bench sheet on screen: line by line as the hands go, one tap each, saved as it is made."""

from __future__ import annotations

from collections.abc import Mapping

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.views.asking import go, show
from fleet.views.jobs import say_holds
from shop.bench.sheet_recording import record_sheet
from shop.bench.sheet_taps import Tap, keep_figure, record_taps
from shop.bench.words import job_words
from shop.forms.sheet import FigureOfManual, Posted, SpentForm, read_line, read_sheet
from shop.sheet_lines import (
    LOOKED,
    NOT_LOOKED,
    SHEET_LINES,
)
from shop.views.asking import by_shop
from shop.views.quick_look import quick_context, show_quick
from shop.views.sheet_page import Sheet, figure_texts
from shop.views.sheet_words import plan_words
from shop.views.stopped import stopped
from shop.vocabulary import fault_job, task_job


@allowed("work_bench")
def bench_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet of one line."""
    sheet = Sheet(request, pk)
    return _show_sheet(request, sheet)


def _show_sheet(request: HttpRequest, sheet: Sheet, posted: Mapping[str, Posted] | None = None) -> HttpResponse:
    sheet.history()
    context = {
        "sheet": sheet,
        "line": sheet.line,
        "unit": sheet.unit,
        "answer": sheet.answer(),
        "stretches": sheet.rows(posted),
        "planned": len(sheet.keys) < len(SHEET_LINES),
        **stopped(request.access, sheet.unit, sheet.now.date()),  # type: ignore[attr-defined]
        "measured": [
            (SHEET_LINES[key], *figure_texts(sheet.figures.get(key)))
            for key in sheet.keys
            if SHEET_LINES[key].measure is not None
        ],
    }
    bad = any(row.error for row in (posted or {}).values())
    return show(request, "shop/sheet.html", context, status=422 if bad else 200)


@allowed("work_bench")
@require_POST
def sheet_save(request: HttpRequest, pk: int) -> HttpResponse:
    """One tap sent by itself, or the whole sheet sent by *Save*."""
    sheet = Sheet(request, pk)
    key = request.POST.get("check", "")
    one = bool(request.htmx) and key in SHEET_LINES  # type: ignore[attr-defined]
    posted = {key: read_line(request.POST, key)} if one else read_sheet(request.POST, sheet.keys)
    taps = [row.tap for row in posted.values()]
    again = request.POST.get("again", "")
    if again in SHEET_LINES and not one:
        taps.append(Tap(again, NOT_LOOKED))
    if not any(row.error for row in posted.values()):
        try:
            record_taps(line=sheet.line, taps=taps, by=by_shop(request), today=sheet.now.date(), now=sheet.now)
        except Refused as refusal:
            if refusal.field in posted:
                posted[refusal.field].error = refusal.message
            else:
                messages.error(request, refusal.message)
                return _one(request, sheet, key, None) if one else go(request, sheet.url())
    failed = any(row.error for row in posted.values())
    if not failed and any(SHEET_LINES[t.key].hold(t.finding, t.detail or "") for t in taps if t.key in SHEET_LINES):
        say_holds(request, [sheet.unit])
    if one:
        return _one(request, sheet, key, posted[key] if failed else None)
    if failed:
        return _again(request, sheet, posted)
    n = len(posted)
    if n:
        messages.success(request, ngettext("%(n)s line saved.", "%(n)s lines saved.", n) % {"n": n})
    return go(request, sheet.url())


def _one(request: HttpRequest, sheet: Sheet, key: str, posted: Posted | None) -> HttpResponse:
    sheet.read()
    sheet.history()
    context = {
        "sheet": sheet,
        "line": sheet.line,
        "row": sheet.line_of(SHEET_LINES[key], posted),
        "answer": sheet.answer(),
        **(quick_context(sheet) if sheet.quick else {}),
    }
    return render(request, "shop/sheet.html#saved_row", context, status=422 if posted else 200)


def _again(request: HttpRequest, sheet: Sheet, posted: Mapping[str, Posted]) -> HttpResponse:
    return show_quick(request, sheet, posted) if sheet.quick else _show_sheet(request, sheet, posted)


@allowed("work_bench")
def sheet_record(request: HttpRequest, pk: int) -> HttpResponse:
    """What the taps become, with minutes and parts once; then into the ledger."""
    sheet = Sheet(request, pk)
    rows, incomplete = plan_words(sheet.plan)
    timed = [
        *((task_job(s.task), job_words(task_job(s.task))) for s in sheet.plan.served if s.job or s.done != LOOKED),
        *((fault_job(m.component), job_words(fault_job(m.component))) for m in sheet.plan.mended if m.done),
    ]
    form = SpentForm(request.POST if request.method == "POST" else None, jobs=timed)
    if request.method == "POST" and form.is_valid():
        try:
            record_sheet(
                line=sheet.line, spent=form.spent(), by=by_shop(request), today=sheet.now.date(), now=sheet.now
            )
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("%(name)s: bench sheet recorded.") % {"name": sheet.line.name})
            say_holds(request, [sheet.unit])
            return go(request, reverse("bench_line", args=[pk]))
    context = {
        "line": sheet.line,
        "rows": rows,
        "incomplete": incomplete,
        "form": form,
        **stopped(request.access, sheet.unit, sheet.now.date()),  # type: ignore[attr-defined]
        "taken": sheet.taken,
        "back": sheet.url(),
    }
    return show(request, "shop/sheet_record.html", context, status=422 if form.errors else 200)


@allowed("work_bench")
@require_POST
def sheet_figure(request: HttpRequest, pk: int) -> HttpResponse:
    """What the manual says of a measured value of this model, kept for the next unit of it."""
    sheet = Sheet(request, pk)
    form = FigureOfManual(request.POST)
    if not form.is_valid():
        messages.error(request, _("Write a figure, for example 6.5."))
        return go(request, sheet.url())
    data = form.cleaned_data
    try:
        keep_figure(
            line=sheet.line,
            key=data["check_key"],
            low=data["low"],
            high=data["high"],
            by=by_shop(request),
            now=sheet.now,
        )  # fmt: skip
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("The manual's figure is kept for %(model)s.") % {"model": sheet.unit.model})
    return go(request, sheet.url())
