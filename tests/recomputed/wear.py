"""What an interval costs, worked out again: wear on two clocks, hour by hour, and the cost of a life of 600 hours.

log hazard = level + alpha log age + delta log since + guard and crew conditions + crew + model terms + a step for each
eighth of the manual's interval (+ psi log of past neglect), clocks in units of the manual's interval, with the priors
written beside each term below. The posterior is taken as normal about its mode, as described; the mode is found by a
general-purpose optimizer, cells are one hour long, and a life is followed in half hours.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from tests.recomputed.components import TASK_OF, Stretch
from tests.recomputed.guards import Guard
from tests.recomputed.reading import Party, number

Floats = NDArray[np.float64]
LEAST_COST = ("gearbox", "ignition", "intake", "fuel")
LIFE, YOUNGEST, STEP = 600.0, 0.5, 0.5
EIGHTHS, OWN_CREWS = 8, 24

# Common practice: minutes and parts of a service; minutes, parts and days down of a repair. It counts as ten jobs.
SERVICE = {"grease": (5, 1), "plug": (5, 5), "air_filter": (3, 5), "fuel_filter": (15, 6)}
REPAIR = {"gearbox": (20, 75, 2), "ignition": (20, 40, 2), "intake": (30, 16, 2), "fuel": (20, 13, 2)}
FAILED_LOOKS = {"blocked", "holed", "missing", "dry", "failed"}


def event_costs(parties: dict[str, Party], whose: Party, component: str) -> tuple[float, float]:
    """Cost of one service and of one failure, by the ledger's averages, in one contractor's money."""
    task = TASK_OF[component]
    jobs: list[list[float | None]] = []
    broken: list[list[float | None]] = []
    for party in parties.values():
        for unit in party.units:
            jobs += [
                [number(r["minutes"]), number(r["parts_cost"])]
                for r in unit.services
                if r["task"] == task and r["done"] != "looked" and r["as_found"] not in FAILED_LOOKS
            ]
            broken += [
                [number(r["minutes"]), number(r["parts_cost"]), number(r["downtime_days"])]
                for r in unit.failures
                if r["component"] == component and r["found"] == "in_use"
            ]

    def mean(rows: list[list[float | None]], column: int, practice: float) -> float:
        told = [v for r in rows if (v := r[column]) is not None]
        return float(f"{(sum(told) + 10 * practice) / (len(told) + 10):.3g}")

    rate = float(whose.settings["labour_rate"]) / 60
    planned = mean(jobs, 0, SERVICE[task][0]) * rate + mean(jobs, 1, SERVICE[task][1])
    practice = REPAIR[component]
    failure = mean(broken, 0, practice[0]) * rate + mean(broken, 1, practice[1])
    if whose.settings["spare_on_trailer"] != "yes":
        failure += mean(broken, 2, practice[2]) * float(whose.settings["downtime_per_day"])
    return planned, failure


@dataclass
class Cells:
    """Hours of exposure: width, clocks, who, conditions; ``looked`` numbers the interval a found failure lies in."""

    width: Floats
    age: Floats
    since: Floats
    neglect: Floats
    model: NDArray[np.int64]
    crew: NDArray[np.int64]
    chance: Floats
    share: Floats
    event: NDArray[np.bool_]
    looked: NDArray[np.int64]


def cells_of(
    rows: Sequence[Sequence[Stretch]], reference: Sequence[float], guards: dict[int, Guard]
) -> tuple[Cells, list[int]]:
    """One-hour cells of every model's stretches whose service history is known, and each model's failures in them."""
    hours: dict[tuple[str, str], float] = defaultdict(float)
    off: dict[tuple[str, str], float] = defaultdict(float)
    table: list[tuple[float, ...]] = []
    crews: Counter[tuple[str, str]] = Counter()
    failures = [sum(s.failed and s.since is not None for s in found) for found in rows]
    number_of_look = 0
    raw = []
    for g, found in enumerate(rows):
        manual = reference[g]
        past: dict[int, tuple[float, float]] = {}  # by unit: where its history last ended, neglect so far
        for s in found:
            shift = s.at - s.entry
            for k in range(max(1, math.ceil(s.last - s.entry))):
                middle = min(s.entry + k + 0.5, s.last)
                crew = (s.unit.contractor, s.crew)
                wide = min(1.0, s.last - s.entry - k)
                hours[crew] += wide
                off[crew] += wide * guards[id(s.unit)].chance(shift + middle)
            if s.since is None:
                continue
            end, neglect = past.get(id(s.unit), (math.nan, 0.0))
            if not (abs(s.entry - end) < 1e-3 and s.entry > 0):
                neglect = s.entry / 3  # a past nobody wrote down counts as well kept
            edges = [s.entry, s.last] if not s.failed or s.exact else sorted({s.entry, s.lower, s.last})
            for low, high in zip(edges, edges[1:]):  # noqa: B905, RUF007
                inside = s.failed and not s.exact and low >= s.lower
                parts = max(1, math.ceil((high - low) / 1.0))
                for k in range(parts):
                    a, b = low + (high - low) * k / parts, low + (high - low) * (k + 1) / parts
                    raw.append((g, s, a, b, False, number_of_look if inside else -1, neglect))
            if s.failed and s.exact:
                raw.append((g, s, s.last, s.last, True, -1, neglect))
            number_of_look += s.failed and not s.exact
            after = s.since + s.last - s.entry
            past[id(s.unit)] = s.last, neglect + (after**3 - s.since**3) / (3 * manual**2)
            crews[s.unit.contractor, s.crew] += s.lower - s.entry
    mean = sum(off.values()) / max(sum(hours.values()), 1e-9)
    rank = {crew: min(n, OWN_CREWS) for n, (crew, _h) in enumerate(crews.most_common())}
    for g, s, a, b, event, looked, neglect in raw:
        manual, crew = reference[g], (s.unit.contractor, s.crew)
        middle = (a + b) / 2
        since = s.since + middle - s.entry
        gone = neglect + (since**3 - s.since**3) / (3 * manual**2)
        table.append(
            (
                b - a, max(middle, YOUNGEST), max(since, YOUNGEST),
                math.log((3 * gone + manual) / (middle + manual)), g, rank[crew],
                guards[id(s.unit)].chance(s.at + middle - s.entry), off[crew] / max(hours[crew], 1e-9) - mean,
                event, looked,
            )
        )  # fmt: skip
    columns = [np.array(c) for c in zip(*table, strict=True)]
    kinds = (float, float, float, float, np.int64, np.int64, float, float, bool, np.int64)
    return Cells(*(c.astype(k) for c, k in zip(columns, kinds, strict=True))), failures


class Wear:
    """The posterior of one component's wear, normal about its mode, with or without the term for past neglect."""

    def __init__(self, cells: Cells, reference: Sequence[float], *, neglect: bool) -> None:
        self.reference, self.neglect = np.array(reference), neglect
        self.crews, self.models = int(cells.crew.max()) + 1, len(reference)
        scale = np.log(self.reference[cells.model])
        since, age = np.log(cells.since) - scale, np.log(cells.age) - scale
        bins = np.minimum((cells.since / self.reference[cells.model] * EIGHTHS).astype(int), EIGHTHS)
        columns = [np.ones_like(since), age, since, cells.chance, cells.share]
        events = int(cells.event.sum()) + len(set(cells.looked[cells.looked >= 0].tolist()))
        level = math.log(max(events, 0.5) / cells.width.sum())
        # Mean and standard deviation of each term: level, age, since, guard, crew's share; then the groups.
        prior = [(level, 3.0), (0.1, 0.35), (1.2, 0.9), (0.0, 1.0), (0.0, 1.0)]
        if self.crews > 1:
            columns += [(cells.crew == c).astype(float) for c in range(self.crews)]
            prior += [(0.0, 0.35)] * self.crews
        if self.models > 1:
            own = [(cells.model == g).astype(float) for g in range(self.models)]
            columns += own + [part * since for part in own]
            prior += [(0.0, 0.5)] * self.models + [(0.0, 0.25)] * self.models
        columns += [(bins == k).astype(float) for k in range(EIGHTHS + 1)]
        prior += [(0.0, 0.1)] * (EIGHTHS + 1)
        if neglect:
            columns.append(cells.neglect)
            prior.append((0.3, 0.5))
        x = np.stack(columns, axis=1)
        mean, sd = (np.array(v) for v in zip(*prior, strict=True))
        plain = cells.looked < 0
        looks = cells.looked[~plain]
        count = int(looks.max()) + 1 if looks.size else 0

        plain_x, happened = x[plain], x[cells.event].sum(axis=0)
        insides = [inside for k in range(count) if (inside := np.flatnonzero(cells.looked == k)).size]

        def minus(beta: Floats) -> tuple[float, Floats, Floats]:
            mu = cells.width * np.exp(np.minimum(x @ beta, 50))
            value = float(mu[plain].sum() - happened @ beta + 0.5 * (((beta - mean) / sd) ** 2).sum())
            slope = plain_x.T @ mu[plain] - happened + (beta - mean) / sd**2
            bend = plain_x.T @ (mu[plain, None] * plain_x) + np.diag(sd**-2.0)
            for inside in insides:
                part, part_x = mu[inside], x[inside]
                mass = max(float(part.sum()), 1e-300)
                ratio = 1 / math.expm1(min(mass, 500.0))
                grown = part_x.T @ part
                value -= math.log(-math.expm1(-mass))
                slope = slope - ratio * grown
                bend = (
                    bend - ratio * (part_x.T @ (part[:, None] * part_x)) + ratio * (1 + ratio) * np.outer(grown, grown)
                )
            return value, slope, bend

        found = minimize(
            lambda b: minus(b)[:2], mean, jac=True, hess=lambda b: minus(b)[2], method="trust-exact",
            options={"gtol": 1e-6},
        )  # fmt: skip
        value, _slope, bend = minus(found.x)
        self.mode, self.covariance = found.x, np.linalg.inv(bend)
        self.evidence = -value - float(np.log(sd).sum()) - 0.5 * float(np.linalg.slogdet(bend)[1])
        weights = np.zeros((self.models, self.crews))
        np.add.at(weights, (cells.model, cells.crew), cells.width)
        weights[weights.sum(axis=1) == 0] = weights.sum(axis=0)
        self.crew_shares = weights / weights.sum(axis=1, keepdims=True)

    def draws(self, g: int, count: int, rng: np.random.Generator, off: float) -> Floats:
        """(level, age, since, neglect, eight steps), (count, 12), of one model with that share of hours unguarded."""
        beta = rng.multivariate_normal(self.mode, self.covariance, size=count)
        at = 5
        level, since = beta[:, 0] + off * beta[:, 3], beta[:, 2].copy()
        if self.crews > 1:
            level += beta[:, at : at + self.crews] @ self.crew_shares[g]
            at += self.crews
        if self.models > 1:
            level += beta[:, at + g]
            since += beta[:, at + self.models + g]
            at += 2 * self.models
        steps = beta[:, at : at + EIGHTHS]
        psi = beta[:, -1] if self.neglect else np.zeros(count)
        return np.column_stack([level, beta[:, 1], since, psi, steps])


