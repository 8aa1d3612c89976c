"""Keep or replace: advice on every unit in use, what each replacement age costs, decisions, and what to buy."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.charts.age_bars import age_bars
from fleet.charts.svg import Svg
from fleet.clock import today_at
from fleet.forms.refusals import add_refusal
from fleet.forms.review import ADVICE, DecisionForm, ShownForm, WhatIfForm
from fleet.models import Contractor, ReviewBasis, ReviewDecision, Trimmer, UnitReview
from fleet.record.review_decisions import decide
from fleet.record.writing import Refused
from fleet.spreadsheets import csv_download
from fleet.templatetags.money import dollars
from fleet.upkeep.repair_basis import Basis
from fleet.upkeep.review import KEEP, LOOK_CLOSER, REPLACE, ModelAdvice, Reviewer, UnitAdvice
from fleet.upkeep.review_decisions import latest_decisions, outcomes
from fleet.upkeep.review_rows import UNIT_COLUMNS, unit_row
from fleet.upkeep.review_store import advice_of, names_of, refresh_reviews
from fleet.upkeep.review_words import review_sentences
from fleet.views.asking import by_of, show
from fleet.views.buying import order_day
from fleet.views.owner_scope import owner_scope, work_out_again

PER_PAGE = 25
# More models than this are drawn when asked for.
MODELS_SHOWN = 8
_ORDER = {REPLACE: 0, LOOK_CLOSER: 1, KEEP: 2}


@dataclass(frozen=True)
class ShownUnit:
    """A unit's line."""

    row: UnitReview
    advice: Any
    decision: ReviewDecision | None


@allowed("see_costs")
def reviews(request: HttpRequest) -> HttpResponse:
    """Every unit in use with its advice: what to replace first, then what to look at, then what to keep."""
    scope = owner_scope(request)
    form = ShownForm(request.GET)
    chosen = form.cleaned_data if form.is_valid() else {"show": "", "q": ""}
    context: dict[str, Any] = {"scope": scope, "form": form}
    everything = request.GET.get("models") == "all"
    if scope.contractor is not None:
        kept = ReviewBasis.objects.filter(contractor=scope.contractor).only("contractor", "as_of", "model_ages").first()
        rows = UnitReview.objects.filter(contractor=scope.contractor, trimmer__retired_on__isnull=True)
        counts = advice_counts(rows)
        found = _narrowed(rows, chosen["show"], chosen["q"]).select_related("trimmer__model", "trimmer__state__crew")
        pages = Paginator(found.order_by("-advice", "margin", "pk"), PER_PAGE)
        if not chosen["q"]:
            # Counted already.
            pages.count = counts[chosen["show"]] if chosen["show"] else sum(counts.values())
        page = pages.get_page(request.GET.get("page"))
        decisions = latest_decisions(scope.contractor, [row.pk for row in page.object_list])
        query = {"contractor": scope.contractor.pk, **{k: v for k, v in chosen.items() if v}}
        context |= {
            "kept": kept,
            "all": sum(counts.values()),
            "counts": counts,
            "page": page,
            "query": urlencode(query),
            "lines": [ShownUnit(row, ADVICE[row.advice], decisions.get(row.pk)) for row in page.object_list],
            "models": [] if kept is None else _models(kept.model_ages, None if everything else MODELS_SHOWN),
            "more_models": 0 if kept is None or everything else max(len(kept.model_ages) - MODELS_SHOWN, 0),
            "outcomes": outcomes(scope.contractor),
            "order_day": order_day(scope.contractor, scope.today),
            "csv_url": reverse("reviews_csv") + "?" + urlencode({"contractor": scope.contractor.pk}),
        }
    return show(request, "fleet/reviews.html", context)


def advice_counts(rows: Any) -> dict[str, int]:
    """How many of these units each advice is for."""
    counts = dict(rows.values_list("advice").annotate(n=Count("pk")).order_by())
    return {name: counts.get(name, 0) for name in _ORDER}


def _narrowed(rows: Any, advice: str, search: str) -> Any:
    if advice:
        rows = rows.filter(advice=advice)
    for word in search.split():
        rows = rows.filter(
            Q(trimmer__tag__icontains=word)
            | Q(trimmer__model__name__icontains=word)
            | Q(trimmer__model__maker__icontains=word)
        )
    return rows


@dataclass(frozen=True)
class ShownModel:
    """A model's replacement ages with their drawing."""

    advice: ModelAdvice
    bars: Svg
    warranty_cost: float | None


def _models(data: list[dict[str, Any]], most: int | None) -> list[ShownModel]:
    """Those with most units, or all, by name."""
    found = sorted((ModelAdvice(**line) for line in data), key=lambda m: (-m.units, m.name))[:most]
    return [_shown_model(model) for model in sorted(found, key=lambda m: m.name) if model.units]


