"""What a scan keeps of its fits, as frozen records that go to JSON and back: the shape that pages and commands read.

Hours are engine hours. None: not known (too little data to say), never a made-up number. Levels are 95 % unless said.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

# How a curve was drawn from the record, without assuming a shape.
KAPLAN_MEIER, TURNBULL, MEAN_REPAIRS = "kaplan_meier", "turnbull", "mean_repairs"
# How an interval was chosen.
LEAST_COST, LOOK, FAILURE_FINDING = "least_cost", "look", "failure_finding"
# Bases of an interval.
MANUAL, POOLED, MODEL = "manual", "pooled", "model"

Numbers = tuple[float | None, ...]


@dataclass(frozen=True)
class Curve:
    """A step curve, thinned for drawing: from ``hours[i]`` on the value is ``value[i]``.

    For Turnbull ``low`` and ``high`` are the least and most survival the looks allow at those hours (a band of
    ignorance, not of confidence); else 95 % limits, None where undefined. ``at_risk`` counts units, empty for Turnbull.
    """

    kind: str
    hours: Numbers = ()
    value: Numbers = ()
    low: Numbers = ()
    high: Numbers = ()
    at_risk: tuple[int, ...] = ()


@dataclass(frozen=True)
class FitLine:
    """The fitted survival at the fleet's mean guard-off share, at even hours, with 95 % limits."""

    hours: Numbers = ()
    value: Numbers = ()
    low: Numbers = ()
    high: Numbers = ()


@dataclass(frozen=True)
class MisfitBin:
    """Failures seen against those the fit expects between two hours of the clock."""

    start: float
    end: float
    seen: float
    expected: float


@dataclass(frozen=True)
class FitRecord:
    """One component of one model.

    Attributes
    ----------
    clock
        "task": shape, scale and curve are on hours since ``task``; "age": on the component's own hours.
    events, rows, hours, units, contractors
        Failures, spells, observed hours, units and contractors behind this model's own record. Show these only as
        ``fleet.upkeep.who_sees`` allows.
    pooled_events
        Failures of this component over all models.
    drawn
        0: rests on its own record alone; 1: on the other models alone.
    guard_off_ratio
        Hazard without a sound guard over that with one, common to all models of the component.
    mean_exposure
        This model's mean probability that the guard was off, over its hours.
    misfit
        Seen and expected failures by hours of the clock, so that a bad fit is told in words too.
    repairs
        Mean failures a unit by total engine hours (kind ``mean_repairs``).
    task, manual_hours, interval_hours, setting
        The task that renews the component, and its intervals at the setting most units run under, told by its digest;
        None without a task.
    """

    component: str
    clock: str
    events: int
    rows: int
    hours: float
    units: int
    contractors: int
    pooled_events: int
    shape: float | None = None
    shape_low: float | None = None
    shape_high: float | None = None
    scale: float | None = None
    scale_low: float | None = None
    scale_high: float | None = None
    drawn: float | None = None
    b10_hours: float | None = None
    b10_low: float | None = None
    b10_high: float | None = None
    mean_hours: float | None = None
    guard_off_ratio: float | None = None
    guard_off_low: float | None = None
    guard_off_high: float | None = None
    mean_exposure: float | None = None
    converged: bool = True
    curve: Curve | None = None
    fit: FitLine | None = None
    misfit: tuple[MisfitBin, ...] = ()
    repairs: Curve | None = None
    task: str | None = None
    manual_hours: float | None = None
    manual_source: str | None = None
    interval_hours: float | None = None
    setting: str | None = None

    def as_data(self) -> dict[str, Any]:
        """For JSON."""
        return _plain(self)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> FitRecord:
        """From JSON; a key of a later version is passed over."""
        known = _known(cls, data)
        known["curve"] = curve_of(data.get("curve"))
        known["repairs"] = curve_of(data.get("repairs"))
        known["fit"] = None if data.get("fit") is None else FitLine(**_tuples(data["fit"]))
        known["misfit"] = tuple(MisfitBin(**b) for b in data.get("misfit", ()))
        return cls(**known)


