"""Intervals from the fits: for every model, task and setting, at every share of hours with the guard off."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma

from fleet.reliability import Lifetimes, PooledFit, failure_finding_interval, pool_models
from fleet.reliability.interval_choices import ChosenInterval, WearStudy, study_wear
from fleet.upkeep.event_costs import JobCosts
from fleet.upkeep.fit_records import FAILURE_FINDING, LEAST_COST, LOOK, MANUAL, MODEL, POOLED, Choice, IntervalRecord
from fleet.upkeep.fit_rows import ComponentRows, component_rows
from fleet.upkeep.fits import ComponentFit
from fleet.upkeep.histories import COMPONENT_CODE
from fleet.upkeep.interval_settings import LEARNED_TASKS, Setting
from fleet.upkeep.learned import EXPOSURES, level_of
from fleet.upkeep.sample_packs import Samples
from fleet.upkeep.samples import PORT

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# Engine hours over which costs are counted, from new: a working life in contractors' hands (common practice).
LIFE_HOURS = 600.0
# Tasks that clean what blocks, and looks at what fails unseen; every other task undoes wear at a cost.
SCREENS = frozenset({"arrestor", "port"})
LOOKS = frozenset({"mounts", "stop_switch", "clutch", "head"})
# Crews with the most hours that get a term of their own in the fit of wear; the others share one.
OWN_CREWS = 24
# Candidate intervals of looks as shares of the manual's.
SHARES = np.linspace(0.05, 1.0, 96)

Key = tuple[int, str, str]


def method_of(task: str) -> str:
    return LOOK if task in SCREENS else FAILURE_FINDING if task in LOOKS else LEAST_COST


@dataclass
class _Learned:
    """What one task's choices rest on, fitted once for all settings."""

    rows: ComponentRows
    failures: Ints
    pooled: PooledFit | None
    study: WearStudy | None


def choose_intervals(
    samples: Samples,
    fits: Mapping[int, ComponentFit],
    wanted: Iterable[tuple[int, str, Setting]],
    costs: JobCosts,
) -> dict[Key, IntervalRecord]:
    """Intervals for every wanted (model, task, setting), by (model, task, digest)."""
    by_task: dict[str, set[tuple[int, Setting]]] = {}
    for model, task, setting in wanted:
        by_task.setdefault(task, set()).add((model, setting))
    levels = _levels_in_use(samples)
    found: dict[Key, IntervalRecord] = {}
    for task in LEARNED_TASKS:
        asked = sorted(by_task.get(task, ()), key=lambda pair: (pair[0], pair[1].digest))
        stream = PORT if task == "port" else COMPONENT_CODE[LEARNED_TASKS[task]]
        if asked and stream in fits:
            learned = _learn(samples, fits[stream], stream, task, asked)
            for model, setting in asked:
                record = _record(task, model, setting, learned, fits[stream], costs, levels.get(model, (0,)))
                found[model, task, setting.digest] = record
    return found


def _levels_in_use(samples: Samples) -> dict[int, tuple[int, ...]]:
    """Places in ``EXPOSURES`` that units of each model stand at, the ends always among them."""
    level = level_of(samples["u_recent"])
    ends = {0, len(EXPOSURES) - 1}
    model = samples["u_model"]
    return {int(m): tuple(sorted(ends | set(level[model == m].tolist()))) for m in np.unique(model)}


def _learn(
    samples: Samples, fit: ComponentFit, stream: int, task: str, asked: Sequence[tuple[int, Setting]]
) -> _Learned:
    models = fit.rows.models
    if task in SCREENS:
        return _Learned(fit.rows, fit.failures, fit.pooled, None)
    if task in LOOKS:
        # What fails unseen: failures that showed themselves end the watch.
        hidden = fit.rows.with_guard(found_only=True)
        events = hidden.event_counts().astype(np.int64)
        return _Learned(fit.rows, events, pool_models(hidden) if events.any() else None, None)
    rows = component_rows(samples, stream, models, task_clock=False)
    known = rows.with_guard()
    failures = _known_failures(rows)
    if not failures.any():
        return _Learned(rows, failures, None, None)
    since, crew = _since(rows), _own_crews(rows)
    use = ~np.isnan(since)
    lifetimes = Lifetimes(
        lower=known.lower[use], upper=known.upper[use], entry=known.entry[use], group=known.group[use],
        since=since[use], covariates=known.covariates[use], spell=known.spell[use], unit=known.unit[use],
        groups=len(models),
    )  # fmt: skip
    longest = np.full(len(models), 1.0)
    place = np.searchsorted(models, [model for model, _setting in asked])
    np.maximum.at(longest, place, [setting.manual_hours for _model, setting in asked])
    longest[np.setdiff1d(np.arange(len(models)), place)] = longest.max()
    return _Learned(rows, failures, None, study_wear(lifetimes, reference=longest, crew=crew[use]))


def _known_failures(rows: ComponentRows) -> Ints:
    known = rows.events & ~np.isnan(rows.since)
    return np.bincount(rows.model[known], minlength=len(rows.models)).astype(np.int64)


def _since(rows: ComponentRows) -> Floats:
    """Hours since the task at each piece's entry; NaN in a cycle that began nobody knows when."""
    p = rows.pieces
    return np.asarray(rows.since[p.of] + (p.entry - rows.entry[p.of]), dtype=np.float64)


