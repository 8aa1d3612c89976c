"""Wear of every component of every unit: Weibull on two clocks, with what the crew does to it on top.

Each component carries a draw of "life" from a standard exponential; running spends it at the rate of the hazard, and
the component fails at the instant it is spent. That is exact under any change of hazard on the way, and one step is
a few array operations over units x components.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import COMPONENTS, TASK_COMPONENT, TASKS
from fleet.simulation.parameters import Model

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Ints = NDArray[np.int64]

# For each component the column of the task whose clock it shares; -1 where only its own age counts.
RENEWED_BY = np.full(len(COMPONENTS), -1)
for _task, _component in TASK_COMPONENT.items():
    RENEWED_BY[COMPONENTS.index(_component)] = TASKS.index(_task)

GREASE, GEARBOX = TASKS.index("grease"), COMPONENTS.index("gearbox")


@dataclass(frozen=True)
class WearTable:
    """True shape and scale (models x components), share of the task clock, and the chance that a failure shows."""

    shape: Floats
    scale: Floats
    since_share: Floats
    shows: Floats

    @classmethod
    def of(cls, models: Sequence[Model]) -> WearTable:
        """Gather the models' parameters, columns in the order of ``COMPONENTS``."""

        def table(name: str) -> Floats:
            return np.array([[getattr(model.wear[c], name) for c in COMPONENTS] for model in models], dtype=float)

        return cls(table("shape"), table("scale"), table("since_share"), table("shows"))


@dataclass(frozen=True)
class Broken:
    """Failures of one step: parallel arrays, one entry per failed component.

    ``hidden`` ones go unnoticed and stay failed; the others stopped their unit, at most one of them per unit.
    """

    unit: Ints
    component: Ints
    hidden: Bools


class WearState:
    """Ages, task clocks and remaining life of a fleet's components.

    Parameters
    ----------
    table : WearTable
    model : (n,) int array, each unit's row of the table
    rng : numpy Generator
    frailty_variance : variance of the gamma factor per unit (mean 1); 0 for none

    Attributes
    ----------
    age, life, failed : (n, components) hours on the part, unspent life, hidden failures not found yet
    since : (n, tasks) hours since each task was last done
    """

    def __init__(
        self, table: WearTable, model: NDArray[np.integer], rng: np.random.Generator, frailty_variance: float = 0.0
    ) -> None:
        count = len(model)
        shape, scale, share = table.shape[model], table.scale[model], table.since_share[model]
        self._rng = rng
        self._age_power = (1.0 - share) * (shape - 1.0)
        self._since_power = share * (shape - 1.0)
        self._log_level = np.log(shape) - shape * np.log(scale)
        self._shows = table.shows[model]
        # Columns whose hazard looks at a task clock at all; the others never need its logarithm.
        self._clocked = np.flatnonzero((share > 0).any(axis=0) & (RENEWED_BY >= 0))
        self.frailty = (
            rng.gamma(1.0 / frailty_variance, frailty_variance, count) if frailty_variance > 0 else np.ones(count)
        )
        self.age = np.zeros((count, len(COMPONENTS)))
        self.since = np.zeros((count, len(TASKS)))
        self.failed = np.zeros((count, len(COMPONENTS)), dtype=bool)
        self.life = rng.standard_exponential((count, len(COMPONENTS)))
        self._will_show = rng.random((count, len(COMPONENTS))) < self._shows

    def hazard_spent(self, hours: Floats, stress: Floats) -> Floats:
        """Cumulative hazard that ``hours`` (n,) more would spend, under ``stress`` (n, components); midpoint rule."""
        half = hours[:, None] / 2
        log_rate = self._log_level + self._age_power * np.log(self.age + half + 1e-9)
        clocked = self._clocked
        since = self.since[:, RENEWED_BY[clocked]] + half + 1e-9
        log_rate[:, clocked] += self._since_power[:, clocked] * np.log(since)
        spent = np.exp(log_rate)
        spent *= stress
        spent *= (hours * self.frailty)[:, None]
        return spent

    def step(self, hours: Floats, stress: Floats) -> tuple[Floats, Broken]:
        """Run each unit for ``hours``; a unit whose failure shows stops at that instant.

        Returns the hours truly run and the failures. Failures that show leave the component spent until the caller
        repairs it with ``renew_part``; hidden ones are marked in ``failed``.
        """
        spent = self.hazard_spent(hours, stress)
        gone = spent >= self.life
        run = hours
        nothing = np.zeros(0, dtype=np.int64)
        broken = Broken(nothing, nothing, nothing.astype(bool))
        rows = np.flatnonzero(gone.any(axis=1))
        if rows.size:
            ratio = np.where(gone[rows], self.life[rows] / np.maximum(spent[rows], 1e-300), np.inf)
            showing = np.where(self._will_show[rows], ratio, np.inf)
            cut = np.minimum(showing.min(axis=1), 1.0)
            fraction = np.ones(len(hours))
            fraction[rows] = cut
            run = hours * fraction
            spent *= fraction[:, None]
            local, component = np.nonzero(ratio <= cut[:, None])
            unit = rows[local]
            hidden = ~self._will_show[unit, component]
            self.failed[unit[hidden], component[hidden]] = True
            broken = Broken(unit, component, hidden)
        self.life -= spent
        if rows.size:
            # A failed part spends nothing more until it is renewed.
            self.life[broken.unit, broken.component] = np.inf
        self.age += run[:, None]
        self.since += run[:, None]
        return run, broken

    def renew_part(self, unit: Ints, component: Ints, replaced: Bools, part_hours: Floats | None = None) -> None:
        """Mend parts: a replaced one starts at ``part_hours`` (0 by default), a repaired one keeps its age.

        A gearbox repaired or replaced starts a new grease cycle.
        """
        fitted = np.zeros(len(unit)) if part_hours is None else part_hours
        self.age[unit, component] = np.where(replaced, fitted, self.age[unit, component])
        self.life[unit, component] = self._rng.standard_exponential(len(unit))
        self._will_show[unit, component] = self._rng.random(len(unit)) < self._shows[unit, component]
        self.failed[unit, component] = False
        self.since[unit[component == GEARBOX], GREASE] = 0.0

    def renew_task(self, unit: Ints, task: Ints) -> None:
        """Start new task cycles. Life left is memoryless, so only the clock goes back."""
        self.since[unit, task] = 0.0
