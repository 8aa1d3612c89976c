"""When tasks come round, who does them, and what is found: the manual as each crew keeps to it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import AS_FOUND, COMPONENTS, SERVICE_DONE, TASK_COMPONENT, TASKS
from fleet.simulation.parameters import Interval, Parameters
from fleet.simulation.prices import LOOK_TASKS, TASK_REPLACES
from fleet.simulation.roster import Roster
from fleet.simulation.usage import Bools, Floats, Ints
from fleet.simulation.wear import WearState, WearTable

DAYS_PER_MONTH = 365.25 / 12
LOOKED, SERVICED, REPLACED = (SERVICE_DONE.index(word) for word in SERVICE_DONE)

# Common practice, where a maker gives no figure: hours and months, no source claimed.
PRACTICE: dict[str, tuple[float, float]] = {
    "grease": (50, 12),
    "arrestor": (50, 12),
    "port": (150, np.inf),
    "air_filter": (10, np.inf),
    "fuel_filter": (100, 12),
    "plug": (100, 12),
    "mounts": (50, 12),
    "stop_switch": (50, 12),
    "clutch": (150, 12),
    "head": (25, np.inf),
    "lay_up": (np.inf, 12),
    "review": (np.inf, 12),
}

# Component column of each task; -1 where the task looks at no single component.
COMPONENT_OF_TASK = np.array([COMPONENTS.index(TASK_COMPONENT[t]) if t in TASK_COMPONENT else -1 for t in TASKS])

# Task: the finding of a look at a failed part, what is found when worn, and from what share of its wear on.
_FINDINGS: dict[str, tuple[str, str, str, float]] = {
    "grease": ("dry", "worn", "ok", 0.10),
    "arrestor": ("blocked", "partly", "clear", 0.05),
    "port": ("partly", "partly", "clear", 0.7),
    "air_filter": ("blocked", "partly", "ok", 0.05),
    "fuel_filter": ("failed", "partly", "ok", 0.08),
    "plug": ("failed", "worn", "ok", 0.05),
    "mounts": ("failed", "worn", "ok", 0.15),
    "stop_switch": ("failed", "worn", "ok", 0.10),
    "clutch": ("failed", "worn", "ok", 0.20),
    "head": ("failed", "worn", "ok", 0.40),
    "lay_up": ("ok", "ok", "ok", 1.0),
    "review": ("ok", "ok", "ok", 1.0),
}
_FAILED_WORD, _WORN_WORD, _GOOD_WORD = (
    np.array([AS_FOUND.index(_FINDINGS[task][column]) for task in TASKS]) for column in (0, 1, 2)
)
_WORN_FROM = np.array([_FINDINGS[task][3] for task in TASKS])
_IS_LOOK = np.isin(TASKS, LOOK_TASKS)
_REPLACES = np.array([TASK_REPLACES.get(task, 0.0) for task in TASKS])
ARRESTOR = TASKS.index("arrestor")
HOLED, MISSING, LOOSE = (AS_FOUND.index(word) for word in ("holed", "missing", "loose"))
_MAY_BE_LOOSE = np.isin(TASKS, ("grease", "mounts", "head"))


def manual_intervals(parameters: Parameters) -> tuple[Floats, Floats]:
    """Hours and days of every model's tasks, (models, tasks); infinite where a task has no such limit."""
    hours, days = np.full((2, len(parameters.models), len(TASKS)), np.inf)
    for m, model in enumerate(parameters.models):
        for t, task in enumerate(TASKS):
            given = model.intervals.get(task, Interval())
            for table, value, practice in (
                (hours, given.hours, PRACTICE[task][0]),
                (days, given.months, PRACTICE[task][1]),
            ):
                table[m, t] = practice if value is None else np.inf if isinstance(value, str) else float(value)
    return hours, days * DAYS_PER_MONTH


