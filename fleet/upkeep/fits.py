"""Portal-wide fits: every component over all models at once, each model's record with what it borrowed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fleet.reliability import Lifetimes, PooledFit, pool_models
from fleet.upkeep.curves_kept import fit_line, misfit, record_curve, repairs_curve
from fleet.upkeep.fit_records import FitRecord
from fleet.upkeep.fit_rows import ComponentRows, component_rows
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.sample_packs import Samples
from fleet.upkeep.samples import ON_TASK_CLOCK, PORT
from fleet.vocabulary import COMPONENTS, TASK_OF_COMPONENT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
# Conditions of the fits: the chance that the guard was off, and the crew's mean of it less the fleet's.
GUARD_ON = np.zeros(2)


@dataclass(frozen=True)
class ComponentFit:
    """One component over all models: rows on its own clock with conditions, and the fit where anything failed."""

    rows: ComponentRows
    lifetimes: Lifetimes
    pooled: PooledFit | None

    @property
    def failures(self) -> Ints:
        return np.bincount(self.rows.model[self.rows.events], minlength=len(self.rows.models)).astype(np.int64)


def fit_component(samples: Samples, stream: int, models: Ints) -> ComponentFit:
    """Fit one component (or the port) on the clock its shape and scale are told on."""
    name = next((c for c, code in COMPONENT_CODE.items() if code == stream), "")
    rows = component_rows(samples, stream, models, task_clock=name in ON_TASK_CLOCK or stream == PORT)
    lifetimes = rows.with_guard()
    return ComponentFit(rows, lifetimes, pool_models(lifetimes) if rows.events.any() else None)


def fit_records(
    fits: Mapping[int, ComponentFit], samples: Samples, manuals: Mapping[tuple[int, str], tuple[float | None, str]]
) -> dict[tuple[int, str], FitRecord]:
    """The record of every model's components; ``manuals`` gives (hours, source) by (model, task)."""
    records = {}
    for component in COMPONENTS:
        fit = fits.get(COMPONENT_CODE[component])
        if fit is None:
            continue
        for record, model in zip(_records(component, fit, samples), fit.rows.models.tolist(), strict=True):
            hours, source = manuals.get((model, record.task or ""), (None, ""))
            records[model, component] = replace(record, manual_hours=hours, manual_source=source or None)
    return records


def _records(component: str, fit: ComponentFit, samples: Samples) -> list[FitRecord]:
    rows, pooled = fit.rows, fit.pooled
    whole, count = rows.whole(), len(rows.models)
    hours, spells = whole.hours(), np.bincount(rows.model, minlength=count)
    chance, failures = rows.mean_chance(), fit.failures
    last = rows.at + np.where(np.isfinite(rows.upper), rows.upper, rows.lower) - rows.entry
    base = [
        FitRecord(
            component=component,
            clock="task" if component in ON_TASK_CLOCK else "age",
            events=int(failures[g]),
            rows=int(spells[g]),
            hours=round(float(hours[g]), 1),
            units=len(np.unique(rows.unit[rows.model == g])),
            contractors=len(np.unique(rows.contractor[rows.model == g])),
            pooled_events=int(failures.sum()),
            mean_exposure=round(float(chance[g]), 3) if spells[g] else None,
            task=TASK_OF_COMPONENT.get(component),
        )
        for g in range(count)
    ]
    if pooled is None:
        return base
    limits = pooled.confint()
    b10, mean = pooled.quantile(0.1), pooled.mean_life()
    b10_low, b10_high = pooled.quantile_confint(0.1)
    ratio, (ratio_low, ratio_high) = np.exp(pooled.coef), (np.exp(v) for v in limits["coef"])
    return [
        replace(
            record,
            shape=float(pooled.shape[g]),
            shape_low=float(limits["shape"][0][g]),
            shape_high=float(limits["shape"][1][g]),
            scale=float(pooled.scale[g]),
            scale_low=float(limits["scale"][0][g]),
            scale_high=float(limits["scale"][1][g]),
            drawn=round(float(pooled.drawn[g]), 3),
            b10_hours=float(b10[g]),
            b10_low=float(b10_low[g]),
            b10_high=float(b10_high[g]),
            mean_hours=float(mean[g]),
            guard_off_ratio=float(ratio[0]),
            guard_off_low=float(ratio_low[0]),
            guard_off_high=float(ratio_high[0]),
            converged=bool(pooled.converged[g]),
            curve=record_curve(whole, g),
            fit=fit_line(pooled, g, np.array([chance[g], 0.0]), _until(rows, g)),
            misfit=misfit(fit.lifetimes, rows.pieces, pooled, g, _until(rows, g)),
            repairs=repairs_curve(rows, g, last),
        )
        for g, record in enumerate(base)
    ]


def _until(rows: ComponentRows, group: int) -> float:
    """Hours up to which this model's record says anything: nearly all of its spells end before."""
    mine = rows.model == group
    if not mine.any():
        return 100.0
    last = np.where(np.isfinite(rows.upper[mine]), rows.upper[mine], rows.lower[mine])
    return max(float(np.quantile(last, 0.98)), 1.0)
