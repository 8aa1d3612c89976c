"""Free repair waiting: faults on parts that were still under warranty, with nothing claimed for them yet."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from django.db.models import Exists, OuterRef

from fleet.models import Contractor, Failure, Withdrawal
from fleet.upkeep.catalog import models_in_use
from fleet.upkeep.claimed import claims_of
from fleet.upkeep.days import NO_DAY, add_months, date_of, day_of
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.warranty import MISUSE_CAUSES, covered_until, months_of, sheets_of

# Claims are seldom taken later than this after the fault: common practice, the maker's terms decide.
DAYS_BACK = 365


@dataclass(frozen=True)
class FreeRepair:
    """One fault. ``doubt``: the cause written, or the guard as found, that a maker may refuse it for; empty: none."""

    unit: int
    tag: str
    model: str
    component: str
    what: str
    on: dt.date
    until: dt.date
    mended: bool
    bill: float
    doubt: str
    serial: str


def free_repairs(contractor: Contractor, *, today: dt.date) -> list[FreeRepair]:
    """Faults of the past year, those still waiting for the bench first, then by the end of the warranty."""
    withdrawn = Withdrawal.objects.filter(kind="failure", entry_id=OuterRef("pk"))
    since = today - dt.timedelta(days=DAYS_BACK)
    in_use, _counts = models_in_use([contractor.pk])
    sheets = sheets_of(contractor, [model.pk for model in in_use])
    longest = max((months_of(sheet, part) or 0 for sheet in sheets.values() for part in COMPONENT_CODE), default=0)
    rows = list(
        Failure.objects.filter(
            contractor=contractor,
            occurred_on__gte=since,
            occurred_on__lte=today,
            # What was bought before the longest warranty that still ran a year ago has nothing to claim.
            trimmer__bought_on__gte=add_months(since, -longest - 1),
            trimmer__retired_on__isnull=True,
        )
        .exclude(warranty=True)
        .exclude(pk__in=[claim.failure for claim in claims_of(contractor.pk)])
        .exclude(Exists(withdrawn))
        .values_list(
            "trimmer_id", "trimmer__tag", "trimmer__model_id", "trimmer__bought_on", "trimmer__serial", "component",
            "what", "occurred_on", "done", "minutes", "parts_cost", "cause", "guard_as_found",
        )
    )  # fmt: skip
    until = covered_until(
        sheets,
        np.array([row[2] for row in rows], dtype=np.int64),
        np.array([day_of(row[3]) if row[3] else NO_DAY for row in rows], dtype=np.int64),
        np.array([COMPONENT_CODE[row[5]] for row in rows], dtype=np.int16),
    )
    rate = float(contractor.labour_rate)
    found = []
    for row, last in zip(rows, until.tolist(), strict=True):
        unit, tag, model, _bought, serial, component, what, on, done, minutes, parts, cause, guard = row
        if day_of(on) > last:
            continue
        doubt = cause if cause in MISUSE_CAUSES else "guard_off" if guard in ("off", "damaged", "refitted") else ""
        bill = float(parts or 0) + float(minutes or 0) / 60 * rate
        found.append(
            FreeRepair(
                unit, tag, str(sheets[model].model), component, what, on, date_of(last), bool(done), bill, doubt, serial
            )
        )
    return sorted(found, key=lambda r: (r.mended, bool(r.doubt), r.until, r.tag))
