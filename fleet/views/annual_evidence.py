"""Evidence of the annual report: repairs per unit by model, and units with their advice and its reasons."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest

from fleet.access import Access
from fleet.charts.svg import Svg
from fleet.charts.words import curve_words
from fleet.forms.review import ADVICE
from fleet.models import Contractor, ReviewBasis, UnitReview
from fleet.upkeep.model_comparison import comparable, compare
from fleet.upkeep.record_charts import repairs_drawing, repairs_steps
from fleet.upkeep.record_page import ModelPage, model_pages, models_in_sight
from fleet.upkeep.repair_basis import Basis
from fleet.upkeep.review_decisions import latest_decisions
from fleet.upkeep.review_store import advice_of
from fleet.upkeep.review_words import review_sentences
from fleet.views.model_comparison import comparison_shown, limits_words
from fleet.vocabulary import Label

# Paper has room for so many; the rest stand on the screen, and the paper says so.
MOST_UNITS = 80
MOST_MODELS = 12
MOST_CURVES = 6
# Told by the columns of its row, or of all units alike: not said again in a sentence of each.
_IN_COLUMNS, _OF_ALL = "next_season", "rests_on"
# Engine hours at which repairs are told.
HOURS_TOLD = (100, 200, 400, 800)


@dataclass(frozen=True)
class AdvisedUnit:
    """A unit's line on paper."""

    row: UnitReview
    word: Label
    decided: str
    hours: float | None
    repairs: float | None
    why: list[str]


@dataclass(frozen=True)
class ModelRepairs:
    """A model's repairs per unit at a few engine hours, each with its limits in words; ``told``: may be seen at all."""

    name: str
    units: int
    own: int
    at: list[str]
    told: bool
    curve: Svg | None


def evidence(request: HttpRequest, contractor: Contractor, kept: ReviewBasis | None) -> dict[str, Any]:
    """What the pages after the first one show beside what they share with it."""
    basis = None if kept is None or kept.basis is None else Basis.from_data(kept.basis)
    rows = UnitReview.objects.filter(contractor=contractor, trimmer__retired_on__isnull=True)
    chosen = list(
        rows.select_related("trimmer__model", "trimmer__state__crew").order_by("-advice", "margin", "pk")[:MOST_UNITS]
    )
    decisions = latest_decisions(contractor, [row.pk for row in chosen])
    access: Access = request.access  # type: ignore[attr-defined]
    seen = access.contractors_where("see_record")
    pages, more = _pages(contractor, seen)
    hours = _hours(pages)
    drawn = {p.model.pk for p in sorted(pages, key=lambda p: -p.units)[:MOST_CURVES]}
    return {
        "rests_on": basis,
        "more_units": max(rows.count() - len(chosen), 0),
        "units": [_advised(row, decisions.get(row.pk)) for row in chosen],
        "hours_told": hours,
        "models": [_repairs(p, hours, basis, p.model.pk in drawn) for p in pages],
        "more_models": more,
        "two": _two(pages, seen),
    }


def _advised(row: UnitReview, decision: Any) -> AdvisedUnit:
    reasons = advice_of(row).reasons
    ahead: dict[str, Any] = next((values for kind, values in reasons if kind == _IN_COLUMNS), {})
    said = [(kind, values) for kind, values in reasons if kind not in (_IN_COLUMNS, _OF_ALL)]
    return AdvisedUnit(
        row,
        ADVICE[row.advice],
        "" if decision is None else decision.get_decided_display(),
        ahead.get("hours"),
        ahead.get("repairs"),
        review_sentences(said),
    )


def _pages(contractor: Contractor, seen: frozenset[int]) -> tuple[list[ModelPage], int]:
    """The models most units of this contractor are of, by name; how many are left out."""
    models, counts = models_in_sight([contractor.pk])
    chosen = sorted(models, key=lambda m: -counts[m.pk])[:MOST_MODELS]
    return model_pages(sorted(chosen, key=str), counts, seen, contractor), len(models) - len(chosen)


def _hours(pages: list[ModelPage]) -> list[int]:
    """Hours told: those that some model has reached."""
    end = max((repairs_steps(p.repairs).time[-1] for p in comparable(pages)), default=0.0)
    return [h for h in HOURS_TOLD if h <= end] or ([round(end)] if end >= 1 else [])


def _two(pages: list[ModelPage], seen: frozenset[int]) -> dict[str, Any] | None:
    """The two models most units are of beside each other, in words; None where there are no two."""
    told = sorted(comparable(pages), key=lambda p: -p.units)[:2]
    return comparison_shown(compare(told[0], told[1], seen)) if len(told) == 2 else None


def _repairs(page: ModelPage, hours: list[int], basis: Basis | None, drawn: bool) -> ModelRepairs:
    steps = repairs_steps(page.repairs)
    own = basis.models.get(page.model.pk) if basis is not None else None
    last = steps.time[-1] if steps.time else 0.0
    name = str(page.model)
    return ModelRepairs(
        name=name,
        units=page.units,
        own=own.repairs if own is not None else 0,
        at=[limits_words(steps.at(h)) if h <= last else "–" for h in hours],
        told=page.repairs is not None,
        curve=repairs_drawing(page.repairs, name, f"m{page.model.pk}", curve_words()) if drawn else None,
    )
