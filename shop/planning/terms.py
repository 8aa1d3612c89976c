"""What a bench plan is asked and what it answers: frozen values, no clock, no tables."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

WEEKDAYS = frozenset(range(5))


@dataclass(frozen=True)
class DueUnit:
    """A unit that should come to the bench, and what each day of waiting or of coming early costs.

    ``due_early`` to ``due_late`` is the 80 % band of the day it falls due. ``late_per_day`` is the risk cost of each
    day in use past due (cost of a failure times how likely one more day brings it; for a unit on hold, the day without
    it); ``early_per_day`` is what a day of unused interval is worth. ``earliest`` and ``latest`` bound the drop-off;
    ``yard``: its jobs can be done in the contractor's yard.
    """

    key: str
    crew: str
    minutes: float
    due_early: date
    due: date
    due_late: date
    late_per_day: float
    early_per_day: float = 0.0
    earliest: date | None = None
    latest: date | None = None
    yard: bool = True


@dataclass(frozen=True)
class Crew:
    """``spares`` units may be away at no cost; each one more costs ``away_per_day`` on a working day, to the limit."""

    key: str
    contractor: str
    away_limit: int
    spares: int = 0
    away_per_day: float = 0.0
    trip: float = 0.0
    working_days: frozenset[int] = WEEKDAYS


@dataclass(frozen=True)
class BenchDay:
    """Bench minutes of one date: all of them, and those already promised beside booked visits."""

    on: date
    minutes: float
    promised: float = 0.0
    closed: bool = False


@dataclass(frozen=True)
class Booked:
    """A visit already agreed. It stays, and whatever else its crew brings that day needs no trip of its own."""

    crew: str
    on: date
    units: int
    minutes: float


@dataclass(frozen=True)
class YardMorning:
    """A morning the shop could spend at a contractor's yard: one trip of its own for many units, none left behind."""

    contractor: str
    on: date
    travel_minutes: float
    cost: float
    most_units: int


@dataclass(frozen=True)
class PlanTerms:
    """``turnaround_days``: bench days until a unit can be fetched. ``carry_days``: how long after the last day a unit
    that found no place waits, for its price. ``aim``: the search ends within this share of the optimum."""

    walk_in_share: float = 0.25
    turnaround_days: int = 2
    carry_days: int = 14
    aim: float = 0.005
    seconds: float = 18.0
    rounds: int = 8


@dataclass(frozen=True)
class Placed:
    unit: str
    crew: str
    on: date
    place: Literal["bench", "yard"]
    waiting_cost: float
    early_cost: float


@dataclass(frozen=True)
class Unplaced:
    """``reason`` is a kind, worded where it is shown with ``values``.

    - ``no_open_day``: no open day between the first and last day it may come
    - ``longer_than_a_day``: needs ``minutes``, no day has more than ``most_free`` for planned work
    - ``crew_away``: on every day with room, ``limit`` units of its crew would be away already
    - ``bench_full``: needs ``minutes``, no day it may come has more than ``most_free`` left
    - ``better_later``: a day exists, but waiting past the last day costs less
    """

    unit: str
    crew: str
    reason: str
    values: Mapping[str, float]


@dataclass(frozen=True)
class DayLoad:
    """Minutes of one day: free for planned work, agreed before, if all came when due, and with the plan."""

    on: date
    closed: bool
    available: float
    agreed: float
    when_due: float
    planned: float


@dataclass(frozen=True)
class PlanCosts:
    waiting: float
    early: float
    trips: float
    away: float
    left_over: float

    @property
    def total(self) -> float:
        return self.waiting + self.early + self.trips + self.away + self.left_over


@dataclass(frozen=True)
class BenchPlan:
    """``bound``: no plan costs less (proven by the solver). ``gap``: (total - bound) / total, at most this far off.

    ``ended``: ``optimal`` where the bound is reached, ``searched`` after all rounds, ``time`` when the clock ran out.
    """

    placed: tuple[Placed, ...]
    unplaced: tuple[Unplaced, ...]
    loads: tuple[DayLoad, ...]
    costs: PlanCosts
    bound: float
    gap: float
    ended: Literal["optimal", "searched", "time"]
    trips: int
    seconds: float = field(compare=False, default=0.0)
