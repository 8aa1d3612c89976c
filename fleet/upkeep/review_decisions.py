"""Decisions on units, beside what has happened since; and the list to buy from."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import Exists, OuterRef

from fleet.models import Contractor, Failure, ReviewBasis, ReviewDecision, UnitReview, Withdrawal
from fleet.upkeep.repair_basis import Basis
from fleet.upkeep.review import REPLACE


@dataclass(frozen=True)
class Outcome:
    """A decision, and the repairs and their bill since; ``retired_on`` where the unit has left."""

    decision: ReviewDecision
    repairs: int
    bill: float
    retired_on: dt.date | None


def latest_decisions(contractor: Contractor, unit_ids: Iterable[int] | None = None) -> dict[int, ReviewDecision]:
    """The standing decision of each unit that has one."""
    rows = ReviewDecision.objects.filter(contractor=contractor).order_by("decided_on", "pk")
    if unit_ids is not None:
        rows = rows.filter(trimmer__in=list(unit_ids))
    return {row.trimmer_id: row for row in rows}


def outcomes(contractor: Contractor, *, most: int = 30, unit_id: int | None = None) -> list[Outcome]:
    """The latest decisions with what followed, in two queries."""
    rows = ReviewDecision.objects.filter(contractor=contractor)
    if unit_id is not None:
        rows = rows.filter(trimmer=unit_id)
    decisions = list(rows.select_related("trimmer", "author").order_by("-decided_on", "-pk")[:most])
    withdrawn = Withdrawal.objects.filter(kind="failure", entry_id=OuterRef("pk"))
    failures = Failure.objects.filter(trimmer__in={d.trimmer_id for d in decisions}).exclude(Exists(withdrawn))
    since: dict[int, list[tuple[dt.date, float]]] = defaultdict(list)
    for unit, day, minutes, parts, warranty in failures.values_list(
        "trimmer_id", "occurred_on", "minutes", "parts_cost", "warranty"
    ):
        bill = 0.0 if warranty else float(parts or 0) + float(minutes or 0) / 60 * float(contractor.labour_rate)
        since[unit].append((day, bill))
    found = []
    for decision in decisions:
        after = [bill for day, bill in since[decision.trimmer_id] if day > decision.decided_on]
        found.append(Outcome(decision, len(after), sum(after), decision.trimmer.retired_on))
    return found


@dataclass(frozen=True)
class ToBuy:
    """One model on the buying list: which units it takes the place of, and whether an owner decided that."""

    model: str
    price: float | None
    decided: list[str]
    advised: list[str]

    @property
    def count(self) -> int:
        return len(self.decided) + len(self.advised)

    @property
    def cost(self) -> float | None:
        return None if self.price is None else self.price * self.count


def buying_list(contractor: Contractor) -> list[ToBuy]:
    """New units by model, in place of units decided, or advised and not decided otherwise, to be replaced."""
    kept = ReviewBasis.objects.filter(contractor=contractor).first()
    if kept is None or kept.basis is None:
        return []
    basis = Basis.from_data(kept.basis)
    decisions = latest_decisions(contractor)
    decided: dict[int, list[str]] = defaultdict(list)
    advised: dict[int, list[str]] = defaultdict(list)
    rows = UnitReview.objects.filter(contractor=contractor, trimmer__retired_on__isnull=True, replacement__isnull=False)
    for pk, tag, advice, model in rows.order_by("trimmer__tag_key").values_list(
        "trimmer_id", "trimmer__tag", "advice", "replacement"
    ):
        if model is None:
            continue
        decision = decisions.get(pk)
        if decision is not None and decision.decided == REPLACE:
            decided[model].append(tag)
        elif decision is None and advice == REPLACE:
            advised[model].append(tag)
    found = [
        ToBuy(facts.name, facts.price, decided[kind], advised[kind])
        for kind, facts in basis.models.items()
        if decided[kind] or advised[kind]
    ]
    return sorted(found, key=lambda line: line.model)