def _shown_model(model: ModelAdvice) -> ShownModel:
    age = model.warranty_age
    in_warranty = None if age is None else model.cost_per_hour_by_age[age - 1]
    words = _("%(model)s: cost per hour when replaced after 1 to %(n)d seasons; least after %(best)d") % {
        "model": model.name, "n": len(model.cost_per_hour_by_age), "best": model.best_age_seasons,
    }  # fmt: skip
    bars = age_bars(
        model.cost_per_hour_by_age, model.best_age_seasons, age, f"ages{model.model}", words, lambda v: dollars(v, 2)
    )
    return ShownModel(model, bars, in_warranty)


@allowed("see_costs")
def reviews_csv(request: HttpRequest) -> HttpResponse:
    """Every unit's advice, with the columns of the command."""
    scope = owner_scope(request)
    rows = UnitReview.objects.filter(contractor=scope.contractor, trimmer__retired_on__isnull=True)
    advice = [advice_of(row) for row in rows.order_by("trimmer__tag_key")]
    names = names_of(a.facts.unit for a in advice)
    name = slugify(f"keep or replace {scope.contractor or ''} {scope.today.isoformat()}") + ".csv"
    return csv_download(name, UNIT_COLUMNS, [unit_row(a, names) for a in advice])


@allowed("see_costs")
@require_POST
def reviews_again(request: HttpRequest) -> HttpResponse:
    """Advise again from today's record, beside the request."""
    return work_out_again(request, "reviews", refresh_reviews, "fleet.refresh_reviews")


@allowed("see_costs")
def unit_review(request: HttpRequest, pk: int) -> HttpResponse:
    """One unit: the advice and why, figures to try, and the decision."""
    access = request.access  # type: ignore[attr-defined]
    unit: Trimmer = access.unit(pk, "see_costs")
    contractor = unit.contractor
    row = UnitReview.objects.filter(trimmer=unit).first()
    replace = row is not None and row.advice == REPLACE
    status, form = 200, DecisionForm(initial={"decided": "replace" if replace else "keep"})
    if request.method == "POST":
        form = DecisionForm(request.POST)
        if form.is_valid():
            data = form.cleaned_data
            by = by_of(request, contractor.pk, data["client_entry_id"])
            try:
                decide(unit=unit, decided=data["decided"], why=data["why"], by=by, today=today_at(contractor))
            except Refused as refusal:
                add_refusal(form, refusal)
            else:
                messages.success(request, _("%s: decision kept.") % unit.tag)
                return redirect("unit_review", pk=pk)
        status = 422
    stands = None if row is None or unit.retired_on is not None else advice_of(row)
    tried, what_if, model = (None, None, None) if stands is None else _tried(request, contractor, stands)
    context = {
        "unit": unit,
        "stands": None if stands is None else _told(stands),
        "tried": None if tried is None else _told(tried),
        "what_if": what_if,
        "model": model,
        "form": form,
        "outcomes": outcomes(contractor, unit_id=unit.pk),
        "unit_url": reverse("unit", args=[pk]),
    }
    return show(request, "fleet/unit_review.html", context, status)


def _tried(
    request: HttpRequest, contractor: Contractor, stands: UnitAdvice
) -> tuple[UnitAdvice | None, WhatIfForm | None, ShownModel | None]:
    """The advice under figures to try, the sliders, and the replacement's ages under the same figures."""
    kept = ReviewBasis.objects.filter(contractor=contractor).first()
    if kept is None or kept.basis is None or stands.replacement is None:
        return None, None, None
    whole = Basis.from_data(kept.basis)
    basis = whole.only({stands.facts.model, stands.replacement})
    new = basis.models[stands.replacement]
    asked = request.GET if "price" in request.GET else None
    form = WhatIfForm(
        asked,
        new=new,
        kept=new.kept_each_season,
        basis=basis,
        down=float(contractor.downtime_per_day),
        spare=contractor.spare_on_trailer,
    )
    tried = None
    ages = next((ModelAdvice(**line) for line in kept.model_ages if line["model"] == stands.replacement), None)
    if form.is_valid():
        reviewer = Reviewer(basis, what_if=form.what_if(stands.replacement), recalled=_recalled(stands))
        tried = reviewer.unit(stands.facts)
        ages = next((m for m in reviewer.models() if m.model == stands.replacement), ages)
    return tried, form, None if ages is None else _shown_model(ages)


def _recalled(stands: UnitAdvice) -> dict[int, str]:
    """A notice stays a notice, whatever the figures."""
    texts = [values["text"] for kind, values in stands.reasons if kind == "recall"]
    return {stands.facts.unit: texts[0]} if texts else {}


def _told(advice: UnitAdvice) -> dict[str, Any]:
    return {"advice": advice, "word": ADVICE[advice.advice], "why": review_sentences(advice.reasons)}
