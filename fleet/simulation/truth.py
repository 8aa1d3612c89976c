"""What is true of a simulated fleet and stands in none of its files."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import COMPONENTS
from fleet.simulation.parameters import Parameters


@dataclass(frozen=True)
class TrueFailures:
    """Every true failure: parallel arrays. ``hidden`` ones may or may not have been found since.

    ``day`` is the day it happened, ``hours`` the unit's total hours, ``age`` the component's own hours and ``since``
    the hours since the task that renews it (equal to ``age`` where none does).
    """

    unit: NDArray[np.int64]
    component: NDArray[np.int64]
    day: NDArray[np.int64]
    hours: NDArray[np.float64]
    age: NDArray[np.float64]
    since: NDArray[np.float64]
    hidden: NDArray[np.bool_]
    guard_off: NDArray[np.bool_]


@dataclass(frozen=True)
class Truth:
    """The truth beside the files. Units are columns, in the order of ``tags`` (and of units.csv).

    Attributes
    ----------
    start : date of day 0
    tags, model, crew : each unit's painted tag, model code, and crew code at registration
    registered, retired : day codes; retired is -1 for units still in use
    start_hours : engine hours at registration
    hours : (days, units) true hours run each day
    crew_of : (days, units) crew code each day
    guard_off : (days, units) whether the unit ran (or stood) without a sound guard that day
    rates : (seasons, units) mean hours a working day that the unit would run with its first crew
    frailty : (units,) factor on every hazard of the unit
    reporter_bias : (crews,) factor between what a crew's reporter writes and what ran
    shape, scale, since_share : (models, components) true wear
    guard_off_ratio : (components,) hazard ratio without a guard
    failures : every true failure
    """

    parameters: Parameters
    start: dt.date
    tags: tuple[str, ...]
    model: NDArray[np.int64]
    crew: NDArray[np.int64]
    registered: NDArray[np.int64]
    retired: NDArray[np.int64]
    start_hours: NDArray[np.float64]
    hours: NDArray[np.float32]
    crew_of: NDArray[np.int16]
    guard_off: NDArray[np.bool_]
    rates: NDArray[np.float64]
    frailty: NDArray[np.float64]
    reporter_bias: NDArray[np.float64]
    shape: NDArray[np.float64]
    scale: NDArray[np.float64]
    since_share: NDArray[np.float64]
    guard_off_ratio: NDArray[np.float64]
    failures: TrueFailures

    def day(self, date: dt.date) -> int:
        """Day code of a date."""
        return (date - self.start).days

    def date(self, day: int) -> dt.date:
        """Date of a day code."""
        return self.start + dt.timedelta(days=int(day))

    def total_hours(self, date: dt.date) -> NDArray[np.float64]:
        """(units,) true engine hours at the end of ``date``."""
        return self.start_hours + self.hours[: max(0, self.day(date) + 1)].sum(axis=0, dtype=float)

    def wear_of(self, model: str, component: str) -> tuple[float, float]:
        """True (shape, scale) of a model's component, by name."""
        names = [m.name for m in self.parameters.models]
        where = names.index(model), COMPONENTS.index(component)
        return float(self.shape[where]), float(self.scale[where])

    def guard_off_share(self) -> NDArray[np.float64]:
        """(crews,) true share of running hours without a sound guard; NaN for a crew that ran none."""
        crews = len(self.parameters.crews)
        hours = np.bincount(self.crew_of.ravel(), self.hours.ravel(), crews)
        off = np.bincount(self.crew_of.ravel(), (self.hours * self.guard_off).ravel(), crews)
        return np.divide(off, hours, out=np.full(crews, np.nan), where=hours > 0)
