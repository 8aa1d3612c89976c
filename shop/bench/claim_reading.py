"""Where warranty claims stand, what each still wants, what is waiting at a shop."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import OuterRef, Prefetch, Q, QuerySet, Subquery

from fleet.models import Failure, PurchasePaper, Shop
from fleet.models.tenancy import tenant
from fleet.upkeep.claimed import Claimed
from shop.models import BenchPhoto, CheckIn, ClaimStep, SheetAnswer, WarrantyClaim
from shop.vocabulary import CLAIM_STEPS, KEPT, LET_GO, PAID, PART_PAID, REFUSED, SENT

#: Answered claims stay on the list so long.
ANSWERED_DAYS = 365
_STANDS = (SENT, PAID, PART_PAID, REFUSED)


@dataclass(frozen=True)
class ClaimRow:
    """A claim with the repair as the ledger holds it; ``failure`` None once an arrangement has ended."""

    claim: WarrantyClaim
    failure: Failure | None
    steps: tuple[ClaimStep, ...]

    @property
    def stand(self) -> ClaimStep | None:
        return stand_of(self.steps)

    @property
    def waits(self) -> bool:
        """Whether the maker has to answer."""
        return self.stand is not None and self.stand.step == SENT

    @property
    def part(self) -> str:
        """Where the part lies; empty: not kept, or let go."""
        last = next((step for step in reversed(self.steps) if step.step in (KEPT, LET_GO)), None)
        return last.note if last is not None and last.step == KEPT else ""


def stand_of(steps: Sequence[ClaimStep]) -> ClaimStep | None:
    """The step that says where a claim stands; None before it is sent."""
    return next((step for step in reversed(steps) if step.step in _STANDS), None)


def asked_of(steps: Sequence[ClaimStep]) -> Decimal | None:
    """What was asked for the last time it was sent."""
    return next((step.amount for step in reversed(steps) if step.step == SENT), None)


def wanting(claim: WarrantyClaim, steps: Sequence[ClaimStep]) -> list[str]:
    """What the claim wants and does not have yet, keys of ``CLAIM_WANTS``; a constant number of queries."""
    line = claim.job.line
    unit = line.trimmer
    last = CheckIn.objects.known().filter(line=line).order_by("at", "pk").last()
    looked = SheetAnswer.objects.known().filter(line=line, check_key="fuel").exclude(finding="not_looked").exists()
    part = ClaimRow(claim, None, tuple(steps)).part
    has = {
        "proof": unit is not None
        and unit.bought_on is not None
        and PurchasePaper.objects.filter(trimmer=unit).exists(),
        "serial": unit is not None and bool(unit.serial),
        "fuel": looked or (last is not None and last.fuel not in ("", "unknown")),
        "picture": BenchPhoto.objects.known().filter(line=line).exists(),
        "part": bool(part),
    }
    return [key for key, there in has.items() if not there]


def claim_rows(claims: Iterable[WarrantyClaim]) -> list[ClaimRow]:
    """Claims found in sight, with their repairs and steps; two queries for all of them."""
    rows = list(claims)
    with tenant({claim.contractor_id for claim in rows}):
        failures = Failure.objects.in_bulk([claim.job.entry_id for claim in rows])
    return [
        ClaimRow(claim, failures.get(claim.job.entry_id), tuple(claim.steps_known))  # type: ignore[attr-defined]
        for claim in rows
    ]


def with_steps(claims: QuerySet[Any]) -> QuerySet[Any]:
    """A query of claims, each with its steps, its job's line and its unit."""
    steps = Prefetch("steps", ClaimStep.objects.known().order_by("pk"), to_attr="steps_known")
    return claims.select_related(
        "job__line__trimmer__model", "job__line__drop_off__contractor", "shop"
    ).prefetch_related(steps)


def claims_at(shop: Shop, today: dt.date) -> list[ClaimRow]:
    """A shop's claims: those that wait, not sent yet, and answered in the past year; oldest first."""
    latest = ClaimStep.objects.known().filter(claim=OuterRef("pk"), step__in=_STANDS).order_by("-pk")
    claims = WarrantyClaim.objects.at_shops([shop.pk]).annotate(
        last_step=Subquery(latest.values("step")[:1]), last_on=Subquery(latest.values("on")[:1])
    )
    since = today - dt.timedelta(days=ANSWERED_DAYS)
    claims = claims.filter(Q(last_step__isnull=True) | Q(last_step=SENT) | Q(last_on__gte=since))
    return claim_rows(with_steps(claims.order_by("opened_at", "pk")))


def claims_of_contractor(contractor_id: int) -> list[Claimed]:
    """What an owner sees of the claims on the contractor's units."""
    claims = WarrantyClaim.objects.filter(contractor=contractor_id).exclude(job__line__trimmer=None)
    found = []
    for row in claim_rows(with_steps(claims.order_by("pk"))):
        unit, stand = row.claim.job.line.trimmer, row.stand
        if unit is None or row.failure is None:
            continue
        words = CLAIM_STEPS[stand.step] if stand is not None else ""
        on = stand.on if stand is not None else row.claim.opened_at.date()
        found.append(Claimed(row.failure.pk, unit.pk, unit.tag, row.failure.component, words, on))
    return found
