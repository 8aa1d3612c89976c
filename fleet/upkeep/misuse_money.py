"""Spend that need not have been, by cause as the technician wrote it, and warranty lost to it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.catalog import ModelSheet
from fleet.upkeep.crew_looks import found_off
from fleet.upkeep.histories import AS_FOUND_CODE, COMPONENT_CODE, TASK_CODE, Columns
from fleet.upkeep.spending import CAUSE_CODE
from fleet.upkeep.warranty import MISUSE_CAUSES, MISUSE_CODES, covered_until

# Not a cause in the technician's list, but written all the same: the gearbox was dry, the guard was off.
NO_GREASE, GUARD_OFF = "no_grease", "guard_off"


@dataclass(frozen=True)
class Avoidable:
    """Failures of one cause and what their repairs cost."""

    cause: str
    failures: int
    amount: float


def avoidable_spend(
    failures: Columns, services: Columns, sheets: Mapping[int, ModelSheet], hurt: NDArray[np.bool_]
) -> tuple[list[Avoidable], Avoidable]:
    """Amounts by cause, dearest first, each failure under one cause; and what warranty would have paid but for them.

    A cause written in words counts before a dry gearbox, and that before a guard found off.
    """
    written = np.isin(failures["cause"], MISUSE_CODES)
    dry = ~written & _found_dry(failures, services)
    off = ~written & ~dry & hurt & (found_off(failures["guard"]) == 1)
    kinds = [(cause, failures["cause"] == CAUSE_CODE[cause]) for cause in MISUSE_CAUSES]
    kinds += [(NO_GREASE, dry), (GUARD_OFF, off)]
    found = [Avoidable(cause, int(mask.sum()), float(failures["bill"][mask].sum())) for cause, mask in kinds]
    until = covered_until(sheets, failures["model"], failures["bought"], failures["component"])
    lost = (written | dry | off) & (failures["day"] <= until) & (failures["warranty"] != 1)
    by_amount = sorted((a for a in found if a.failures), key=lambda a: (-a.amount, a.cause))
    return by_amount, Avoidable("", int(lost.sum()), float(failures["bill"][lost].sum()))


def _found_dry(failures: Columns, services: Columns) -> NDArray[np.bool_]:
    """Gearbox failures on a day on which the same unit's gearbox was found dry."""
    dry = (services["task"] == TASK_CODE["grease"]) & (services["as_found"] == AS_FOUND_CODE["dry"])
    days = np.unique(services["unit"][dry] * (1 << 20) + services["day"][dry])
    gearbox = failures["component"] == COMPONENT_CODE["gearbox"]
    return gearbox & np.isin(failures["unit"] * (1 << 20) + failures["day"], days)
