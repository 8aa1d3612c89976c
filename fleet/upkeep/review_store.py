"""Advice kept for the page: worked out for a contractor's units overnight, or afresh as of any day for the command."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import Any

from django.db import transaction

from fleet.models import Contractor, NoticeDone, RecallNotice, ReviewBasis, ReviewDecision, Trimmer, UnitReview
from fleet.upkeep.budget import Budget, budget_of
from fleet.upkeep.crew_cost_store import mark_of
from fleet.upkeep.recalls import notices_for
from fleet.upkeep.refresh import latest_usages
from fleet.upkeep.repair_basis import Basis, basis_of
from fleet.upkeep.repair_record import RepairRecord, UnitFacts, repair_record
from fleet.upkeep.review import ModelAdvice, Reviewer, UnitAdvice, no_basis
from fleet.upkeep.review_decisions import latest_decisions

# Raised with the way advice is worked out, so that what is kept is worked out again.
METHOD = 2


@dataclass(frozen=True)
class Reviewed:
    """A contractor's units in use and models; ``basis`` None where the record says too little."""

    basis: Basis | None
    units: list[UnitAdvice]
    models: list[ModelAdvice]
    budget: Budget | None = None


def review(contractor: Contractor, *, as_of: dt.date) -> Reviewed:
    """Work it out from the ledger as it stood on a day."""
    record = repair_record(contractor, as_of=as_of)
    basis = basis_of(record, contractor)
    if basis is None:
        return Reviewed(None, [no_basis(facts, len(record.event_unit)) for facts in record.facts], [])
    reviewer = Reviewer(basis, recalled=_recalled(record, as_of), parts_ended=_parts_ended(record, as_of))
    units = [reviewer.unit(facts) for facts in record.facts]
    decided = {pk: row.decided for pk, row in latest_decisions(contractor).items() if row.decided_on <= as_of}
    bought = Trimmer.objects.filter(contractor=contractor, bought_on__isnull=False, price__isnull=False)
    budget = budget_of(
        basis,
        units,
        record,
        decided=decided,
        bought=[(day, float(price)) for day, price in bought.values_list("bought_on", "price") if day and price],
        usage=latest_usages([contractor.pk], as_of)[contractor.pk],
        as_of=as_of,
    )
    return Reviewed(basis, units, reviewer.models(), budget)


def _recalled(record: RepairRecord, as_of: dt.date) -> dict[int, str]:
    found = notices_for([(facts.unit, facts.model) for facts in record.facts], as_of)
    return {unit: notices[0].text for unit, notices in found.items()}


def _parts_ended(record: RepairRecord, as_of: dt.date) -> dict[int, str]:
    ends = {kind: sheet.terms["parts_end_on"].value for kind, sheet in record.sheets.items()}
    return {kind: day.isoformat() for kind, day in ends.items() if day is not None and day <= as_of}


def refresh_reviews(contractors: Iterable[Contractor], *, today: dt.date) -> int:
    """Advise again where something moved; returns for how many contractors."""
    done = 0
    for contractor in contractors:
        mark = _mark(contractor, today)
        kept = ReviewBasis.objects.filter(contractor=contractor).first()
        if kept is not None and kept.mark == mark:
            continue
        found = review(contractor, as_of=today)
        rows = [_row(contractor, advice) for advice in found.units]
        with transaction.atomic():
            UnitReview.objects.filter(contractor=contractor).delete()
            UnitReview.objects.bulk_create(rows, batch_size=500)
            said = {
                "as_of": today,
                "mark": mark,
                "basis": None if found.basis is None else found.basis.as_data(),
                "model_ages": [asdict(model) for model in found.models],
                "budget": None if found.budget is None else asdict(found.budget),
            }
            ReviewBasis.objects.update_or_create(contractor=contractor, defaults=said)
        done += 1
    return done


def _mark(contractor: Contractor, today: dt.date) -> str:
    """Moves with the ledger, and with every week, since seasons pass without entries."""
    notices = list(RecallNotice.objects.order_by("pk").values_list("pk", "ended_on"))
    done = list(NoticeDone.objects.filter(contractor=contractor).order_by("pk").values_list("pk", "taken_back_at"))
    decisions = ReviewDecision.objects.filter(contractor=contractor).count()
    terms = (contractor.resale, contractor.discount_rate)
    rests_on = (METHOD, mark_of(contractor), decisions, terms, notices, done, today.isocalendar()[:2])
    return hashlib.sha256(repr(rests_on).encode()).hexdigest()


def _row(contractor: Contractor, advice: UnitAdvice) -> UnitReview:
    given: dict[str, Any] = {name: getattr(advice, name) for name in _FIGURES}
    return UnitReview(
        trimmer_id=advice.facts.unit,
        contractor=contractor,
        advice=advice.advice,
        facts=asdict(advice.facts),
        reasons=[[kind, values] for kind, values in advice.reasons],
        **given,
    )


_FIGURES = (
    "keep_cost_next_season", "replace_cost_per_season", "spend_limit", "half_price", "probability_keep", "margin",
    "replacement", "warranty_until",
)  # fmt: skip


def advice_of(row: UnitReview) -> UnitAdvice:
    """A kept row as advice."""
    return UnitAdvice(
        facts=UnitFacts(**row.facts),
        advice=row.advice,
        reasons=[(kind, values) for kind, values in row.reasons],
        **{name: getattr(row, name) for name in _FIGURES},
    )


def names_of(units: Iterable[int]) -> dict[int, tuple[str, str, str]]:
    """Tag, model and present crew of units, by id."""
    rows = Trimmer.objects.filter(pk__in=list(units)).values_list(
        "pk", "tag", "model__maker", "model__name", "state__crew__name"
    )
    return {pk: (tag, f"{maker} {name}", crew or "") for pk, tag, maker, name, crew in rows}
