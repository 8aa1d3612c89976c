"""What the learned service interval costs above the best one not above the manual's, truth known."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr

from fleet.reliability import Lifetimes, service_interval

HORIZON = 600.0
_NODES = np.polynomial.legendre.leggauss(3)
PLANNED = 12.0

#: Hazard per hour at (age, since, neglect ratio 3 Q / age).
Hazard = Callable[[np.ndarray, np.ndarray, np.ndarray], np.ndarray]


@dataclass(frozen=True)
class Truth:
    """One simulated model: its hazard, the manual's interval and the cost of a failure."""

    hazard: Hazard
    manual: float
    failure_cost: float

    def cost_rate(self, interval: float, mesh: int = 60) -> float:
        """Cost per hour of an interval up to the horizon, by fine integration on a mesh laid anew in every cycle."""
        cycles = int(np.ceil(HORIZON / interval - 1e-9))
        start = (np.arange(cycles) * interval)[:, None]
        # Finer just after a service, where hazards bend most.
        edges = start + np.linspace(0, 1, mesh + 1) ** 2 * np.minimum(interval, HORIZON - start)
        width = np.diff(edges, axis=1)
        hazard = np.zeros_like(width)
        for node, weight in zip(*_NODES, strict=True):
            age = edges[:, :-1] + 0.5 * (1 + node) * width
            since = age - start
            past = (np.arange(cycles)[:, None] * interval**3 + since**3) / (3 * self.manual**2)
            hazard += 0.5 * weight * self.hazard(age, since, 3 * past / age) * width
        step = hazard.ravel()
        survival = np.exp(-np.concatenate([[0.0], np.cumsum(step)]))
        inside = np.where(step > 1e-8, -np.expm1(-step) / np.maximum(step, 1e-300), 1 - step / 2)
        lived = float((survival[:-1] * inside * width.ravel()).sum())
        planned = float(survival[mesh * np.arange(1, cycles)].sum())
        return float(self.failure_cost * (1 - survival[-1]) + PLANNED * planned) / lived

    def best(self) -> float:
        """Least cost of an interval not above the manual's: even parts of the horizon, and a fine grid of others."""
        even = HORIZON / np.arange(np.ceil(HORIZON / self.manual), np.floor(HORIZON / (0.06 * self.manual)) + 1)
        grid = self.manual * np.linspace(0.06, 1.0, 95)
        tried = np.concatenate([even[even <= self.manual], grid])
        # A rough sum tells the few that can be the best apart from the rest.
        rough = np.array([self.cost_rate(float(interval), 10) for interval in tried])
        return min(self.cost_rate(float(interval)) for interval in tried[np.argsort(rough)[:16]])


def weibull(rng: np.random.Generator, manual: float) -> Hazard:
    """Hours since service alone."""
    shape, scale = rng.uniform(1.2, 4.0), manual * rng.uniform(0.8, 4.0)
    return lambda age, since, ratio: shape / scale * (np.maximum(since, 1e-3) / scale) ** (shape - 1)


def two_clocks(rng: np.random.Generator, manual: float) -> Hazard:
    """Age and hours since service."""
    level, by_age, by_since = rng.uniform(0.05, 0.6) / manual, rng.uniform(0, 1.0), rng.uniform(0, 3.0)
    return lambda age, since, ratio: (
        level * (np.maximum(age, 1e-3) / HORIZON * 2) ** by_age * (np.maximum(since, 1e-3) / manual) ** by_since
    )


def hidden_damage(rng: np.random.Generator, manual: float) -> Hazard:
    """Past neglect stays in the component."""
    level, by_since, by_neglect = rng.uniform(0.05, 0.4) / manual, rng.uniform(0, 1.5), rng.uniform(0.3, 1.0)
    return lambda age, since, ratio: (
        level * (np.maximum(since, 1e-3) / manual) ** by_since * np.maximum(ratio, 1e-3) ** by_neglect
    )


def lognormal(rng: np.random.Generator, manual: float) -> Hazard:
    """Lognormal life since service."""
    sigma, median = rng.uniform(0.4, 1.0), manual * rng.uniform(0.9, 4.0)

    def hazard(age: np.ndarray, since: np.ndarray, ratio: np.ndarray) -> np.ndarray:
        z = np.log(np.maximum(since, 1e-3) / median) / sigma
        return np.exp(-0.5 * z**2 - 0.5 * np.log(2 * np.pi) - log_ndtr(-z)) / (sigma * np.maximum(since, 1e-3))

    return hazard


