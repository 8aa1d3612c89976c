"""What stands on the ticket of a drop-off, and on its work and cost summary."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext as _

from fleet.models import Failure, Service
from fleet.vocabulary import AS_FOUND, CAUSES, SERVICE_DONE
from shop.bench.reading import LineRow, VisitRow
from shop.bench.words import day_words, job_words
from shop.bench.work_done import NOT_CHARGED, LineCosts, WorkDone, costs_of, work_done
from shop.models import CheckIn
from shop.vocabulary import CANCELLED, INTAKE, KIT, VISIT_STATES


@dataclass(frozen=True)
class TicketLine:
    """One unit or piece of kit that was handed over, or is to be; ``told`` once it has come over the counter."""

    name: str
    model: str
    serial: str
    jobs: str
    minutes: int
    state: str
    told: CheckIn | None
    promised: str


def ticket_lines(row: VisitRow) -> list[TicketLine]:
    """The lines that are not called off."""
    return [
        TicketLine(
            name=one.line.name,
            model=str(one.line.trimmer.model) if one.line.trimmer is not None else _("other kit"),
            serial=one.line.trimmer.serial if one.line.trimmer is not None else "",
            jobs=job_names(one),
            minutes=one.line.minutes,
            state=str(VISIT_STATES[one.line.state]),
            told=one.check_in,
            promised=day_words(one.line.promised_on) if one.line.promised_on else "",
        )
        for one in row.coming
    ]


def job_names(row: LineRow) -> str:
    """What the line comes for, less taking in and what was left out."""
    return ", ".join(job_words(j.job) for j in row.jobs if j.job not in (INTAKE, KIT) and not j.left_out)


@dataclass(frozen=True)
class CostRow:
    """One job as the summary lists it; ``note`` says why it is not in the sum."""

    words: str
    found: str
    minutes: int | None
    labor: Decimal | None
    parts: Decimal | None
    note: str


@dataclass(frozen=True)
class CostLine:
    """One unit or piece of kit: its jobs, what they come to, and what was agreed at the counter."""

    name: str
    model: str
    state: str
    rows: list[CostRow]
    left_out: list[str]
    still_open: int
    costs: LineCosts
    fix_up_to: Decimal | None
    diagnosis_charge: Decimal | None
    checked_in: bool

    @property
    def above_agreed(self) -> bool:
        """Whether the sum went past what was agreed."""
        return self.fix_up_to is not None and self.costs.total > self.fix_up_to


def cost_lines(row: VisitRow, rate: Decimal) -> list[CostLine]:
    """Each line with its finished jobs at the contractor's labor rate; two queries."""
    done = work_done(row.lines, row.visit.contractor_id)
    return [_cost_line(one, done.get(one.line.pk, []), rate) for one in row.lines if one.line.state != CANCELLED]


def _cost_line(one: LineRow, work: Sequence[WorkDone], rate: Decimal) -> CostLine:
    line, told = one.line, one.check_in
    return CostLine(
        name=line.name,
        model=str(line.trimmer.model) if line.trimmer is not None else _("other kit"),
        state=str(VISIT_STATES[line.state]),
        rows=[_cost_row(done, rate) for done in work],
        left_out=[f"{job_words(j.job)}: {j.left_out}" for j in one.jobs if j.left_out and j.done_at is None],
        still_open=one.open_jobs,
        costs=costs_of(work, rate),
        fix_up_to=told.fix_up_to if told is not None else None,
        diagnosis_charge=told.diagnosis_charge if told is not None else None,
        checked_in=told is not None,
    )


def _cost_row(done: WorkDone, rate: Decimal) -> CostRow:
    charged = done.charged
    note = ""
    if done.withdrawn:
        note = _("taken back later, not counted")
    elif done.warranty:
        note = _("under warranty, not counted")
    elif done.job.job in NOT_CHARGED:
        note = _("not counted")
    return CostRow(
        words=job_words(done.job.job),
        found=entry_found(done.entry),
        minutes=done.job.minutes_taken,
        labor=done.labor(rate) if charged else None,
        parts=done.parts if charged else None,
        note=note,
    )


def entry_found(entry: Service | Failure | None) -> str:
    """What was found and done, without the job's name."""
    if isinstance(entry, Service):
        parts = [AS_FOUND[entry.as_found]] if entry.as_found else []
        return ", ".join(str(part) for part in (*parts, SERVICE_DONE[entry.done]))
    if isinstance(entry, Failure):
        cause = _("cause %(cause)s") % {"cause": CAUSES[entry.cause]} if entry.cause else ""
        return ", ".join(part for part in (entry.what, cause) if part)
    return ""