class Study:
    """Both kinds of wear, with and without damage from past neglect, weighed by their evidence."""

    def __init__(self, cells: Cells, reference: Sequence[float]) -> None:
        self.kinds = [Wear(cells, reference, neglect=flag) for flag in (False, True)]
        self.weight = 1 / (1 + math.exp(self.kinds[0].evidence - self.kinds[1].evidence))

    def draws(self, g: int, off: float = 0.0, count: int = 400) -> Floats:
        rng = np.random.default_rng(11)
        second = round(count * self.weight)
        return np.concatenate(
            [kind.draws(g, n, rng, off) for kind, n in zip(self.kinds, (count - second, second), strict=True)]
        )


@dataclass(frozen=True)
class Life:
    """A life from new under one interval, for every draw: hours lived, services and failures, whatever they cost."""

    lived: Floats
    services: Floats
    failed: Floats

    def cost(self, planned: float, failure: float) -> Floats:
        """An hour's."""
        return (failure * self.failed + planned * self.services) / self.lived

    @property
    def risk(self) -> float:
        """Mean chance of a failure from one service to the next."""
        return float((self.failed / (1 + self.services)).mean())


def life(draws: Floats, manual: float, every: float) -> Life:
    """Followed step by step."""
    age = (np.arange(round(LIFE / STEP)) + 0.5) * STEP
    cycle = np.floor(age / every * (1 - 1e-12))
    since = age - cycle * every
    past = (cycle * every**3 + since**3) / 3
    terms = [
        np.ones_like(age),
        np.log(np.maximum(age, YOUNGEST) / manual),
        np.log(np.maximum(since, YOUNGEST) / manual),
    ]
    terms.append(np.log((3 * past / manual**2 + manual) / (age + manual)))
    log = draws[:, :4] @ np.stack(terms)
    log += draws[:, 4:][:, np.minimum((since / manual * EIGHTHS).astype(int), EIGHTHS - 1)]
    passed = np.cumsum(np.exp(log) * STEP, axis=1)
    alive = np.exp(-passed)
    before = np.concatenate([np.ones((len(draws), 1)), alive[:, :-1]], axis=1)
    lived = (0.5 * (before + alive)).sum(axis=1) * STEP
    times = np.arange(1, math.ceil(LIFE / every - 1e-9)) * every
    services = alive[:, np.minimum((times / STEP).astype(int), alive.shape[1] - 1)].sum(axis=1)
    return Life(lived, services, 1 - alive[:, -1])


def settings_most_run_under(parties: dict[str, Party], model: str, task: str) -> list[Party]:
    """A contractor for each setting (manual and money) that the most units of a model run under."""
    names = ("labour_rate", "downtime_per_day", "spare_on_trailer", "risk_limit", "confidence_gate")
    tally: Counter[tuple[object, ...]] = Counter()
    example: dict[tuple[object, ...], Party] = {}
    for party in parties.values():
        count = sum(u.model == model for u in party.units)
        if count:
            limit = party.limits[model][task]
            key = (limit.hours, limit.source, *(party.settings[n] for n in names))
            tally[key] += count
            example[key] = party
    most = max(tally.values())
    return [example[key] for key, count in tally.items() if count == most]
