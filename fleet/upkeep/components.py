"""Engine hours on each component of one unit now, and what that figure rests on."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from fleet.upkeep.days import NO_DAY, date_of
from fleet.upkeep.histories import COMPONENT_CODE, FAILURE_DONE_CODE, SERVICE_DONE_CODE, TASK_CODE
from fleet.upkeep.refresh import answers_for
from fleet.vocabulary import COMPONENT_OF_TASK, COMPONENTS


@dataclass(frozen=True)
class ComponentAge:
    """Hours on one component. ``at_least``: it came on a unit registered with hours and was not replaced since."""

    component: str
    hours: float
    at_least: bool
    replaced_on: dt.date | None
    fitted_used: bool


def component_ages(unit_id: int, hours_now: float) -> list[ComponentAge]:
    """Ages of all components in the order of the trade's list, worked out from the unit's standing entries."""
    found = answers_for([unit_id])
    h, lines = found.histories, found.lines
    if not len(lines.unit):
        return []
    start = float(h.units["hours_at_registration"][lines.unit[0]])
    latest: dict[str, tuple[int, float, float]] = {}
    for table, code, done, replaced in (
        (h.services, "task", h.services["done"], SERVICE_DONE_CODE["replaced"]),
        (h.failures, "component", h.failures["done"], FAILURE_DONE_CODE["replaced"]),
    ):
        names = _names(code)
        for i in np.flatnonzero(done == replaced):
            component = names.get(int(table[code][i]))
            if component is None:
                continue
            day = int(table["day"][i])
            at = float(table["hours"][i])
            if np.isnan(at):
                at = float(lines.hours_on(table["unit"][i : i + 1], table["day"][i : i + 1])[0])
            if component not in latest or day >= latest[component][0]:
                latest[component] = (day, at, float(np.nan_to_num(table["part_hours"][i])))
    ages = []
    for component in COMPONENTS:
        day, at, part_hours = latest.get(component, (int(NO_DAY), start, 0.0))
        ages.append(
            ComponentAge(
                component=component,
                hours=max(hours_now - at, 0.0) + part_hours,
                at_least=day == NO_DAY and start > 0,
                replaced_on=None if day == NO_DAY else date_of(day),
                fitted_used=part_hours > 0,
            )
        )
    return ages


def _names(code: str) -> dict[int, str]:
    if code == "component":
        return {number: key for key, number in COMPONENT_CODE.items()}
    return {TASK_CODE[task]: component for task, component in COMPONENT_OF_TASK.items()}
