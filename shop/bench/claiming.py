"""Warranty claims: opened on a finished repair, sent with what a claim wants, answered, the part let go.

The maker's answer moves money: it puts a corrected entry of the repair into the ledger in place of the one that stood,
so that the contractor's costs show what the contractor pays.
"""

from __future__ import annotations

import datetime as dt
import uuid
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Failure
from fleet.record.corrections import withdraw
from fleet.record.work import Broken, record_failure
from fleet.record.writing import By, Refused
from shop.bench.claim_reading import asked_of, stand_of, wanting
from shop.bench.writing import lock_visit
from shop.models import ClaimStep, LineJob, WarrantyClaim
from shop.vocabulary import CLAIM_ANSWERS, CLAIM_STEPS, KEPT, LET_GO, PAID, PART_PAID, REFUSED, SENT

_CENT = Decimal("0.01")


@dataclass(frozen=True)
class Told:
    """One step as it was written down."""

    step: str
    on: dt.date
    amount: Decimal | None = None
    note: str = ""


def open_claim(*, job: LineJob, by: By, now: dt.datetime) -> WarrantyClaim:
    """Claim a finished repair; a second press finds the first claim."""
    with transaction.atomic():
        lock_visit(job.line.drop_off)
        row = LineJob.objects.known().get(pk=job.pk)
        if row.done_at is None or row.entry_kind != "failure" or job.line.trimmer_id is None:
            raise Refused(_("Record the repair first: a claim is about work that is done."))
        made, _new = WarrantyClaim.objects.known().get_or_create(
            job=row,
            defaults={
                "contractor_id": row.contractor_id, "shop_id": row.shop_id, "opened_at": now, "opened_by": by.author,
            },
        )  # fmt: skip
    return made


def take_step(*, claim: WarrantyClaim, told: Told, by: By, today: dt.date, now: dt.datetime) -> ClaimStep:
    """Write one step down; an answer also corrects the repair's entry in the ledger."""
    with transaction.atomic():
        lock_visit(claim.job.line.drop_off)
        if by.client_entry_id is not None:
            before: ClaimStep | None = ClaimStep.objects.known().filter(client_entry_id=by.client_entry_id).first()
            if before is not None:
                return before
        steps = list(ClaimStep.objects.known().filter(claim=claim).order_by("pk"))
        _check(told, steps, today)
        failure = _failure(claim)
        if told.step in CLAIM_ANSWERS:
            _correct(claim, failure, told, by, today)
        return ClaimStep.objects.create(
            contractor_id=claim.contractor_id, shop_id=claim.shop_id, claim=claim, step=told.step, on=told.on,
            amount=told.amount, note=told.note.strip(), author=by.author, at=now, client_entry_id=by.client_entry_id,
            without=wanting(claim, steps) if told.step == SENT else [],
        )  # fmt: skip


def _check(told: Told, steps: list[ClaimStep], today: dt.date) -> None:
    if told.step not in CLAIM_STEPS:
        raise Refused(_("Choose one of the answers offered."), "step")
    if told.on > today:
        raise Refused(_("This day has not come yet."), "on")
    if len(told.note) > 200:
        raise Refused(_("Say it in 200 letters or fewer."), "note")
    stand = stand_of(steps)
    before = next((step for step in reversed(steps) if step.step != KEPT), None)
    if before is not None and told.on < before.on:
        raise Refused(_("That is before the claim's last step. Look at the days."), "on")
    if told.step == SENT and stand is not None and stand.step not in (REFUSED, PART_PAID):
        raise Refused(_("It is on its way already, or paid."), "step")
    if told.step == SENT and (told.amount is None or told.amount <= 0):
        raise Refused(_("Write what is asked for, in dollars."), "amount")
    if told.step in CLAIM_ANSWERS and (stand is None or stand.step != SENT):
        raise Refused(_("It was not sent yet: there is nothing to answer."), "step")
    if told.step == PART_PAID:
        asked = asked_of(steps)
        if told.amount is None or told.amount <= 0 or asked is None or told.amount >= asked:
            raise Refused(_("Write what was paid: more than nothing, less than was asked for."), "amount")
    if told.step == REFUSED and not told.note.strip():
        raise Refused(_("Say why the maker refused it, in its own words."), "note")
    if told.step == KEPT and not told.note.strip():
        raise Refused(_("Say where the tagged part lies."), "note")
    if told.step == LET_GO and (stand is None or stand.step == SENT):
        raise Refused(_("Keep the part until the maker has answered."), "step")


def _failure(claim: WarrantyClaim) -> Failure:
    # Asked again under the lock: an answer just given has put another entry there.
    entry_id = LineJob.objects.known().values_list("entry_id", flat=True).get(pk=claim.job_id)
    found: Failure | None = Failure.objects.select_related("trimmer__contractor").filter(pk=entry_id or 0).first()
    if found is None:
        raise Refused(_("The arrangement with this contractor has ended: its record cannot be changed any more."))
    return found


def _correct(claim: WarrantyClaim, failure: Failure, told: Told, by: By, today: dt.date) -> None:
    """The repair as the contractor pays for it now: nothing, what the maker left over, or all."""
    minutes, parts, warranty = failure.minutes, failure.parts_cost, told.step == PAID
    if told.step == PART_PAID:
        assert told.amount is not None
        parts, minutes = left_over(told.amount, parts, minutes, failure.trimmer.contractor.labour_rate)
    if (warranty, parts, minutes) == (failure.warranty, failure.parts_cost, failure.minutes):
        return
    # Each answer is a press of its own, whatever the form carried.
    press = By(by.author, by.source, by.seen_as, by.client_entry_id or uuid.uuid4())
    entry = record_failure(
        broken=Broken(
            failure.trimmer, failure.component, failure.occurred_on, what=failure.what, cause=failure.cause,
            found=failure.found, done=failure.done, hours=failure.hours, part_hours=failure.part_hours,
            minutes=minutes, parts_cost=parts, downtime_days=failure.downtime_days, warranty=warranty,
            guard_as_found=failure.guard_as_found,
        ),
        by=press.part(f"claim-{claim.pk}"), today=today,
    )  # fmt: skip
    if entry.pk == failure.pk:
        return
    why = _("Warranty claim: %(answer)s") % {"answer": CLAIM_STEPS[told.step]}
    withdraw(kind="failure", entry_id=failure.pk, why=why, by=press.part(f"claim-withdraw-{claim.pk}"))
    LineJob.objects.known().filter(pk=claim.job_id).update(entry_id=entry.pk)


def left_over(
    paid: Decimal, parts: Decimal | None, minutes: Decimal | None, rate: Decimal
) -> tuple[Decimal, Decimal | None]:
    """Parts in dollars and minutes that remain to be paid once so much was: parts are paid first, then labor."""
    cost = parts or Decimal(0)
    remaining = max(cost - paid, Decimal(0))
    rest = max(paid - cost, Decimal(0))
    if not rest or not minutes or not rate:
        return remaining, minutes
    left = max(minutes - rest / rate * 60, Decimal(0))
    return remaining, left.quantize(_CENT, ROUND_HALF_UP)
