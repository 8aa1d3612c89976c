"""Keep or replace as rows, with the keys of its JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fleet.upkeep.review import ModelAdvice, UnitAdvice
from fleet.upkeep.review_words import review_sentences

UNIT_COLUMNS = (
    "unit", "crew", "model", "hours", "age_seasons", "keep_cost_next_season", "replace_cost_per_season", "advice",
    "spend_limit", "warranty_until", "reasons",
)  # fmt: skip


def unit_row(advice: UnitAdvice, names: Mapping[int, tuple[str, str, str]]) -> dict[str, Any]:
    """One unit."""
    tag, model, crew = names[advice.facts.unit]
    return {
        "unit": tag,
        "crew": crew or None,
        "model": model,
        "hours": round(advice.facts.hours, 1),
        "age_seasons": advice.facts.age,
        "keep_cost_next_season": _money(advice.keep_cost_next_season),
        "replace_cost_per_season": _money(advice.replace_cost_per_season),
        "advice": advice.advice,
        "spend_limit": _money(advice.spend_limit),
        "warranty_until": None if advice.warranty_until is None else advice.warranty_until.isoformat(),
        "reasons": review_sentences(advice.reasons),
    }


def model_row(model: ModelAdvice) -> dict[str, Any]:
    """One model: cost per hour of replacing after 1, 2, ... seasons."""
    return {
        "model": model.name,
        "cost_per_hour_by_age": [round(cost, 4) for cost in model.cost_per_hour_by_age],
        "best_age_seasons": model.best_age_seasons,
    }


def _money(amount: float | None) -> float | None:
    return None if amount is None else round(amount, 2)
