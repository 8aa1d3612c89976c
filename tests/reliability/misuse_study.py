"""Simulated fleets with known cost of running without guards."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fleet.reliability import excess_failures

COST = 180.0


@dataclass(frozen=True)
class Fleet:
    """Arguments of ``excess_failures`` and the truth behind them."""

    arguments: dict[str, Any]
    ratio: float
    excess: np.ndarray
    habit: int
    events: int


def simulate(
    rng: np.random.Generator, ratio: float, *, crews: int = 5, events: float = 90.0, hard_ground: bool = False
) -> Fleet:
    """Five crews; crew 0 runs 60-95 % without guards where the ground is hard, 40-80 % otherwise."""
    units = 14
    share = rng.uniform(0.03, 0.25, crews)
    share[0] = rng.uniform(0.6, 0.95) if hard_ground else rng.uniform(0.4, 0.8)
    pace = 1 / rng.uniform(40, 120, crews)
    ground = np.exp(rng.normal(0, 0.2, crews))
    if hard_ground:
        ground[0] = rng.uniform(1.8, 2.5)
    hours = rng.uniform(150, 450, (crews, units))
    # The rate that gives about that many failures.
    rate = events / (ground * hours.sum(axis=1) * (1 + share * (ratio - 1))).sum()
    looks: list[tuple[int, float, float, float]] = []
    failures: list[tuple[int, float, float]] = []
    excess = np.zeros(crews)
    for c in range(crews):
        for u in range(units):
            unit = c * units + u
            _one_unit(
                rng, unit, hours[c, u], share[c], pace[c], rate * ground[c], ratio, looks, failures, excess[c : c + 1]
            )
    look = np.array(looks)
    failure = np.array(failures).reshape(-1, 3)
    arguments = {
        "unit": np.arange(crews * units),
        "crew": np.repeat(np.arange(crews), units),
        "entry": np.zeros(crews * units),
        "end": hours.ravel(),
        "look_unit": look[:, 0].astype(int),
        "look_hour": look[:, 1],
        "look_found": look[:, 2],
        "look_left": look[:, 3],
        "failure_unit": failure[:, 0].astype(int),
        "failure_hour": failure[:, 1],
        "failure_off": np.where(rng.random(len(failure)) < 0.9, failure[:, 2], np.nan),
        "failure_cost": COST,
    }
    return Fleet(arguments, ratio, excess, 0, len(failure))


def _one_unit(
    rng: np.random.Generator,
    unit: int,
    hours: float,
    share: float,
    pace: float,
    rate: float,
    ratio: float,
    looks: list,
    failures: list,
    excess: np.ndarray,
) -> None:
    """One unit's guard, looks (about every 25 h) and failures; the shop sends it back with the guard on."""
    now, off = 0.0, float(rng.random() < share)
    next_look = rng.uniform(0, 30)
    while now < hours:
        change = rng.exponential(1 / (pace * ((1 - share) if off else share)))
        broken = rng.exponential(1 / (rate * (ratio if off else 1.0)))
        step = min(change, broken, next_look - now, hours - now)
        excess[0] += rate * (ratio - 1) * off * step
        now += step
        if now >= hours:
            return
        if step == broken:
            failures.append((unit, now, off))
            off = 0.0
            looks.append((unit, now, np.nan, 0.0))
        elif step == change:
            off = 1.0 - off
        else:
            refit = float(off and rng.random() < 0.15)
            looks.append((unit, now, off, 0.0 if refit else off))
            off = 0.0 if refit else off
            next_look = now + rng.uniform(15, 35)


def run(
    seed: int, ratio: float, fleets: int, *, events: float = 90.0, least: int = 50, hard_ground: bool = False
) -> dict[str, float]:
    """Coverage of the 90 % intervals and how often the crew with the habit is said to cost more."""
    inside_ratio, inside_excess, verdicts, wrong = [], [], [], []
    number = 0
    while len(verdicts) < fleets:
        rng = np.random.default_rng([seed, number])
        number += 1
        fleet = simulate(rng, ratio, events=events, hard_ground=hard_ground)
        if fleet.events < least:
            continue
        answer = excess_failures(**fleet.arguments)
        inside_ratio.append(answer.ratio_low <= ratio <= answer.ratio_high)
        inside_excess.append((answer.excess_low <= fleet.excess) & (fleet.excess <= answer.excess_high))
        verdicts.append(answer.verdict[0] == "costs_more")
        wrong.append(any(word == "costs_more" for word in answer.verdict))
    return {
        "ratio covered": float(np.mean(inside_ratio)),
        "excess covered": float(np.mean(inside_excess)),
        "costs more": float(np.mean(verdicts)),
        "any crew": float(np.mean(wrong)),
    }
