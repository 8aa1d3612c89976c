"""Keep or replace: one more season of a unit against the best new one, the most its repair is worth, and why.

Pure: facts and what was learned go in, advice with its reasons comes out, so the night, the command and a what-if on
the screen give the same answer.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from fleet.reliability import keep_or_replace
from fleet.reliability.replacement import Replacement
from fleet.upkeep.days import add_months
from fleet.upkeep.repair_basis import RESALE_LOSS, SEASONS, Basis, ModelFacts
from fleet.upkeep.repair_record import UnitFacts

KEEP, REPLACE, LOOK_CLOSER = "keep", "replace", "look_closer"
# A unit of another size is no replacement: displacement within this share.
SAME_SIZE = 0.2
# Seasons' hours are taken in steps of this share: a new unit in a place works as hard as the one it replaces.
HOURS_STEP = 0.1
# Seasons of a unit that are looked at one by one, at least.
SEASONS_AHEAD = 4
# A unit that would need more repairs than this in a season has long been replaced.
MOST_A_SEASON = 6.0
Reason = tuple[str, dict[str, Any]]


@dataclass(frozen=True)
class WhatIf:
    """Figures to try in place of the contractor's; None: as they stand. ``price`` is that of a new ``model``."""

    model: int | None = None
    price: float | None = None
    labour_rate: float | None = None
    kept_each_season: float | None = None
    downtime_per_day: float | None = None


@dataclass(frozen=True)
class ModelAdvice:
    """A model under this contractor's hours: level cost per hour of replacing every 1, 2, ... seasons."""

    model: int
    name: str
    cost_per_hour_by_age: list[float]
    best_age_seasons: int
    cost_per_season: float
    price: float
    warranty_months: int | None
    hours_per_season: float
    units: int
    repairs: int

    @property
    def warranty_age(self) -> int | None:
        """The last age at which a unit is replaced with every season of its life wholly under warranty."""
        whole = (self.warranty_months or 0) // 12
        return min(whole, len(self.cost_per_hour_by_age)) if whole else None


@dataclass(frozen=True)
class UnitAdvice:
    """What to do with a unit; money is None where it cannot be told."""

    facts: UnitFacts
    advice: str
    keep_cost_next_season: float | None = None
    replace_cost_per_season: float | None = None
    spend_limit: float | None = None
    half_price: float | None = None
    probability_keep: float | None = None
    margin: float | None = None
    replacement: int | None = None
    warranty_until: dt.date | None = None
    reasons: list[Reason] = field(default_factory=list)


@dataclass(frozen=True)
class _New:
    """A new unit of a model: its price and what it costs from then on."""

    model: int
    price: float
    answer: Replacement


