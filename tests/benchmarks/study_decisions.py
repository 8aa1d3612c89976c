"""How good the decisions are where the truth is known. ``python -m tests.benchmarks.study_decisions [SIZE [SEED]]``."""

from __future__ import annotations

import sys
import time

import numpy as np

from tests.benchmarks.goals import at_least, at_most, held
from tests.reliability import interval_study, misuse_study

#: Largest mean and 95th percentile of the excess cost, where there is a goal.
INTERVAL_GOALS = {
    ("weibull", 10): (0.03, 0.10),
    ("weibull", 60): (0.01, 0.03),
    ("lognormal", 30): (0.05, None),
    ("bathtub", 30): (0.08, None),
}


def service_intervals(models: int = 200, seed: int = 7) -> None:
    """Excess cost of the learned interval over the best one not above the manual's."""
    print(f"Excess cost of the learned interval over the best one not above the manual's, {models} models")
    for kind in interval_study.KINDS:
        for failures in (10, 30, 60):
            excess, seconds = interval_study.regrets(np.random.default_rng([failures, seed]), kind, failures, models)
            mean_goal, tail_goal = INTERVAL_GOALS.get((kind, failures), (None, None))
            mean, tail = float(excess.mean()), float(np.percentile(excess, 95))
            print(
                f"  {kind:>14s} {failures:3d} failures  mean {_most(mean, mean_goal)}  95th {_most(tail, tail_goal)}"
                f"  {1000 * seconds / models:.0f} ms"
            )


def _most(value: float, goal: float | None) -> str:
    return f"{value:.4f}" if goal is None else at_most(value, goal)


def misuse(fleets: int = 500, seed: int = 1) -> None:
    """Coverage of the 90 % intervals, and how often the crew with the habit is said to cost more."""
    print(f"Cost of misuse, {fleets} fleets; 90 % intervals should cover 86-96 % where there are 50 events or more")
    for ratio, events, least, hard in (
        (1.0, 90.0, 50, False),
        (2.0, 90.0, 50, False),
        (3.0, 90.0, 50, False),
        (1.0, 90.0, 50, True),
        (2.0, 90.0, 50, True),
        (3.0, 90.0, 50, True),
        (2.0, 20.0, 10, False),
        (3.0, 20.0, 10, False),
    ):
        found = misuse_study.run(seed, ratio, fleets, events=events, least=least, hard_ground=hard)
        blamed = found["costs more"]
        if events < 50:
            covered = [f"{found[name]:.3f}" for name in ("ratio covered", "excess covered")]
            verdict = f"{blamed:.3f} (power, no goal)"
        else:
            covered = [held(found[name], 0.86, 0.96) for name in ("ratio covered", "excess covered")]
            verdict = f"{blamed:.3f}"
            if ratio == 1:
                verdict = at_most(blamed, 0.08 if hard else 0.06, 3)
            elif ratio == 3:
                verdict = at_least(blamed, 0.9)
        ground = "hard" if hard else "alike"
        print(
            f"  ratio {ratio:.0f}, {events:.0f} events, ground {ground}: ratio {covered[0]}  excess {covered[1]}"
            f"  costs more {verdict}"
        )


if __name__ == "__main__":
    start = time.perf_counter()
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    seeds = [int(sys.argv[2])] if len(sys.argv) > 2 else []
    service_intervals(int(200 * size), *seeds)
    misuse(int(500 * size), *seeds)
    print(f"{time.perf_counter() - start:.0f} s")
