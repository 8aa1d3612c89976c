"""Whose interval: the manual's figure and the contractor's own figures, told apart by a digest."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from fleet.models import Contractor
from fleet.upkeep.event_costs import Figures
from fleet.upkeep.intervals import Catalog, Interval
from fleet.vocabulary import COMPONENT_OF_TASK

# Tasks whose interval is learned, and from which component's record.
LEARNED_TASKS: dict[str, str] = {**COMPONENT_OF_TASK, "port": "exhaust"}


@dataclass(frozen=True)
class Setting:
    """What an interval was worked out for."""

    manual_hours: float
    manual_source: str
    figures: Figures

    @cached_property
    def digest(self) -> str:
        """Short text that tells settings apart and says nothing of whose they are."""
        f = self.figures
        amounts = (f.labour_rate, f.downtime_per_day, f.risk_limit, f.gate)
        said = [f"{self.manual_hours:.1f}", self.manual_source, *(f"{float(v):.4f}" for v in amounts)]
        return hashlib.sha256("|".join([*said, str(f.spare_on_trailer)]).encode()).hexdigest()[:20]


def setting_of(interval: Interval, figures: Figures) -> Setting | None:
    """The setting of one task; None where no hours are given: then nothing is to be learned."""
    return None if not interval.hours else Setting(interval.hours, interval.source, figures)


def settings_of(
    pairs: Iterable[tuple[int, int]], catalog: Catalog, contractors: Mapping[int, Contractor]
) -> dict[tuple[int, int, str], Setting]:
    """Settings by (contractor, model, task)."""
    found = {}
    figures = {pk: Figures.of(contractor) for pk, contractor in contractors.items()}
    # Contractors without figures of their own share tables, and settings with them.
    known: dict[tuple[int, Figures], dict[str, Setting]] = {}
    for contractor, model in pairs:
        table, mine = catalog.intervals(contractor, model), figures[contractor]
        key = (id(table), mine)
        if key not in known:
            asked = {task: setting_of(table[task], mine) for task in LEARNED_TASKS}
            known[key] = {task: setting for task, setting in asked.items() if setting is not None}
        for task, setting in known[key].items():
            found[contractor, model, task] = setting
    return found
