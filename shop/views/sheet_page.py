"""What a page of the bench sheet shows: its lines with what stands, last time and the manual's figures."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django.http import Http404, HttpRequest
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import Access
from fleet.clock import day_at, now_at
from fleet.models import Service
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
from shop.bench.words import day_words
from shop.forms.sheet import Posted, state_of
from shop.models import DropOffLine, MeasureFigure, SheetAnswer
from shop.quick_look import QUICK_LINES
from shop.sheet_lines import (
    BAD,
    DONE_WORDS,
    FINDINGS,
    LOOKED,
    NOT_LOOKED,
    REPLACED,
    SERVICED,
    WORN,
    SheetLine,
)
from shop.views.sheet_words import recorded_words
from shop.vocabulary import IN_SHOP


class Sheet:
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
        self.quick = (request.POST.get("quick") or request.GET.get("quick") or "") == "1"
        self.everything = (request.POST.get("all") or request.GET.get("all") or "") == "1"
        self.keys = keys_shown(self.row.jobs, complaint=self.complaint, everything=self.everything)
        if self.quick:
            self.keys = list(QUICK_LINES)
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
        """Back to where the taps are made."""
        if self.quick:
            return reverse("quick_look", args=[self.line.pk])
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
                "key": stretch.key,
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
            "done": _done_choices(check, done or LOOKED) if asks else [],
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


def _done_choices(check: SheetLine, done: str) -> list[tuple[str, Any, bool]]:
    """What can have been done here; a plug or a fuel filter is changed, which is a new part already."""
    changed = check.key in ("plug", "fuel_filter") and done != REPLACED
    return [(key, _done_words(check, key), key == done) for key in DONE_WORDS if not (changed and key == REPLACED)]


def _spec(check: SheetLine, figure: MeasureFigure | None) -> str:
    if check.measure is None:
        return ""
    if figure is None:
        return _("see the manual")
    low, high = figure_texts(figure)
    if low and high and low != high:
        words = _("%(low)s to %(high)s") % {"low": low, "high": high}
    elif low and high:
        words = low
    else:
        words = _("at least %(n)s") % {"n": low} if low else _("at most %(n)s") % {"n": high}
    return _("manual: %(figures)s %(unit)s") % {"figures": words, "unit": check.measure.unit}


def figure_texts(figure: MeasureFigure | None) -> tuple[str, str]:
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
