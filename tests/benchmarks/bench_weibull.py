"""How fast many Weibull fits are, beside lifelines' WeibullFitter in the same run.

``python -m tests.benchmarks.bench_weibull`` prints a table; pass a number of groups to change the size.
"""

from __future__ import annotations

import statistics
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np

from fleet.reliability.lifetimes import Lifetimes
from fleet.reliability.newton import WeibullPrior
from fleet.reliability.weibull import fit_weibull

ROWS = 200


def simulate(groups: int, *, seed: int = 1, covariates: bool = False, looks: bool = False) -> Lifetimes:
    """Groups of 200 rows with delayed entry and censoring; hazard ratios 1.6 and 0.8 where there are covariates."""
    rng = np.random.default_rng(seed)
    n = groups * ROWS
    group = np.repeat(np.arange(groups), ROWS)
    shape = rng.uniform(1.2, 3.0, groups)[group]
    scale = rng.uniform(80.0, 400.0, groups)[group]
    x = np.column_stack([rng.random(n) < 0.3, rng.random(n)]).astype(float) if covariates else np.empty((n, 0))
    ratio = np.exp(x @ np.log([1.6, 0.8])) if covariates else np.ones(n)
    entry = np.where(rng.random(n) < 0.4, rng.uniform(0, 0.5, n) * scale, 0.0)
    life = scale * ((entry / scale) ** shape + rng.exponential(size=n) / ratio) ** (1 / shape)
    end = entry + rng.uniform(0.2, 1.0, n) * scale
    event = life <= end
    lower, upper = np.where(event, life, end), np.where(event, life, np.inf)
    if looks:
        seen = event & (rng.random(n) < 0.3)
        step = 0.1 * scale
        before = np.maximum(entry, np.floor(life / step) * step)
        lower, upper = np.where(seen, before, lower), np.where(seen, np.maximum(before, life) + 0.5 * step, upper)
    return Lifetimes(lower=lower, upper=upper, entry=entry, group=group, covariates=x if covariates else None)


def seconds(work: Callable[[], object], repeats: int) -> float:
    """Median wall-clock seconds of the work."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return statistics.median(times)


def lifelines_fits(rows: Lifetimes, groups: int) -> tuple[float, np.ndarray]:
    """Median seconds per fit, and the log-likelihood of each of the first groups."""
    from lifelines import WeibullFitter

    times, values = [], []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for g in range(groups):
            part = rows.take(rows.group == g)
            start = time.perf_counter()
            fitted = WeibullFitter().fit(part.lower, event_observed=part.exact, entry=part.entry)
            times.append(time.perf_counter() - start)
            values.append(fitted.log_likelihood_)
    return statistics.median(times), np.array(values)


def main(groups: int = 2000, sample: int = 60, repeats: int = 5) -> dict[str, float]:
    """Print the table and return its figures."""
    plain = simulate(groups)
    loaded = simulate(groups, covariates=True, looks=True)
    prior = WeibullPrior(log_shape=0.6, log_shape_sd=0.5, log_scale=5.3, log_scale_sd=0.8, coef_sd=1.0)
    fit = fit_weibull(plain)
    theirs, values = lifelines_fits(plain, min(sample, groups))
    cold = seconds(lambda: fit_weibull(plain), repeats) / groups
    again = fit_weibull(plain, start=fit)
    warm = seconds(lambda: fit_weibull(plain, start=fit), repeats) / groups
    first = fit_weibull(loaded, prior)
    second = fit_weibull(loaded, prior, start=first)
    full = seconds(lambda: fit_weibull(loaded, prior), repeats) / groups
    limits = seconds(lambda: fit.confint(), 1) / groups
    everything = seconds(lambda: fit_weibull(loaded, prior).confint(), 1) / groups
    worst = float(np.max(values - fit.log_likelihood[: values.size]))
    print(f"Weibull fits: {groups} groups x {ROWS} rows, delayed entry and censoring; medians of {repeats} runs")
    print(f"{'what':58s} {'ms per fit':>10s} {'lifelines / ours':>17s} {'iterations':>11s}")
    print(f"{'lifelines WeibullFitter':58s} {theirs * 1e3:10.3f} {'1':>17s} {'':>11s}")
    for name, each, count in (
        ("plain, cold", cold, str(fit.iterations)),
        ("plain, warm", warm, str(again.iterations)),
        ("2 covariates, event intervals and prior", full, f"{first.iterations} ({second.iterations} warm)"),
        ("profile limits of shape and scale (beside the fit)", limits, ""),
        ("covariates, event intervals, prior, profile limits", everything, ""),
    ):
        print(f"{name:58s} {each * 1e3:10.4f} {theirs / each:17.0f} {count:>11s}")
    print(f"lifelines' log-likelihood above ours by at most {worst:.2e} over {values.size} fits")
    return {
        "cold_ratio": theirs / cold,
        "warm_ratio": theirs / warm,
        "full_ratio": theirs / full,
        "everything_ratio": theirs / everything,
        "worst": worst,
        "warm_iterations": max(again.iterations, second.iterations),
    }


if __name__ == "__main__":
    main(*(int(value) for value in sys.argv[1:2]))
