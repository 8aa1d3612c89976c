"""How good the decisions are where the truth is known. ``python -m tests.benchmarks.study_decisions [SIZE [SEED]]``."""

from __future__ import annotations

import sys
import time

import numpy as np

from tests.reliability import interval_study, misuse_study


def service_intervals(models: int = 200, seed: int = 7) -> None:
    """Excess cost of the learned interval over the best one not above the manual's."""
    print(
        f"{'wear':>14s} {'failures':>9s} {'mean':>7s} {'95th':>7s} {'ms':>5s}   (relative excess cost, {models} models)"
    )
    for kind in interval_study.KINDS:
        for failures in (10, 30, 60):
            excess, seconds = interval_study.regrets(np.random.default_rng([failures, seed]), kind, failures, models)
            each = 1000 * seconds / models
            print(f"{kind:>14s} {failures:9d} {excess.mean():7.4f} {np.percentile(excess, 95):7.4f} {each:5.0f}")


def misuse(fleets: int = 500, seed: int = 1) -> None:
    """Coverage of the 90 % intervals, and how often the crew with the habit is said to cost more."""
    print(f"{'ratio':>6s} {'events':>7s} {'ground':>7s} {'ratio cov.':>11s} {'excess cov.':>12s} {'costs more':>11s}")
    for ratio, events, least, hard in (
        (1.0, 90.0, 50, False),
        (2.0, 90.0, 50, False),
        (3.0, 90.0, 50, False),
        (1.0, 90.0, 50, True),
        (3.0, 90.0, 50, True),
        (2.0, 20.0, 10, False),
        (3.0, 20.0, 10, False),
    ):
        found = misuse_study.run(seed, ratio, fleets, events=events, least=least, hard_ground=hard)
        print(
            f"{ratio:6.1f} {events:7.0f} {'hard' if hard else 'alike':>7s} {found['ratio covered']:11.3f} "
            f"{found['excess covered']:12.3f} {found['costs more']:11.3f}"
        )


if __name__ == "__main__":
    start = time.perf_counter()
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    seeds = [int(sys.argv[2])] if len(sys.argv) > 2 else []
    service_intervals(int(200 * size), *seeds)
    misuse(int(500 * size), *seeds)
    print(f"{time.perf_counter() - start:.0f} s")
