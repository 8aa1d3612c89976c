"""Contractors with known truth, for what following the advice costs: places, the units that may stand there, prices.

Every unit that may ever be bought has its whole life drawn beforehand, in its own engine hours, by the wear of
:mod:`fleet.simulation`: parts age, are renewed when replaced, and units differ. A policy only decides when a life is
broken off, so that all policies meet the same units (common random numbers).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import COMPONENTS, TASKS
from fleet.simulation.parameters import Wear
from fleet.simulation.prices import REPAIRS, TASK_WORK
from fleet.simulation.scenario import ORDINARY_WEAR
from fleet.simulation.wear import RENEWED_BY, WearState, WearTable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Maker's hours between services of what wear runs on: those of the demo's models.
SERVICE_HOURS = {"grease": 50.0, "arrestor": 50.0, "air_filter": 50.0, "fuel_filter": 100.0, "plug": 100.0}
#: Hours of one step of wear.
STEP = 10.0
#: Hours at which two ways of aging cost the same: about three seasons.
TURN = 450.0
#: Seasons on record before any policy begins.
KNOWN = 3
#: A season takes this share of its year.
IN_SEASON = 8.5 / 12
#: How often work that could be claimed under warranty is claimed.
CLAIMED = 0.8


@dataclass(frozen=True)
class Setting:
    """What an owner would say of himself. ``life`` stretches the life of parts, ``aging`` how much wear grows.

    ``differ`` is the variance of the units' factor; ``hours`` a place's mean season; money is in one currency.
    """

    name: str
    places: int = 15
    hours: float = 150.0
    life: float = 1.0
    aging: float = 1.0
    differ: float = 0.1
    price: float = 389.0
    resale: float = 0.60
    warranty: int = 24
    labor: float = 90.0
    day_down: float = 60.0
    spare: bool = False
    rate: float = 0.08
    seasons: int = 20

    @property
    def down(self) -> float:
        return 0.0 if self.spare else self.day_down


#: Twelve that owners would recognize.
SETTINGS = (
    Setting("ordinary"),
    Setting("light use", hours=50.0),
    Setting("hard use", hours=300.0),
    Setting("dear downtime", day_down=200.0),
    Setting("spare on the trailer", spare=True),
    Setting("few repairs", life=2.0),
    Setting("many repairs", life=0.6),
    Setting("hardly any wear", aging=0.15),
    Setting("steep wear", aging=1.6),
    Setting("units differ much", differ=0.6),
    Setting("hardly any resale", resale=0.35, warranty=12),
    Setting("five units", places=5),
)


def wear_of(setting: Setting) -> Mapping[str, Wear]:
    """The demo's ordinary wear, its parts' life stretched, and its growth turned up or down about three seasons."""
    found = {}
    for name, wear in ORDINARY_WEAR.items():
        shape = 1 + (wear.shape - 1) * setting.aging
        # On hours since service the turn lies within a service.
        turn = TURN if wear.since_share < 1 else SERVICE_HOURS[TASKS[RENEWED_BY[COMPONENTS.index(name)]]]
        scale = turn / (turn / wear.scale) ** (wear.shape / shape)
        found[name] = replace(wear, shape=shape, scale=scale * setting.life, shows=1.0)
    return found


@dataclass(frozen=True)
class Lives:
    """Failures of every unit, unit after unit, by its own hours: those of unit u are first[u] .. first[u + 1]."""

    first: Ints
    hour: Floats
    component: Ints
    parts: Floats
    labor: Floats
    days: Floats
    claimed: NDArray[np.bool_]


@dataclass(frozen=True)
class World:
    """A setting's lives and usage. ``hours`` (places, seasons) is what each place works in each season.

    ``first_age`` (places,) seasons behind the units that stand there when the record begins.
    """

    setting: Setting
    lives: Lives
    hours: Floats
    usual: Floats
    first_age: Ints

    @property
    def seasons(self) -> int:
        return self.hours.shape[1]

    def unit(self, place: int, season: int, second: bool) -> int:
        """The unit that may be bought for a place before a season, or (``second``) within it."""
        return (place * self.seasons + season) * 2 + second


def draw_world(setting: Setting, rng: np.random.Generator) -> World:
    """Draw a contractor: usage as in :class:`fleet.simulation.parameters.Usage`, and all lives."""
    seasons = KNOWN + setting.seasons
    usual = setting.hours * rng.lognormal(-0.04, 0.29, setting.places)
    hours = usual[:, None] * rng.lognormal(-0.025, 0.22, (setting.places, seasons))
    first_age = np.where(rng.random(setting.places) < 0.72, rng.integers(1, 4, setting.places), 0)
    # Nobody keeps a unit longer than the horizon; the first ones have seasons behind them.
    left = np.cumsum(hours[:, ::-1], axis=1)[:, ::-1].copy()
    left[:, 0] += first_age * usual
    wear = wear_of(setting)
    table = WearTable.of([_OneModel(wear)])  # type: ignore[list-item]
    lives = draw_lives(table, np.repeat(left.ravel(), 2), setting.differ, rng)
    return World(setting, lives, hours, usual, first_age)


@dataclass(frozen=True)
class _OneModel:
    wear: Mapping[str, Wear]


def draw_lives(table: WearTable, until: Floats, differ: float, rng: np.random.Generator) -> Lives:
    """Run each unit to its hours, serviced as the maker says, every failure mended at once; (n,) hours."""
    order = np.argsort(-until)
    count = len(until)
    total = np.zeros(count)
    state = WearState(table, np.zeros(count, dtype=np.int64), rng, differ)
    tasks = [(TASKS.index(task), hours) for task, hours in SERVICE_HOURS.items()]
    replaced_share = np.array([REPAIRS[c].replaced_share for c in COMPONENTS])
    stress = np.ones((1, len(COMPONENTS)))
    found: list[tuple[Ints, Ints, Floats]] = []
    goal = until[order]
    while (wanted := np.minimum(STEP, goal - total)).max() > 1e-9:
        run, broken = state.step(np.maximum(wanted, 0.0), stress)
        total += run
        if broken.unit.size:
            found.append((broken.unit, broken.component, total[broken.unit].copy()))
            state.renew_part(
                broken.unit, broken.component, rng.random(broken.unit.size) < replaced_share[broken.component]
            )
        for task, every in tasks:
            due = np.flatnonzero(state.since[:, task] >= every)
            state.renew_task(due, np.full(due.size, task))
    unit, component, hour = (np.concatenate(column) for column in zip(*found, strict=True))
    unit = order[unit]
    rank = np.lexsort((hour, unit))
    unit, component, hour = unit[rank], component[rank], hour[rank]
    n = len(unit)
    yard = np.array([REPAIRS[c].yard for c in COMPONENTS])[component]
    return Lives(
        first=np.searchsorted(unit, np.arange(count + 1)),
        hour=hour,
        component=component,
        parts=_drawn("parts", component, rng),
        labor=_drawn("minutes", component, rng) / 60,
        days=np.where(yard, rng.random(n) < 0.25, 1.0 + rng.poisson(1.5, n)),
        claimed=rng.random(n) < CLAIMED,
    )


def _drawn(what: str, component: Ints, rng: np.random.Generator) -> Floats:
    low, typical, high = np.array([getattr(REPAIRS[c], what) for c in COMPONENTS]).T
    return rng.triangular(low[component], typical[component], high[component])


def service_an_hour(setting: Setting) -> tuple[float, float]:
    """Parts, and labor hours, of planned service an engine hour."""
    parts = sum(TASK_WORK[task][1] / every for task, every in SERVICE_HOURS.items())
    return parts, sum(TASK_WORK[task][0][1] / 60 / every for task, every in SERVICE_HOURS.items())
