"""The bench sheet on screen: line by line as the hands go, one tap each, saved as it is made."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed
from fleet.clock import day_at, now_at
from fleet.forms.refusals import add_refusal
from fleet.models import Service
from fleet.record.writing import Refused
from fleet.upkeep.standing_flags import hold_words_of
from fleet.views.asking import go, show
from fleet.views.jobs import say_holds
from fleet.vocabulary import AS_FOUND, TASKS
from shop import access as bench_access
from shop.bench.reading import LineRow, line_rows
from shop.bench.sheet_plan import SheetPlan, asks_done, finding_words, finer_word, plan_sheet
from shop.bench.sheet_reading import (
    answers_on,
    figures_of,
    keys_shown,
    last_services,
    last_time,
    recorded,
    stretches_shown,
    tasks_booked,
)
from shop.bench.sheet_recording import record_sheet
from shop.bench.sheet_taps import Tap, keep_figure, record_taps
from shop.bench.words import day_words, job_words
from shop.forms.sheet import FigureOfManual, Posted, SpentForm, read_line, read_sheet, state_of
from shop.models import DropOffLine, MeasureFigure, SheetAnswer
from shop.sheet_lines import (
    BAD,
    DONE_WORDS,
    FINDINGS,
    LOOKED,
    NOT_LOOKED,
    SERVICED,
    SHEET_LINES,
    WORN,
    SheetLine,
)
from shop.views.asking import by_shop
from shop.views.sheet_words import plan_words, recorded_words
from shop.vocabulary import IN_SHOP, fault_job, task_job


class _Sheet:
    """Everything the sheet of one line shows, read in a constant number of queries."""

    def __init__(self, request: HttpRequest, pk: int) -> None:
        access: Access = request.access  # type: ignore[attr-defined]
        self.line: DropOffLine = bench_access.line(access, pk, "work_bench")
        if self.line.trimmer is None:
            raise Http404
        self.unit = self.line.trimmer
        self.now = now_at(self.line.shop)
        self.known = access.can("work_bench", self.unit.contractor_id)
        self.row: LineRow
        (self.row,) = line_rows([self.line])
        self.taken = self.line.state in IN_SHOP
        told = self.row.check_in
        self.complaint = bool(told and told.symptom)
        self.everything = (request.POST.get("all") or request.GET.get("all") or "") == "1"
        self.keys = keys_shown(self.row.jobs, complaint=self.complaint, everything=self.everything)
        self.read()

    def read(self) -> None:
        """What stands now; asked again after a tap."""
        self.answers = answers_on(self.line)
        self.booked = tasks_booked(job for job in self.row.jobs if job.done_at is None)
        self.plan: SheetPlan = plan_sheet(self.answers, self.row.jobs)

    def history(self) -> None:
        """What was found last time and what the manual says."""
        self.before = last_time(self.line)
        self.services: dict[str, Service] = {}
        if self.known:
            arrived = self.line.arrived_at
            since = day_at(self.line.shop, arrived) if arrived is not None else self.now.date()
            self.services = last_services(self.unit, since)
        self.figures = figures_of(self.line.shop_id, self.unit.model_id)

    def url(self, name: str = "bench_sheet") -> str:
        return reverse(name, args=[self.line.pk]) + ("?all=1" if self.everything else "")

    def answer(self) -> dict[str, Any]:
        """The sentence on top."""
        looked = [a for key, a in self.answers.items() if key in self.keys and a.finding != NOT_LOOKED]
        bad = sum(a.finding == BAD for a in looked)
        return {"looked": len(looked), "of": len(self.keys), "bad": bad, "to_record": bool(self.plan)}

    def rows(self, posted: Mapping[str, Posted] | None = None) -> list[dict[str, Any]]:
        """Stretches with their lines."""
        return [
            {
                "label": stretch.label,
                "caution": stretch.caution,
                "lines": [self.line_of(check, (posted or {}).get(check.key)) for check in lines],
            }
            for stretch, lines in stretches_shown(self.keys)
        ]

    def line_of(self, check: SheetLine, posted: Posted | None = None) -> dict[str, Any]:
        answer = self.answers.get(check.key)
        finding, detail, done, measured = _shown(answer)
        was = state_of(finding, detail, done, measured)
        if posted is not None:
            finding, detail, done = posted.tap.finding, posted.tap.detail, posted.tap.done or done
            measured = posted.measured_text
        entry = recorded(answer) if answer is not None and finding != NOT_LOOKED else None
        finer = {WORN: check.worn, BAD: check.bad}.get(finding, ())
        asks = asks_done(check, finding)
        return {
            "check": check,
            "key": check.key,
            "press": uuid.uuid4(),
            "was": was,
            "entry": entry,
            "entry_words": recorded_words(entry, answer) if entry is not None and answer is not None else "",
            "findings": [(key, words, key == finding) for key, words in FINDINGS.items()],
            "details": [(key, finer_word(check, key, finding), key == detail) for key in finer]
            if len(finer) > 1
            else [],
            "done": [(key, _done_words(check, key), key == (done or LOOKED)) for key in DONE_WORDS] if asks else [],
            "measured": measured,
            "spec": _spec(check, self.figures.get(check.key)),
            "off": _off(measured, self.figures.get(check.key)),
            "last": self._last(check),
            "saved": answer if answer is not None and finding != NOT_LOOKED else None,
            "holds": bool(check.hold(finding, detail)),
            "bad": finding == BAD,
            "error": posted.error if posted is not None else "",
        }

    def _last(self, check: SheetLine) -> str:
        before = self.before.get(check.key)
        if before is not None:
            words = [finding_words(before)]
            if before.measured is not None and check.measure is not None:
                words.append(f"{before.measured.normalize():f} {check.measure.unit}")
            if before.done != LOOKED:
                words.append(str(_done_words(check, before.done)))
            return f"{day_words(day_at(self.line.shop, before.at))}: {', '.join(words)}"
        service = self.services.get(check.task)
        if service is None or check.in_guard_check:
            return ""
        return _("%(day)s, %(task)s: %(found)s") % {
            "day": day_words(service.occurred_on),
            "task": TASKS[check.task].label,
            "found": AS_FOUND[service.as_found],
        }


def _shown(answer: SheetAnswer | None) -> tuple[str, str, str, str]:
    if answer is None or answer.finding == NOT_LOOKED:
        return NOT_LOOKED, "", LOOKED, ""
    measured = "" if answer.measured is None else f"{answer.measured.normalize():f}"
    return answer.finding, answer.detail, answer.done, measured


def _done_words(check: SheetLine, done: str) -> Any:
    if done == SERVICED and check.serves:
        return TASKS[check.task].done_word
    if done == LOOKED and not check.serves:
        return _("not put right yet")
    return DONE_WORDS[done]


def _spec(check: SheetLine, figure: MeasureFigure | None) -> str:
    if check.measure is None:
        return ""
    if figure is None:
        return _("see the manual")
    low, high = _figure_texts(figure)
    if low and high and low != high:
        words = _("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low and high:
        words = low
    else:
        words = _("at least %(n)s") % {"n": low} if low else _("at most %(n)s") % {"n": high}
    return _("manual: %(figures)s %(unit)s") % {"figures": words, "unit": check.measure.unit}


def _figure_texts(figure: MeasureFigure | None) -> tuple[str, str]:
    ends = (None, None) if figure is None else (figure.low, figure.high)
    low, high = ("" if end is None else f"{end.normalize():f}" for end in ends)
    return low, high


def _off(measured: str, figure: MeasureFigure | None) -> str:
    """Whether a measured value is outside what the manual says."""
    try:
        value = Decimal(measured)
    except ArithmeticError:
        return ""
    if figure is None:
        return ""
    if figure.low is not None and value < figure.low:
        return _("below the manual's figure")
    if figure.high is not None and value > figure.high:
        return _("above the manual's figure")
    return ""


@allowed("work_bench")
def bench_sheet(request: HttpRequest, pk: int) -> HttpResponse:
    """The sheet of one line."""
    sheet = _Sheet(request, pk)
    return _show_sheet(request, sheet)


def _show_sheet(request: HttpRequest, sheet: _Sheet, posted: Mapping[str, Posted] | None = None) -> HttpResponse:
    sheet.history()
    context = {
        "sheet": sheet,
        "line": sheet.line,
        "unit": sheet.unit,
        "answer": sheet.answer(),
        "stretches": sheet.rows(posted),
        "planned": len(sheet.keys) < len(SHEET_LINES),
        "holds": hold_words_of([sheet.unit]) if sheet.known else [],
        "incomplete": plan_words(sheet.plan)[1],
        "measured": [
            (SHEET_LINES[key], *_figure_texts(sheet.figures.get(key)))
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
    sheet = _Sheet(request, pk)
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
        return _show_sheet(request, sheet, posted)
    n = len(posted)
    if n:
        messages.success(request, ngettext("%(n)s line saved.", "%(n)s lines saved.", n) % {"n": n})
    return go(request, sheet.url())


def _one(request: HttpRequest, sheet: _Sheet, key: str, posted: Posted | None) -> HttpResponse:
    sheet.read()
    sheet.history()
    context = {
        "sheet": sheet,
        "line": sheet.line,
        "row": sheet.line_of(SHEET_LINES[key], posted),
        "answer": sheet.answer(),
        "incomplete": plan_words(sheet.plan)[1],
    }
    return render(request, "shop/sheet.html#saved_row", context, status=422 if posted else 200)


@allowed("work_bench")
def sheet_record(request: HttpRequest, pk: int) -> HttpResponse:
    """What the taps become, with minutes and parts once; then into the ledger."""
    sheet = _Sheet(request, pk)
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
        "taken": sheet.taken,
        "back": sheet.url(),
    }
    return show(request, "shop/sheet_record.html", context, status=422 if form.errors else 200)


@allowed("work_bench")
@require_POST
def sheet_figure(request: HttpRequest, pk: int) -> HttpResponse:
    """What the manual says of a measured value of this model, kept for the next unit of it."""
    sheet = _Sheet(request, pk)
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
