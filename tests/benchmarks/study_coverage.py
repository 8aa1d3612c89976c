"""Coverage of the intervals at full size. ``python -m tests.benchmarks.study_coverage [SIZE [SEED]]``."""

from __future__ import annotations

import sys
import time

import numpy as np

from fleet.reliability import fit_weibull
from tests.reliability import pooling_study
from tests.reliability.simulated import groups_of_units, keep_groups


def plain(groups: int = 4000, seed: int = 1) -> None:
    """Profile and Wald limits over groups of 30 units with delayed entry, censoring and at least two failures."""
    print(f"{'observed up to':>14s} {'failures':>9s} {'limits':>8s} {'shape':>7s} {'scale':>7s} {'B10':>7s}")
    for reach in (1.2, 0.8, 0.5, 0.25):
        rng = np.random.default_rng(seed)
        drawn = 2 * groups
        shape, scale = rng.uniform(1, 3, drawn), rng.uniform(100, 300, drawn)
        rows = groups_of_units(rng, drawn, 30, shape, scale, reach=reach)
        keep = rows.event_counts() >= 2
        keep &= np.cumsum(keep) <= groups
        fit = fit_weibull(keep_groups(rows, keep))
        shape, scale = shape[keep][fit.converged], scale[keep][fit.converged]
        truth = {"shape": shape, "scale": scale, "B10": scale * (-np.log(0.9)) ** (1 / shape)}
        for name, limits in (
            ("profile", {**fit.confint(), "B10": fit.quantile_confint(0.1)}),
            ("Wald", fit.wald_confint()),
        ):
            share = {
                key: float(np.mean((low[fit.converged] <= truth[key]) & (truth[key] <= high[fit.converged])))
                for key, (low, high) in limits.items()
            }
            texts = [f"{share[key]:7.3f}" if key in share else " " * 7 for key in ("shape", "scale", "B10")]
            print(f"{reach:9.2f} scales {np.median(fit.events):9.0f} {name:>8s} " + " ".join(texts))


def pooled(models: int = 1200, seed: int = 1) -> None:
    """Pooled limits at 5, 15 and 40 models, and squared errors against plain and held-shape fits."""
    print(f"{'models':>7s} {'shape':>7s} {'scale':>7s} {'B10':>7s} {'s per fit':>10s}")
    for count in (5, 15, 40):
        start = time.perf_counter()
        fleets = models // count
        share = pooling_study.coverage(np.random.default_rng([count, seed]), count, fleets)
        each = (time.perf_counter() - start) / fleets
        print(f"{count:7d} {share['shape']:7.3f} {share['scale']:7.3f} {share['B10']:7.3f} {each:10.3f}")
    found = pooling_study.errors(np.random.default_rng(seed), models // 15)
    print("mean squared error of log shape and log B10, 15 models")
    for (method, failures), error in sorted(found.items(), key=lambda item: item[0][::-1]):
        print(f"  {failures} failures, {method:7s} {error[0]:.3f} {error[1]:.3f}")
    shape, tenth = pooling_study.drift_with_many_failures(np.random.default_rng(seed), max(models // 60, 2))
    print(f"about 200 failures: pooled differs from plain by {shape:.4f} (shape), {tenth:.4f} (B10) in the median")


if __name__ == "__main__":
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    seeds = [int(sys.argv[2])] if len(sys.argv) > 2 else []
    plain(int(4000 * size), *seeds)
    pooled(int(1200 * size), *seeds)