class ServicePlan:
    """When each unit's next round of each task happens, given how its crew keeps to the manual.

    ``limit`` is the part of the interval at which the round is done: drawn anew for each round.
    """

    def __init__(self, parameters: Parameters, roster: Roster, wear: WearState, rng: np.random.Generator) -> None:
        hours, days = manual_intervals(parameters)
        self.interval_hours, self.interval_days = hours[roster.model], days[roster.model]
        table = WearTable.of(parameters.models)
        component = np.maximum(COMPONENT_OF_TASK, 0)
        self._shape, self._scale = table.shape[roster.model][:, component], table.scale[roster.model][:, component]
        self._by_clock = (table.since_share[roster.model] > 0)[:, component]
        self._rng = rng
        self._wear = wear

        def habit(name: str) -> NDArray[np.float64]:
            return np.array([getattr(crew.service, name) for crew in parameters.crews], dtype=float)

        self._lateness, self._sd, self._skip = habit("lateness"), habit("lateness_sd"), habit("skip")
        self.limit = np.ones_like(self.interval_hours)
        self.last_day = np.zeros(self.interval_hours.shape)
        everyone, every_task = np.nonzero(self.limit)
        self.draw_limits(everyone, every_task, roster.crew[everyone])

    def draw_limits(self, unit: Ints, task: Ints, crew: Ints) -> None:
        """Decide how late the coming round will be; a round passed over waits one more interval."""
        late = self._lateness[crew] * np.exp(self._rng.normal(0, 1, len(unit)) * self._sd[crew])
        self.limit[unit, task] = late + (self._rng.random(len(unit)) < self._skip[crew])

    def begin(self, unit: Ints, day: Ints, used: Bools) -> None:
        """Start the clocks of units registered on ``day``; used ones come with part of their rounds already run."""
        part = self._rng.random((len(unit), len(TASKS))) * 0.85 * used[:, None]
        hours = self.interval_hours[unit]
        self._wear.since[unit] = part * np.where(np.isfinite(hours), hours, 0.0)
        self.last_day[unit] = np.asarray(day)[:, None] - part * 240.0

    def ratio(self, day: int) -> Floats:
        """(units, tasks) share of the interval that has run, by hours or date, whichever is further."""
        return np.maximum(self._wear.since / self.interval_hours, (day - self.last_day) / self.interval_days)

    def ready(self, day: int) -> Bools:
        """(units, tasks) whose round the crew would do now."""
        return self.ratio(day) >= self.limit

    def do(self, day: int, unit: Ints, task: Ints, crew: Ints) -> tuple[Ints, Ints, Bools]:
        """Do these rounds: findings, what was done, and which of them found a failed component.

        Every round starts its task's clock again; what is replaced (or mended after a failure) is a new part (or the
        old one, mended).
        """
        rng, count = self._rng, len(unit)
        component = COMPONENT_OF_TASK[task]
        has_part = component >= 0
        event = has_part & self._wear.failed[unit, np.maximum(component, 0)]
        clock = np.where(
            self._by_clock[unit, task], self._wear.since[unit, task], self._wear.age[unit, np.maximum(component, 0)]
        )
        worn = np.where(
            has_part,
            (clock / self._scale[unit, task]) ** self._shape[unit, task],
            self.ratio(day)[unit, task],
        ) * rng.lognormal(0, 0.5, count)
        found = np.where(worn > _WORN_FROM[task], _WORN_WORD[task], _GOOD_WORD[task])
        loose = (found == AS_FOUND.index("worn")) & _MAY_BE_LOOSE[task] & (rng.random(count) < 0.3)
        found = np.where(loose, LOOSE, found)
        screen = rng.choice([_FAILED_WORD[ARRESTOR], HOLED, MISSING], count, p=[0.8, 0.15, 0.05])
        found = np.where(event, np.where(task == ARRESTOR, screen, _FAILED_WORD[task]), found)
        replaces = rng.random(count) < _REPLACES[task]
        # A failed check or a holed screen is put right with a new part; a blocked screen or dry gearbox is not.
        must = event & np.isin(found, (HOLED, MISSING, AS_FOUND.index("failed")))
        done = np.where(replaces | must, REPLACED, np.where(_IS_LOOK[task], LOOKED, SERVICED))
        done = np.where(event & (done == LOOKED), SERVICED, done)
        renewed = has_part & (event | (done == REPLACED))
        self._wear.renew_part(unit[renewed], component[renewed], done[renewed] == REPLACED)
        self._wear.renew_task(unit, task)
        self.last_day[unit, task] = day
        self.draw_limits(unit, task, crew)
        return found, done, event
