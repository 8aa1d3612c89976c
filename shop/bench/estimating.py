"""Estimates: worked out from the line's jobs, sent, and answered once.

Everyone locks the visit first, as every writer of the bench does: two clicks, or a click and a newer estimate, come one
after the other. An answer asks that its estimate still stands.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet import background
from fleet.models import User
from fleet.record.writing import By, Refused
from shop.bench.estimate_mail import send_estimates
from shop.bench.mailing import owners_of
from shop.bench.reading import LineRow, line_rows, told_at_counter
from shop.bench.repair_choices import review_of
from shop.bench.work_done import NOT_CHARGED, work_done
from shop.bench.writing import add_event, lock_visit
from shop.estimate_sums import (
    ANSWERS,
    DONE,
    ESTIMATED,
    HOW_ANSWERED,
    NO,
    YES,
    EstimateSum,
    OtherWork,
    agreed_after,
    labor_of,
)
from shop.models import CheckIn, DropOffLine, Estimate, EstimateAddress, EstimateAnswer, LineJob
from shop.repair_options import KINDS, WAYS
from shop.vocabulary import IN_SHOP

# An estimate stands so many days besides the one it was sent on: our own choice.
STANDS_DAYS = 7
MOST_PARTS = Decimal(9999)
MOST_MINUTES = 1440
_CENT = Decimal("0.01")


@dataclass(frozen=True)
class Asked:
    """What the technician proposes for one fault. ``rests``: not to be run before it is put right."""

    way: str
    minutes: int
    parts: Decimal
    kind: str = ""
    rests: bool = False
    note: str = ""


def sum_for(job: LineJob, minutes: int, parts: Decimal) -> EstimateSum:
    """This repair, and everything else on its line that is to be paid; five queries."""
    (row,) = line_rows([job.line])
    return EstimateSum(minutes, parts, job.line.drop_off.contractor.labour_rate, _other_work(job, row))


def _other_work(job: LineJob, row: LineRow) -> list[OtherWork]:
    rate = row.line.drop_off.contractor.labour_rate
    told: dict[int, Estimate] = {}
    for before in Estimate.objects.known().filter(line=row.line).select_related("answered").order_by("pk"):
        told[before.job_id] = before
    found = []
    for one in work_done([row], row.line.contractor_id).get(row.line.pk, []):
        if one.charged and one.job.pk != job.pk:
            taken = one.job.minutes_taken if one.job.minutes_taken is not None else one.job.minutes
            found.append(OtherWork(one.job.job, taken, labor_of(taken, rate) + (one.parts or 0), DONE))
    for other in row.jobs:
        if other.done_at is not None or other.left_out or other.job in NOT_CHARGED or other.pk == job.pk:
            continue
        last = told.get(other.pk)
        if last is None or (answer_to(last) is not None and last.answered.answer == NO):
            found.append(OtherWork(other.job, other.minutes, labor_of(other.minutes, rate)))
        else:
            found.append(OtherWork(other.job, last.minutes, labor_of(last.minutes, rate) + last.parts, ESTIMATED))
    return found


def answer_to(estimate: Estimate) -> EstimateAnswer | None:
    """The answer, if there is one."""
    found: EstimateAnswer | None = getattr(estimate, "answered", None)
    return found


def why_over(estimate: Estimate, now: dt.datetime, *, answered: bool = False) -> str:
    """Why an estimate can be answered (or, once ``answered``, read) no more, in words; empty while it can."""
    if Estimate.objects.known().filter(job=estimate.job_id, pk__gt=estimate.pk).exists():
        return _("A newer estimate has taken its place.")
    if now >= estimate.expires_at:
        return _("It has run out.")
    if answered:
        return ""
    job = LineJob.objects.known().select_related("line").get(pk=estimate.job_id)
    if finished_with(job, job.line):
        return _("The shop has finished with this.")
    return ""


def finished_with(job: LineJob, line: DropOffLine) -> bool:
    """Whether there is nothing left to say yes or no to."""
    return job.done_at is not None or bool(job.left_out) or line.state not in IN_SHOP


def send_estimate(*, job: LineJob, asked: Asked, mail: bool, portal: str, by: By, now: dt.datetime) -> Estimate:
    """Keep the figures and, with ``mail``, write to every owner who has an address. A newer one ends the older of
    the same fault; one about another fault of the unit stands beside it.

    ``now`` is local to the shop. ``portal``: where it is reached, for the address in the letter.
    """
    _check(asked)
    with transaction.atomic():
        visit = lock_visit(job.line.drop_off)
        if by.client_entry_id is not None:
            before: Estimate | None = Estimate.objects.known().filter(client_entry_id=by.client_entry_id).first()
            if before is not None:
                return before
        line = DropOffLine.objects.known().select_related("trimmer").get(pk=job.line_id)
        row = LineJob.objects.known().get(pk=job.pk)
        if row.done_at is not None or line.trimmer is None or line.state not in IN_SHOP:
            raise Refused(_("This job is done already, or the unit has left. Load the page again."))
        line.drop_off = visit
        row.line = line
        people = owners_of(visit.contractor) if mail else []
        if mail and not people:
            raise Refused(_("No owner has an e-mail address: call, and write the answer down."))
        if row.left_out:
            # What is asked about is not left out any more.
            row.left_out = ""
            row.save(update_fields=["left_out"])
        sums = sum_for(row, asked.minutes, asked.parts)
        review = review_of(line.trimmer)
        made = Estimate.objects.create(
            contractor_id=line.contractor_id, shop_id=line.shop_id, line=line, job=row, job_key=row.job, way=asked.way,
            kind=asked.kind, minutes=asked.minutes, parts=asked.parts, labour_rate=sums.rate, labor=sums.labor,
            other=[[work.job, work.minutes, str(work.cost), work.how] for work in sums.other], total=sums.total,
            agreed=agreed_on(line), spend_limit=_cents(review.spend_limit if review else None),
            half_price=_cents(review.half_price if review else None), rests=asked.rests,
            note=asked.note.strip()[:300], portal=portal.rstrip("/")[:200], made_by=by.author, made_at=now,
            expires_at=_end_of_day(now, STANDS_DAYS), client_entry_id=by.client_entry_id,
        )  # fmt: skip
        _address(made, people)
        add_event(visit, "estimate", by.author, now, line=line, after="sent" if people else "made")
        if people:
            transaction.on_commit(_send_soon)
    return made


def answer_estimate(
    *, estimate: Estimate, answer: str, how: str, said_by: str, author: User | None, now: dt.datetime
) -> EstimateAnswer:
    """Record the owner's answer, once; a second click is told what the first one said.

    *Yes* raises the sum that is OK to fix up to.
    """
    said_by = said_by.strip()[:80]
    if answer not in ANSWERS or how not in HOW_ANSWERED:
        raise Refused(_("Choose one of the answers offered."), "answer")
    if not said_by:
        raise Refused(_("Write the name of whoever answered."), "said_by")
    with transaction.atomic():
        visit = lock_visit(estimate.line.drop_off)
        before: EstimateAnswer | None = EstimateAnswer.objects.known().filter(estimate=estimate).first()
        if before is not None:
            if before.answer != answer:
                raise Refused(_("This was answered before, and the answer below stands. Ask for a new estimate."))
            return before
        over = why_over(estimate, now)
        if over:
            raise Refused(over)
        limit = None
        if answer == YES:
            limit = _raise_limit(estimate, author, now)
        kept = EstimateAnswer.objects.create(
            contractor_id=estimate.contractor_id, shop_id=estimate.shop_id, estimate=estimate, answer=answer, how=how,
            said_by=said_by, author=author, total=estimate.total, fix_up_to=limit, at=now,
        )  # fmt: skip
        words = f"{ANSWERS[answer]}, {said_by}, {HOW_ANSWERED[how]}"
        add_event(visit, "estimate", author, now, line=estimate.line, after=answer, note=words)
    return kept


def agreed_on(line: DropOffLine) -> Decimal | None:
    """The sum that is OK to fix up to, as last said; none: the owner is asked first."""
    told = told_at_counter(line.pk)
    return None if told is None else told.fix_up_to


def _raise_limit(estimate: Estimate, author: User | None, now: dt.datetime) -> Decimal:
    """What was said at the counter, once more, with the sum now agreed."""
    told = told_at_counter(estimate.line_id)
    agreed = agreed_after(None if told is None else told.fix_up_to, estimate.total)
    if told is None or told.fix_up_to != agreed:
        said = {f.attname: getattr(told, f.attname) for f in CheckIn._meta.concrete_fields} if told else {}
        said |= {
            "contractor_id": estimate.contractor_id, "shop_id": estimate.shop_id, "line_id": estimate.line_id,
            "fix_up_to": agreed, "author_id": None if author is None else author.pk, "at": now,
        }  # fmt: skip
        said.pop("id", None)
        CheckIn.objects.create(**said)
    return agreed


def _address(estimate: Estimate, people: Sequence[User]) -> None:
    EstimateAddress.objects.bulk_create(
        EstimateAddress(
            contractor_id=estimate.contractor_id, shop_id=estimate.shop_id, estimate=estimate, person=person
        )
        for person in people
    )


def _check(asked: Asked) -> None:
    if asked.way not in WAYS or asked.kind not in ("", *KINDS):
        raise Refused(_("Choose one of the answers offered."), "way")
    if not 0 < asked.minutes <= MOST_MINUTES:
        raise Refused(_("This figure is too large or below zero. Check it."), "minutes")
    if not 0 <= asked.parts <= MOST_PARTS:
        raise Refused(_("This figure is too large or below zero. Check it."), "parts")


def _cents(figure: float | None) -> Decimal | None:
    return None if figure is None else Decimal(figure).quantize(_CENT)


def _end_of_day(now: dt.datetime, days: int) -> dt.datetime:
    """Midnight after so many days more, where ``now`` is local."""
    return dt.datetime.combine(now.date() + dt.timedelta(days=days + 1), dt.time(), tzinfo=now.tzinfo)


def _send_soon() -> None:
    background.start(send_estimates, task="shop.send_estimates")
