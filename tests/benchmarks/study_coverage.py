"""Coverage of the intervals at full size. ``python -m tests.benchmarks.study_coverage [SIZE [SEED]]``."""

from __future__ import annotations

import sys
import time

import numpy as np

from fleet.reliability import fit_weibull
from tests.benchmarks.goals import at_most, held
from tests.reliability import pooling_study
from tests.reliability.simulated import groups_of_units, keep_groups


def plain(groups: int = 4000, seed: int = 1) -> None:
    """Limits over groups of 30 units with delayed entry, censoring and at least two failures.

    Keeping a group only for its failures makes its hazard look larger than it is; where two failures are many, that
    by itself takes a percent or two.
    """
    print("Coverage of 95 % limits of plain fits; goal 93-97 % for shape and scale of the limits as given by default")
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
        middle = np.median(fit.events)
        print(f"  watched up to {reach:.2f} scales, {middle:.0f} failures in the median, {shape.size} groups")
        for name, limits in (
            ("default", {**fit.confint(), "B10": fit.quantile_confint(0.1)}),
            ("profile", {**fit.confint(method="profile"), "B10": fit.quantile_confint(0.1, method="profile")}),
            ("Wald", fit.wald_confint()),
        ):
            texts = []
            for key, (low, high) in limits.items():
                inside = (low[fit.converged] <= truth[key]) & (truth[key] <= high[fit.converged])
                share = float(np.mean(inside))
                goal = name == "default" and key != "B10"
                texts.append(f"{key} {held(share, 0.93, 0.97) if goal else f'{share:.3f}'}")
            print(f"    {name:8s} " + "  ".join(texts))


def pooled(models: int = 1200, seed: int = 1) -> None:
    """Pooled limits at 5, 15 and 40 models, and squared errors against plain and held-shape fits."""
    print("Coverage of 95 % limits of pooled fits; goal 91-98 %")
    for count in (5, 15, 40):
        start = time.perf_counter()
        fleets = models // count
        share = pooling_study.coverage(np.random.default_rng([count, seed]), count, fleets)
        each = (time.perf_counter() - start) / fleets
        texts = "  ".join(f"{name} {held(value, 0.91, 0.98)}" for name, value in share.items())
        print(f"  {count:3d} models  {texts}  {each:.3f} s per fit")
    found = pooling_study.errors(np.random.default_rng(seed), models // 15)
    print("Mean squared error, 15 models; goal: pooled below the other")
    for failures, other in (("2-5", "plain"), ("0-1", "held")):
        mine, theirs = found["pooled", failures], found[other, failures]
        for name, error, goal in zip(("log shape", "log B10"), mine, theirs, strict=True):
            print(f"  {failures} failures, {name:9s} pooled {at_most(error, goal, 3)}, {other} {goal:.3f}")
    shape, tenth = pooling_study.drift_with_many_failures(np.random.default_rng(seed), max(models // 60, 2))
    print("Pooled from plain at about 200 failures, relative difference in the median")
    print(f"  shape {at_most(shape, 0.02)}  B10 {at_most(tenth, 0.02)}")


if __name__ == "__main__":
    size = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    seeds = [int(sys.argv[2])] if len(sys.argv) > 2 else []
    plain(int(4000 * size), *seeds)
    pooled(int(1200 * size), *seeds)