@dataclass(frozen=True)
class Choice:
    """The interval for one share of hours with the guard off.

    ``probability`` is that of a failure between two services (for looks: of being found failed), ``cheaper`` that the
    least-cost interval costs less than the manual's.
    """

    exposure: float
    interval_hours: float
    basis: str
    cheaper: float | None = None
    probability: float | None = None
    probability_manual: float | None = None
    limited_by_risk: bool = False


@dataclass(frozen=True)
class CostBasis:
    """Cost of one event in the contractor's money, and what it rests on: so many jobs, else common practice."""

    cost: float
    minutes: float
    parts: float
    downtime_days: float
    jobs: int


@dataclass(frozen=True)
class IntervalRecord:
    """A task's interval on one model under one setting.

    Attributes
    ----------
    method
        "least_cost", "look" or "failure_finding".
    choices
        By rising exposure; the first is for a guard always on.
    failures
        Of this model's component; ``pooled_failures`` of all models'.
    rows
        Spells of this model behind it.
    contractors, pooled_contractors
        Behind this model's record, and behind all models'.
    drawn
        As in the component's fit.
    guard_off_ratio
        As in the component's fit.
    candidates, candidate_costs
        Intervals compared and their cost an hour with the guard on: what each hour more or less would cost. Empty
        unless the method is least cost. ``candidate_low`` and ``candidate_high`` hold the cost in 90 of 100 cases.
    planned, failure
        What one service and one failure cost.
    """

    task: str
    component: str
    method: str
    manual_hours: float
    manual_source: str
    choices: tuple[Choice, ...]
    failures: int
    pooled_failures: int
    rows: int
    contractors: int
    pooled_contractors: int = 0
    drawn: float | None = None
    guard_off_ratio: float | None = None
    gate: float = 0.65
    risk_limit: float = 0.1
    neglect_weight: float | None = None
    candidates: Numbers = ()
    candidate_costs: Numbers = ()
    candidate_low: Numbers = ()
    candidate_high: Numbers = ()
    planned: CostBasis | None = None
    failure: CostBasis | None = None
    converged: bool = True

    def at(self, exposure: float) -> Choice:
        """The choice for a unit's own exposure: the next one up, so that it is never longer than it may be."""
        for choice in self.choices:
            if choice.exposure >= exposure - 1e-9:
                return choice
        return self.choices[-1]

    def as_data(self) -> dict[str, Any]:
        """For JSON."""
        return _plain(self)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> IntervalRecord:
        """From JSON; a key of a later version is passed over."""
        known = _known(cls, data)
        known["choices"] = tuple(Choice(**c) for c in data["choices"])
        for name in ("planned", "failure"):
            known[name] = None if data.get(name) is None else CostBasis(**data[name])
        for name in ("candidates", "candidate_costs", "candidate_low", "candidate_high"):
            known[name] = tuple(data.get(name, ()))
        return cls(**known)


@dataclass(frozen=True)
class OwnCounts:
    """One contractor's own part of a component's record."""

    events: int = 0
    rows: int = 0
    hours: float = 0.0


@dataclass(frozen=True)
class ModelRecord:
    """Everything learned about one model: fits by component, and its intervals by task for one contractor."""

    model: int
    name: str
    fits: Mapping[str, FitRecord] = field(default_factory=dict)
    intervals: Mapping[str, IntervalRecord] = field(default_factory=dict)


def _known(cls: type, data: Mapping[str, Any]) -> dict[str, Any]:
    names = {f.name for f in fields(cls)}
    return {name: value for name, value in data.items() if name in names}


def _tuples(data: Mapping[str, Any]) -> dict[str, Any]:
    return {name: tuple(value) if isinstance(value, list) else value for name, value in data.items()}


def curve_of(data: Mapping[str, Any] | None) -> Curve | None:
    """A curve from JSON."""
    return None if data is None else Curve(**_tuples(data))


def _plain(value: Any) -> Any:
    """A record as JSON: numbers short enough to keep, and null for what is not a number."""
    if is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(part) for part in value]
    if isinstance(value, bool) or value is None or isinstance(value, str | int):
        return value
    number = float(value)
    return float(f"{number:.6g}") if math.isfinite(number) else None