def _own_crews(rows: ComponentRows) -> Ints:
    """Crew of each piece, coded: those with the most hours, and one code for all others."""
    p = rows.pieces
    names, code = np.unique(rows.crew, return_inverse=True)
    hours = np.bincount(code[p.of], weights=p.lower - p.entry, minlength=len(names))
    order = np.lexsort((names, -np.round(hours, 1)))
    rank = np.empty(len(names), dtype=np.int64)
    rank[order] = np.arange(len(names))
    return np.minimum(rank, OWN_CREWS)[code[p.of]]


def _record(
    task: str, model: int, setting: Setting, learned: _Learned, fit: ComponentFit, costs: JobCosts,
    levels: Sequence[int],
) -> IntervalRecord:  # fmt: skip
    g = int(np.searchsorted(fit.rows.models, model))
    component = LEARNED_TASKS[task]
    figures = setting.figures
    planned, failure = figures.cost(costs.services[task]), figures.cost(costs.failures[component])
    own, pooled_failures = int(learned.failures[g]), int(learned.failures.sum())
    record = IntervalRecord(
        task=task,
        component=component,
        method=method_of(task),
        manual_hours=setting.manual_hours,
        manual_source=setting.manual_source,
        choices=(Choice(1.0, setting.manual_hours, MANUAL),),
        failures=own,
        pooled_failures=pooled_failures,
        rows=int((learned.rows.model == g).sum()),
        contractors=len(np.unique(learned.rows.contractor[learned.rows.model == g])),
        pooled_contractors=len(np.unique(learned.rows.contractor)),
        gate=float(figures.gate),
        risk_limit=float(figures.risk_limit),
        planned=planned,
        failure=failure,
    )
    if not pooled_failures:
        return record
    extra: dict = {}
    choices: list[Choice] = []
    for level in levels:
        x = np.array([EXPOSURES[level], 0.0])
        if learned.study is not None:
            chosen = learned.study.choose(
                g, manual=setting.manual_hours, planned_cost=planned.cost, failure_cost=failure.cost,
                horizon=max(LIFE_HOURS, setting.manual_hours), risk_limit=float(figures.risk_limit),
                gate=float(figures.gate), x=x,
            )  # fmt: skip
            hours, values = chosen.interval, _values(chosen)
            if level == 0:
                extra = {
                    "candidates": tuple(np.round(chosen.candidates, 1).tolist()),
                    "candidate_costs": tuple(chosen.costs.tolist()),
                    "candidate_low": tuple(chosen.costs_low.tolist()),
                    "candidate_high": tuple(chosen.costs_high.tolist()),
                    "neglect_weight": learned.study.neglect_weight,
                    "converged": learned.study.converged,
                }
        elif learned.pooled is None:
            continue
        elif task in SCREENS:
            hours, values = _by_risk(learned.pooled, g, x, setting.manual_hours, float(figures.risk_limit))
        else:
            hours, values = _by_finding(learned.pooled, g, x, setting.manual_hours, float(figures.risk_limit))
        # Running without a guard never earns a longer interval.
        hours = min([round(hours, 1), *(c.interval_hours for c in choices)])
        shorter = hours < setting.manual_hours - 0.05
        basis = MANUAL if not shorter else MODEL if own else POOLED
        choices.append(Choice(EXPOSURES[level], hours if shorter else setting.manual_hours, basis, *values))
    drawn = None if fit.pooled is None else round(float(fit.pooled.drawn[g]), 3)
    ratio = None if fit.pooled is None else float(np.exp(fit.pooled.coef[0]))
    values_of = {**record.__dict__, **extra, "drawn": drawn, "guard_off_ratio": ratio}
    return IntervalRecord(**{**values_of, "choices": tuple(choices) or record.choices})


Values = tuple[float | None, float | None, float | None, bool]


def _values(chosen: ChosenInterval) -> Values:
    return chosen.cheaper, chosen.probability, chosen.probability_manual, chosen.limited_by_risk


def _chance(pooled: PooledFit, g: int, x: Floats, hours: Floats) -> Floats:
    """Posterior mean probability of having failed by these hours."""
    shape, scale = pooled.draws()
    ratio = float(np.exp(x @ pooled.coef))
    alive = np.exp(-((hours[:, None] / scale[None, :, g]) ** shape[None, :, g]) * ratio)
    return np.asarray(1.0 - alive.mean(axis=1), dtype=np.float64)


def _by_risk(pooled: PooledFit, g: int, x: Floats, manual: float, limit: float) -> tuple[float, Values]:
    """The longest interval by which it is found blocked no more often than allowed."""
    chance = _chance(pooled, g, x, manual * SHARES)
    allowed = max(int((chance <= limit).sum()) - 1, 0)
    hours = manual if allowed == len(SHARES) - 1 else manual * float(SHARES[allowed])
    return hours, (None, float(chance[allowed]), float(chance[-1]), allowed < len(SHARES) - 1)


def _by_finding(pooled: PooledFit, g: int, x: Floats, manual: float, limit: float) -> tuple[float, Values]:
    """Looks so often that at most half the risk limit of the hours are run with it failed unseen.

    With a steady rate of failures a look then finds it failed about as often as the limit says.
    """
    shape = float(pooled.shape[g])
    mean = float(pooled.scale[g]) * float(np.exp(-(x @ pooled.coef) / shape)) * float(gamma(1 + 1 / shape))
    hours = min(manual, max(failure_finding_interval(mean, limit / 2), manual * float(SHARES[0])))
    chance = 1.0 - np.exp(-np.array([hours, manual]) / mean)
    return hours, (None, float(chance[0]), float(chance[1]), hours < manual)