def bathtub(rng: np.random.Generator, manual: float) -> Hazard:
    """Early trouble after service, then wear."""
    early, late = manual * rng.uniform(5, 30), manual * rng.uniform(1.0, 3.0)
    shape = rng.uniform(2.5, 4.5)

    def hazard(age: np.ndarray, since: np.ndarray, ratio: np.ndarray) -> np.ndarray:
        t = np.maximum(since, 1e-2)
        return 0.6 / early * (t / early) ** -0.4 + shape / late * (t / late) ** (shape - 1)

    return hazard


def age_alone(rng: np.random.Generator, manual: float) -> Hazard:
    """Age: the task does not help, and the manual's interval is best."""
    level, by_age = rng.uniform(0.05, 0.6) / manual, rng.uniform(0.5, 2.0)
    return lambda age, since, ratio: level * (np.maximum(age, 1e-3) / HORIZON * 2) ** by_age * np.ones_like(since)


KINDS = {
    "weibull": weibull,
    "two_clocks": two_clocks,
    "hidden_damage": hidden_damage,
    "lognormal": lognormal,
    "bathtub": bathtub,
    "age_alone": age_alone,
}


def draw_truth(rng: np.random.Generator, kind: str) -> Truth:
    """A model of that kind with random parameters; failure costs 4 to 25 services."""
    manual = float(rng.choice([25.0, 40.0, 50.0, 100.0]))
    return Truth(KINDS[kind](rng, manual), manual, PLANNED * rng.uniform(4, 25))


def observe(rng: np.random.Generator, truth: Truth, failures: int, crews: int = 6) -> tuple[Lifetimes, np.ndarray]:
    """Histories of units served near the manual's interval by crews of different habits, until enough have failed."""
    habit = np.exp(rng.normal(0.05, 0.3, crews))
    rows: list[tuple[float, float, float, float, int, int]] = []
    count, unit = 0, 0
    while count < failures and unit < 4000:
        crew = int(rng.integers(crews))
        watched = 0.0
        while watched < HORIZON and count < failures:
            age, past, limit = 0.0, 0.0, -np.log(rng.random())
            unit += 1
            while watched < HORIZON:
                planned = truth.manual * habit[crew] * np.exp(rng.normal(0, 0.2))
                planned = min(planned, HORIZON - watched)
                step = planned / 40
                since = (np.arange(40) + 0.5) * step
                ages = age + since
                ratio = 3 * (past + since**3 / (3 * truth.manual**2)) / ages
                total = np.cumsum(truth.hazard(ages, since, ratio) * step)
                if total[-1] >= limit:
                    end = float(np.interp(limit, np.concatenate([[0.0], total]), np.arange(41) * step))
                    rows.append((age, age + end, 1.0, 0.0, unit, crew))
                    count += 1
                    watched += end
                    break
                limit -= total[-1]
                rows.append((age, age + planned, 0.0, 0.0, unit, crew))
                past += planned**3 / (3 * truth.manual**2)
                age += planned
                watched += planned
    entry, lower, event, since0, who, crew_of = (np.array(column) for column in zip(*rows, strict=True))
    return (
        Lifetimes(
            entry=entry, lower=lower, upper=np.where(event == 1, lower, np.inf), since=since0, unit=who.astype(int)
        ),
        crew_of.astype(int),
    )


def regrets(rng: np.random.Generator, kind: str, failures: int, models: int) -> tuple[np.ndarray, float]:
    """Relative excess cost of the learned interval, one for each simulated model; and processor seconds to learn."""
    out, seconds = [], 0.0
    for _ in range(models):
        truth = draw_truth(rng, kind)
        rows, crew = observe(rng, truth, failures)
        start = time.process_time()
        answer = service_interval(
            rows, manual=truth.manual, planned_cost=PLANNED, failure_cost=truth.failure_cost, horizon=HORIZON, crew=crew
        )
        seconds += time.process_time() - start
        out.append(truth.cost_rate(float(answer.interval[0])) / truth.best() - 1)
    return np.array(out), seconds
