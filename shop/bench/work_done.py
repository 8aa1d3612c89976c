"""What was done on a visit and what it comes to: jobs of its lines with the ledger's entries behind them.

A shop's own work stays readable to it after an arrangement has ended: entries are read for the jobs of lines that were
already found in sight, and no others.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from fleet.models import Failure, Service
from fleet.models.tenancy import tenant
from fleet.record.standing import standing
from shop.bench.reading import LineRow
from shop.estimate_sums import labor_of
from shop.models import LineJob
from shop.vocabulary import INTAKE, QUICK_LOOK

# Taking in is on no bill; the quick look is what the diagnosis charge is for.
NOT_CHARGED = frozenset({INTAKE, QUICK_LOOK})


@dataclass(frozen=True)
class WorkDone:
    """One finished job; ``entry`` where the ledger holds it, ``withdrawn`` where its entry was set aside since."""

    job: LineJob
    entry: Service | Failure | None
    withdrawn: bool

    @property
    def warranty(self) -> bool:
        """Whether it was written down as paid by the maker."""
        return self.entry is not None and self.entry.warranty is True

    @property
    def parts(self) -> Decimal | None:
        """What its parts cost; none where nothing was written."""
        return None if self.entry is None else self.entry.parts_cost

    @property
    def charged(self) -> bool:
        """Whether its minutes and parts are the contractor's to pay."""
        return not (self.withdrawn or self.warranty or self.job.job in NOT_CHARGED)

    def labor(self, rate: Decimal) -> Decimal | None:
        """Its minutes at so much an hour; none where no minutes were entered."""
        taken = self.job.minutes_taken
        return None if taken is None else labor_of(taken, rate)


@dataclass(frozen=True)
class LineCosts:
    """What one unit's, or one piece of kit's, finished jobs come to."""

    work: tuple[WorkDone, ...]
    labor: Decimal
    parts: Decimal
    # Finished jobs to be charged whose minutes nobody entered: the sum is at least what it says.
    without_minutes: int

    @property
    def total(self) -> Decimal:
        return self.labor + self.parts


def work_done(rows: Iterable[LineRow], contractor_id: int) -> dict[int, list[WorkDone]]:
    """Finished jobs of these lines, all of one contractor, by line in the order booked; two queries."""
    done = [job for row in rows for job in row.jobs if job.done_at is not None]
    entries: dict[tuple[str, int], Service | Failure] = {}
    with tenant([contractor_id]):
        for kind, model in (("service", Service), ("failure", Failure)):
            ids = [job.entry_id for job in done if job.entry_kind == kind and job.entry_id is not None]
            for entry in standing(model.objects.filter(pk__in=ids), kind):
                entries[kind, entry.pk] = entry
    found: dict[int, list[WorkDone]] = {}
    for job in done:
        entry = entries.get((job.entry_kind, job.entry_id or 0))
        found.setdefault(job.line_id, []).append(WorkDone(job, entry, bool(job.entry_kind) and entry is None))
    return found


def costs_of(work: Sequence[WorkDone], rate: Decimal) -> LineCosts:
    """Labor and parts of what is to be charged."""
    charged = [one for one in work if one.charged]
    labor = [one.labor(rate) for one in charged]
    return LineCosts(
        work=tuple(work),
        labor=sum((x for x in labor if x is not None), Decimal(0)),
        parts=sum((one.parts for one in charged if one.parts is not None), Decimal(0)),
        without_minutes=sum(x is None for x in labor),
    )
