"""Repair or swap: ways to put one fault right, side by side, against what the owner agreed to and the unit is worth."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.access import Access, allowed
from fleet.cautions import COOL, FUEL, STILL, Caution, caution_for_task
from fleet.clock import now_at
from fleet.forms.figures import FigureField
from fleet.views.asking import show
from fleet.vocabulary import COMPONENTS, TASK_OF_COMPONENT
from shop.bench.reading import line_rows
from shop.bench.repair_choices import COMEBACK_DAYS, Seen, repairs_seen, review_of, ways_for
from shop.bench.words import job_words
from shop.models import LineJob
from shop.repair_options import (
    ADJUST,
    ASSEMBLY,
    REPAIR,
    REPLACE,
    START_REPAIRS,
    WAYS,
    Costed,
    break_even_minutes,
    compare,
    way_words,
    worth_it,
)
from shop.views.bench_work import job_in_sight
from shop.views.stopped import stopped
from shop.vocabulary import IN_SHOP

_CAUTION = Caution(gettext_lazy("Engine stopped and cold, plug lead off."), (STILL, COOL, FUEL))


class WaysForm(forms.Form):
    """Prices and minutes to reckon with, each over ours."""

    def __init__(self, *args: Any, keys: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for key in keys:
            self.fields[f"minutes-{key}"] = FigureField(label=_("Minutes"))
            if key == REPLACE:
                self.fields["parts-replace"] = FigureField(label=_("Part, genuine, $"))
                self.fields["generic-replace"] = FigureField(label=_("Part, generic, $"))
            elif key != ADJUST:
                words = _("Kit, $") if key == REPAIR else _("Assembly, $")
                self.fields[f"parts-{key}"] = FigureField(label=words)

    def clean(self) -> dict[str, Any]:
        """Figures a bench can mean."""
        data: dict[str, Any] = super().clean() or {}
        for name, value in data.items():
            if value is not None and value > (1440 if name.startswith("minutes") else 9999):
                self.add_error(name, _("This figure is too large or below zero. Check it."))
        return data

    def of(self, key: str) -> list[Any]:
        """The fields of one way."""
        return [self[name] for name in self.fields if name.endswith(f"-{key}")]


@allowed("work_bench")
def repair_or_swap(request: HttpRequest, pk: int) -> HttpResponse:
    """What each way comes to. Nothing is kept: the way chosen fills in the record of the job."""
    access: Access = request.access  # type: ignore[attr-defined]
    job = job_in_sight(request, pk)
    kind, _dot, component = job.job.partition(".")
    unit = job.line.trimmer
    if kind != "fault" or unit is None:
        raise Http404
    today = now_at(job.line.shop).date()
    contractor = job.line.drop_off.contractor
    seen = repairs_seen(component, today)
    plain = ways_for(job, component, seen, {})
    form = WaysForm(request.GET or None, keys=[way.key for way in plain])
    given: dict[str, Decimal | None] = form.cleaned_data if form.is_valid() else {}
    ways = ways_for(job, component, seen, given)
    named = [(way, "") for way in ways]
    if given.get("generic-replace") is not None:
        swap = next(way for way in ways if way.key == REPLACE)
        cheaper = replace(swap, parts=float(given["generic-replace"] or 0))
        named = [(way, "genuine" if way is swap else "") for way, _kind in named] + [(cheaper, "generic")]
    rate = float(contractor.labour_rate)
    # With a spare on the trailer a day out costs nothing; without one, what the contractor says it does.
    per_day = 0.0 if contractor.spare_on_trailer else float(contractor.downtime_per_day)
    rows = compare([way for way, _kind in named], rate, per_day)
    kinds = {id(way): kind for way, kind in named}
    known = access.can("work_bench", unit.contractor_id)
    review = review_of(unit) if known else None
    (line,) = line_rows([job.line])
    limit = line.check_in.fix_up_to if line.check_in else None
    best = rows[0]
    priced = best.way.key == ADJUST or all(row.way.parts > 0 for row in rows if row.way.key != ADJUST)
    context = {
        "job": job,
        "line": job.line,
        **stopped(access, unit, today),
        "words": job_words(job.job),
        "component": COMPONENTS[component],
        "form": form,
        "fields": [(WAYS[way.key], form.of(way.key)) for way in plain],
        "rows": [_row(row, kinds[id(row.way)], job, limit) for row in rows],
        "best": way_words(best.way.key, kinds[id(best.way)]),
        "priced": priced,
        "best_total": round(best.total),
        "best_bills": round(best.bills),
        "rate": contractor.labour_rate,
        "per_day": round(per_day),
        "limit": limit,
        "over_limit": limit is not None and best.first > float(limit),
        "spend_limit": None if review is None or review.spend_limit is None else round(review.spend_limit),
        "half_price": None if review is None or review.half_price is None else round(review.half_price),
        "worth": worth_it(best, None if review is None else review.spend_limit),
        "over_half": review is not None and review.half_price is not None and best.bills > review.half_price,
        "break_even": _break_even(rows, rate),
        "basis": _basis(seen),
        "start_repairs": START_REPAIRS,
        "days": COMEBACK_DAYS,
        "caution": caution_for_task(TASK_OF_COMPONENT.get(component, "")) or _CAUTION,
        "taken": job.line.state in IN_SHOP and job.done_at is None,
        "back": reverse("bench_line", args=[job.line_id]),
    }
    return show(request, "shop/repair_or_swap.html", context, status=422 if form.errors else 200)


def _row(row: Costed, kind: str, job: LineJob, limit: Decimal | None) -> dict[str, Any]:
    done = "replaced" if row.way.key in (REPLACE, ASSEMBLY) else "repaired"
    filled = {"done": done, "minutes": round(row.way.minutes), "parts_cost": f"{row.way.parts:.2f}"}
    asked = {"way": row.way.key, "kind": kind, "minutes": filled["minutes"], "parts": filled["parts_cost"]}
    return {
        "name": way_words(row.way.key, kind),
        "minutes": round(row.way.minutes),
        "parts": f"{row.way.parts:.2f}",
        "percent": round(100 * row.way.comeback),
        "first": round(row.first),
        "days": f"{row.way.downtime_days * row.visits:.1f}",
        "total": round(row.total),
        "over": limit is not None and row.first > float(limit),
        "url": reverse("bench_job", args=[job.pk]) + "?" + urlencode(filled),
        "estimate_url": reverse("estimate_send", args=[job.pk]) + "?" + urlencode(asked),
    }


def _break_even(rows: list[Costed], rate: float) -> int | None:
    """Minutes at which a rebuild, in all, costs as much as the cheapest swap."""
    swaps = [row.way for row in rows if row.way.key in (REPLACE, ASSEMBLY) and row.way.parts > 0]
    return round(min(break_even_minutes(way, rate) for way in swaps)) if swaps and rate > 0 else None


def _basis(seen: Seen) -> list[str]:
    words = {"repaired": _("repaired"), "replaced": _("replaced")}
    return [
        _("%(what)s: %(n)s seen, %(back)s came back.") % {"what": words[done], "n": n, "back": back}
        for done, (n, back) in sorted(seen.counts.items())
    ]