class Reviewer:
    """Advice for many units on one basis: what does not change from unit to unit is worked out once."""

    def __init__(
        self,
        basis: Basis,
        *,
        what_if: WhatIf | None = None,
        recalled: Mapping[int, str] | None = None,
        parts_ended: Mapping[int, str] | None = None,
    ) -> None:
        """``recalled``: units with a running notice; ``parts_ended``: models without parts, since when (ISO)."""
        self.basis = basis if what_if is None else _tried(basis, what_if)
        self.recalled, self.parts_ended = recalled or {}, parts_ended or {}
        self._new: dict[tuple[int, float], _New | None] = {}

    def models(self) -> list[ModelAdvice]:
        """Models with a price, by name."""
        found = []
        for kind, facts in sorted(self.basis.models.items(), key=lambda pair: pair[1].name):
            new = self.new(kind, facts.hours_per_season)
            if new is None:
                continue
            found.append(
                ModelAdvice(
                    model=kind,
                    name=facts.name,
                    cost_per_hour_by_age=[float(v) for v in new.answer.cost_per_hour_by_age],
                    best_age_seasons=new.answer.best_age_seasons,
                    cost_per_season=new.answer.replace_cost_per_season,
                    price=new.price,
                    warranty_months=facts.warranty_months,
                    hours_per_season=facts.hours_per_season,
                    units=facts.units,
                    repairs=facts.repairs,
                )
            )
        return found

    def new(self, kind: int, hours: float) -> _New | None:
        """A new unit of the model that works so many hours a season; None without a price or without use."""
        facts = self.basis.models[kind]
        if not facts.price or hours <= 0:
            return None
        if (kind, hours) not in self._new:
            ages = np.asarray(hours * np.arange(SEASONS + 1), dtype=np.float64)
            answer = keep_or_replace(
                repairs_per_season=self._seasons(kind, ages),
                hours_per_season=hours,
                **self._costs(facts, hours, SEASONS),
            )
            self._new[kind, hours] = _New(kind, facts.price, answer)
        return self._new[kind, hours]

    def best_new(self, kind: int, hours: float) -> _New | None:
        """The model of its size that costs least by the season and whose parts go on; where there is none, its own."""
        size = self.basis.models[kind].displacement
        fitting = [
            new
            for other, facts in self.basis.models.items()
            if (other == kind or _same_size(size, facts.displacement))
            and other not in self.parts_ended
            and (new := self.new(other, hours)) is not None
        ]
        least = min(fitting, key=lambda n: (n.answer.replace_cost_per_season, n.model), default=None)
        return least or self.new(kind, hours)

    def _seasons(self, kind: int, at: np.ndarray) -> np.ndarray:
        """Expected repairs between hours that follow each other, shape (draws, seasons)."""
        return np.minimum(self.basis.expected(kind, at[:-1], at[1:]), MOST_A_SEASON)

    def _costs(self, facts: ModelFacts, hours: float, seasons: int) -> dict[str, Any]:
        basis = self.basis
        price = facts.price or 0.0
        covered = np.zeros(seasons)
        covered[: len(facts.covered)] = facts.covered[:seasons]
        service = hours * (basis.service_parts_per_hour + basis.service_labor_per_hour * basis.labour_rate)
        return {
            "price": price,
            "resale": price * facts.kept_each_season ** np.arange(seasons + 1),
            "repair_cost": facts.parts + facts.labor_hours * basis.labour_rate,
            "downtime_cost": basis.days_down * basis.downtime_per_day,
            "season_cost": service,
            "discount_rate": basis.discount_rate,
            "spread": basis.dispersion,
            "resale_loss_per_repair": RESALE_LOSS,
            "warranty_share": covered * basis.paid_share,
            "bill_shares": basis.bill_shares,
            # Nothing has to be replaced for its age alone: later seasons are taken to be like the last one counted.
            "goes_on": True,
        }

    def unit(self, facts: UnitFacts) -> UnitAdvice:
        """Advice for one unit in use."""
        model = self.basis.models[facts.model]
        until = _warranty_until(facts, model)
        hours = _in_steps(facts.hours_ahead)
        best = self.best_new(facts.model, hours)
        if best is None or not model.price:
            return UnitAdvice(facts, LOOK_CLOSER, warranty_until=until, reasons=[("no_price", {"model": model.name})])
        found, limit = self._decide(facts, model, best, hours)
        # However good a unit has been, a repair at the price of a new one buys a new one.
        limit = min(limit, best.price)
        half = best.price / 2
        reasons = self._reasons(facts, model, best, found)
        if found.margin < 0 and limit > 0:
            # The limit is its sale's, not its seasons': these are dearer than a new one's.
            reasons.append(("mend_and_sell", {"half": half, "limit": limit}))
        elif limit > half * 1.1:
            reasons.append(("half_too_low", {"half": half, "limit": limit}))
        elif limit < half * 0.9:
            reasons.append(("half_too_high", {"half": half, "limit": limit}))
        advice = found.advice
        spend: float | None = limit
        if facts.model in self.parts_ended:
            advice = LOOK_CLOSER if advice == KEEP else advice
            reasons.insert(0, ("parts_ended", {"since": self.parts_ended[facts.model]}))
        if facts.unit in self.recalled:
            # No repair in place of what the notice says, whatever it would be worth.
            advice, spend = LOOK_CLOSER, None
            reasons.insert(0, ("recall", {"text": self.recalled[facts.unit]}))
        return UnitAdvice(
            facts=facts,
            advice=advice,
            keep_cost_next_season=found.keep_cost_next_season,
            replace_cost_per_season=best.answer.replace_cost_per_season,
            spend_limit=spend,
            half_price=half,
            probability_keep=found.probability_keep,
            margin=found.margin,
            replacement=best.model,
            warranty_until=until,
            reasons=reasons,
        )

    def _decide(self, facts: UnitFacts, model: ModelFacts, best: _New, hours: float) -> tuple[Replacement, float]:
        """The answer for the unit as it stands, and the most that the repair waiting (or the next one) is worth."""
        seasons = max(SEASONS, facts.age + SEASONS_AHEAD)
        ahead = np.maximum(facts.hours + hours * (np.arange(seasons + 1) - facts.age), 0.0)
        own = self._seasons(facts.model, ahead)
        so_far = self.basis.expected(facts.model, np.array([facts.watched_from]), np.array([facts.hours]))
        found = keep_or_replace(
            **self._costs(model, hours, seasons),
            repairs_per_season=own,
            age=facts.age,
            repairs=facts.repairs,
            expected_so_far=so_far[:, 0],
            # A new unit of another model costs its own price.
            new_value=best.answer.new_unit_values + best.price - (model.price or 0.0),
        )
        return found, found.spend_limit if facts.waiting else found.next_limit

    def _reasons(self, facts: UnitFacts, model: ModelFacts, best: _New, found: Replacement) -> list[Reason]:
        so_far = self.basis.expected(facts.model, np.array([facts.watched_from]), np.array([facts.hours])).mean()
        ahead = self.basis.expected(
            facts.model, np.array([facts.hours]), np.array([facts.hours + facts.hours_ahead])
        ).mean()
        spread = self.basis.dispersion
        factor = (1 / spread + facts.repairs) / (1 / spread + float(so_far)) if spread > 1e-9 else 1.0
        reasons: list[Reason] = [
            (
                "next_season",
                {
                    "repairs": float(ahead) * factor,
                    "hours": facts.hours_ahead,
                    "keep": found.keep_cost_next_season,
                    "replace": best.answer.replace_cost_per_season,
                },
            ),
            ("own_record", {"repairs": facts.repairs, "expected": float(so_far)}),
            ("rests_on", {"model": model.name, "own": model.repairs, "all": self.basis.repairs,
                          "units": self.basis.units}),
        ]  # fmt: skip
        if best.model != facts.model:
            reasons.append(("other_model", {"model": self.basis.models[best.model].name}))
        return reasons


