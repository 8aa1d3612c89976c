"""What services and repairs cost: parts and labor as written in the ledger, days down at the contractor's figure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.models import Contractor
from fleet.upkeep.histories import FAILURE_DONE_CODE, GUARD_CODE, SEEN_CODE, Columns, _codes, _ids, _read
from fleet.vocabulary import CAUSES

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CAUSE_CODE = _codes(CAUSES)
# Nothing was written about warranty.
NOT_SAID = -1

_MONEY = (
    ("id", "id", np.int64, None),
    ("minutes", "minutes", np.float64, None),
    ("parts", "parts_cost", np.float64, None),
    ("warranty", "warranty", np.int64, None),
)
_OF_FAILURES = (
    *_MONEY,
    ("cause", "cause", np.int64, CAUSE_CODE),
    ("guard", "guard_as_found", np.int64, GUARD_CODE),
    ("down", "downtime_days", np.float64, None),
)


@dataclass(frozen=True)
class Rates:
    """What an hour of labor and a day without a unit cost a contractor."""

    labor: float
    down: float

    @classmethod
    def of(cls, contractor: Contractor) -> Rates:
        """A spare on the trailer takes the place of a unit that is down: then the days cost nothing."""
        down = 0.0 if contractor.spare_on_trailer else float(contractor.downtime_per_day)
        return cls(float(contractor.labour_rate), down)


def with_money(services: Columns, failures: Columns, unit_ids: Ints, rates: Rates) -> tuple[Columns, Columns]:
    """The same rows with ``bill``: parts, and labor at the rate, that nobody but the contractor pays.

    Work under warranty costs the contractor nothing; minutes that a crew spends in the yard are on no bill. Failures
    also get ``would`` (the bill had warranty not paid), ``down`` (what the days down cost), ``cause`` and ``guard``.
    """
    ids_in = _ids(unit_ids)
    done = _joined(services, _read("fleet_service", _MONEY, f"trimmer_id IN ({ids_in})", "id", NOT_SAID))
    broken = _joined(failures, _read("fleet_failure", _OF_FAILURES, f"trimmer_id IN ({ids_in})", "id", NOT_SAID))
    by_shop = done["done_by"] == SEEN_CODE["shop"]
    labor = np.where(by_shop, np.nan_to_num(done["minutes"]), 0.0) / 60 * rates.labor
    done["bill"] = np.where(done["warranty"] == 1, 0.0, np.nan_to_num(done["parts"]) + labor)
    broken["would"] = np.nan_to_num(broken["parts"]) + np.nan_to_num(broken["minutes"]) / 60 * rates.labor
    broken["bill"] = np.where(broken["warranty"] == 1, 0.0, broken["would"])
    broken["days_down"] = np.nan_to_num(broken["down"])
    broken["down"] = broken["days_down"] * rates.down
    return done, broken


def _joined(rows: Columns, money: Columns) -> Columns:
    """Columns of ``money`` beside the rows with the same id; every row has its own there."""
    place = np.searchsorted(money["id"], rows["id"])
    return {**rows, **{name: values[place] for name, values in money.items() if name != "id"}}


def was_mended(failures: Columns) -> NDArray[np.bool_]:
    """Failures that brought the unit to the bench: repaired, replaced or scrapped."""
    return failures["done"] != FAILURE_DONE_CODE[""]