def _in_steps(hours: float) -> float:
    """Hours to the nearest step; 0 for a unit that is not used."""
    return float(np.exp(np.round(np.log(hours) / HOURS_STEP) * HOURS_STEP)) if hours > 0 else 0.0


def _same_size(one: float | None, other: float | None) -> bool:
    return one is not None and other is not None and abs(one - other) <= SAME_SIZE * one


def no_basis(facts: UnitFacts, repairs: int) -> UnitAdvice:
    """Where the record says too little: no figures, and the reason."""
    return UnitAdvice(facts, LOOK_CLOSER, reasons=[("too_few", {"repairs": repairs})])


def _warranty_until(facts: UnitFacts, model: ModelFacts) -> dt.date | None:
    if facts.bought is None or model.warranty_months is None:
        return None
    return add_months(dt.date.fromisoformat(facts.bought), model.warranty_months) - dt.timedelta(days=1)


def _tried(basis: Basis, what_if: WhatIf) -> Basis:
    """The basis with figures to try."""
    models = {
        kind: replace(
            facts,
            price=what_if.price if kind == what_if.model and what_if.price is not None else facts.price,
            kept_each_season=facts.kept_each_season if what_if.kept_each_season is None else what_if.kept_each_season,
        )
        for kind, facts in basis.models.items()
    }
    return replace(
        basis,
        models=models,
        labour_rate=basis.labour_rate if what_if.labour_rate is None else what_if.labour_rate,
        downtime_per_day=basis.downtime_per_day if what_if.downtime_per_day is None else what_if.downtime_per_day,
    )
