"""How often to serve a component: the interval of least cost that is not above the manual's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit
from scipy.stats import norm, qmc

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.wear import BINS, WearFit, fit_wear
from fleet.reliability.wear_cells import SHORTEST, cut_cells

#: Draws from the posterior: a fixed low-discrepancy set, so that the same input gives the same answer.
DRAWS = 128
#: Candidate intervals as shares of the manual's.
SHARES = np.concatenate([np.geomspace(0.1, 0.5, 13)[:-1], np.linspace(0.5, 1.0, 21)])


@dataclass(frozen=True)
class ServiceInterval:
    """Answer of :func:`service_interval`, arrays over the G models.

    Attributes
    ----------
    interval : ndarray, shape (G,), engine hours
        Never above ``manual``.
    manual : ndarray, shape (G,)
    basis : list of str
        "manual": the manual's stands; "pooled": shorter, on other models' failures alone; "model": shorter, with
        failures
        of this model behind it.
    failures : ndarray of int, shape (G,)
    probability_cheaper : ndarray, shape (G,)
        That the least-cost interval costs less than the manual's.
    cost_rate, cost_rate_manual : ndarray, shape (G,)
        Posterior mean cost per hour at ``interval`` and at the manual's.
    failure_probability : ndarray, shape (G,)
        Posterior mean probability of a failure between two services at ``interval``, averaged over the life.
    limited_by_risk : ndarray of bool, shape (G,)
    neglect_weight : float
        Posterior probability of the model in which past neglect leaves damage.
    converged : bool
    candidates : ndarray, shape (G, m)
        Intervals compared, and in ``candidate_costs`` their posterior mean cost per hour.
    candidate_costs : ndarray, shape (G, m)
    """

    interval: FloatArray
    manual: FloatArray
    basis: list[str]
    failures: IntArray
    probability_cheaper: FloatArray
    cost_rate: FloatArray
    cost_rate_manual: FloatArray
    failure_probability: FloatArray
    limited_by_risk: np.ndarray
    neglect_weight: float
    converged: bool
    candidates: FloatArray
    candidate_costs: FloatArray


def service_interval(
    lifetimes: Lifetimes,
    *,
    manual: ArrayLike,
    planned_cost: float,
    failure_cost: float,
    horizon: float,
    risk_limit: float | None = None,
    gate: float = 0.65,
    x: ArrayLike | None = None,
    crew: ArrayLike | None = None,
) -> ServiceInterval:
    """Choose each model's service interval of a task from its component's failures.

    Parameters
    ----------
    lifetimes : Lifetimes
        Component ages in hours, with ``since`` (hours since the task at entry; left out: the clock is the age itself).
        ``group`` is the model; a unit's rows that follow each other are one component's history.
    manual : float or array_like, shape (G,), engine hours
        The maker's interval: the answer is never above it.
    planned_cost, failure_cost : float
        Of one service, and of one failure with its downtime.
    horizon : float, engine hours
        Life over which costs are counted, from new.
    risk_limit : float, optional
        Largest probability of a failure between two services.
    gate : float
        The manual's interval is left only if the other is cheaper with at least this probability. Higher protects where
        the task does not help, lower catches hidden damage.
    x : array_like, shape (p,) or (G, p), optional
        Conditions to decide for (guard-off units: their own exposure); covariates 0 by default.
    crew : array_like of int, shape (n,), optional
        Crew of each row: crews that neglect one thing neglect all.

    Returns
    -------
    ServiceInterval

    Raises
    ------
    ValueError
        For costs, intervals or probabilities that are not above 0.

    Notes
    -----
    log h = c + alpha log age + delta log since + x . coef, with and without a term for past neglect, averaged by
    Laplace
    evidence; normal priors; models share alpha and vary about a common level and delta. Steps in eighths of the
    manual's
    interval (sd 0.1 on the log) let the hazard stray from a power of hours since service, and one step beyond the
    manual
    keeps overdue hours from bending it. Cost rate of an interval T up to the horizon A:
    [failure F(A) + planned sum over k of S(k T)] / integral of S (age replacement of Barlow & Hunter 1960, with a
    stated
    horizon). Because T never exceeds the manual's, no hours beyond it need to be explored.

    Examples
    --------
    Without any failure the manual's interval stands:

    >>> rows = Lifetimes(lower=[25.0, 50.0, 75.0], entry=[0.0, 25.0, 50.0], since=[0.0, 0.0, 0.0], unit=[1, 1, 1])
    >>> service_interval(rows, manual=25.0, planned_cost=10, failure_cost=200, horizon=600).interval.tolist()
    [25.0]
    """
    groups = int(lifetimes.groups)
    limit = np.broadcast_to(np.asarray(manual, dtype=float), (groups,)).copy()
    positive = np.concatenate([limit, [planned_cost, failure_cost, horizon, gate]])
    if (
        not (positive > 0).all()
        or not np.isfinite(positive).all()
        or (risk_limit is not None and not 0 < risk_limit <= 1)
    ):
        raise ValueError("manual, costs, horizon and gate must be above 0, risk_limit between 0 and 1")
    events = lifetimes.event_counts()
    at = np.zeros((groups, lifetimes.covariates.shape[1]))
    if x is not None:
        at = np.broadcast_to(np.asarray(x, dtype=float), at.shape)
    if not events.any():
        return _manual_stands(limit, events)
    rows = lifetimes if lifetimes.since is not None else _age_clock(lifetimes)
    codes = np.zeros(rows.size, dtype=np.int64) if crew is None else np.unique(np.asarray(crew), return_inverse=True)[1]
    cells = cut_cells(rows, limit, codes)
    fits = [fit_wear(cells, limit, int(codes.max()) + 1, neglect=flag) for flag in (False, True)]
    weight = float(expit(fits[1].evidence - fits[0].evidence))
    counts = [DRAWS - round(DRAWS * weight), round(DRAWS * weight)]
    picks = []
    for g in range(groups):
        draws = np.concatenate([_draws(fit, g, at[g], count) for fit, count in zip(fits, counts, strict=True) if count])
        picks.append(_decide(draws, float(limit[g]), planned_cost, failure_cost, horizon, risk_limit, gate))
    columns = [np.array(column) for column in zip(*picks, strict=True)]
    shorter = columns[0] < limit
    return ServiceInterval(
        interval=columns[0],
        manual=limit,
        basis=["manual" if not s else "model" if n else "pooled" for s, n in zip(shorter, events, strict=True)],
        failures=events,
        probability_cheaper=columns[1],
        cost_rate=columns[2],
        cost_rate_manual=columns[3],
        failure_probability=columns[4],
        limited_by_risk=columns[5].astype(bool),
        neglect_weight=weight,
        converged=all(fit.converged for fit in fits),
        candidates=limit[:, None] * SHARES,
        candidate_costs=columns[6],
    )


def _manual_stands(limit: FloatArray, events: IntArray) -> ServiceInterval:
    unknown = np.full(limit.size, np.nan)
    return ServiceInterval(
        interval=limit.copy(),
        manual=limit,
        basis=["manual"] * limit.size,
        failures=events,
        probability_cheaper=unknown,
        cost_rate=unknown,
        cost_rate_manual=unknown,
        failure_probability=unknown,
        limited_by_risk=np.zeros(limit.size, dtype=bool),
        neglect_weight=float("nan"),
        converged=True,
        candidates=limit[:, None] * SHARES,
        candidate_costs=np.full((limit.size, SHARES.size), np.nan),
    )


def _age_clock(rows: Lifetimes) -> Lifetimes:
    names = ("lower", "upper", "entry", "group", "covariates", "spell", "unit", "groups")
    return Lifetimes(since=rows.entry, **{name: getattr(rows, name) for name in names})


def _draws(fit: WearFit, group: int, x: FloatArray, count: int) -> FloatArray:
    """(level, age power, since power, neglect power) of one model, shape (count, 4)."""
    reading = fit.layout.reading(group, x)
    mean = reading @ fit.mean
    # A Cholesky root, unlike an eigenvector's sign, does not turn over with the last digit of the input.
    spread = reading @ fit.covariance @ reading.T
    root = np.linalg.cholesky(spread + 1e-10 * np.eye(spread.shape[0]))
    points = qmc.Sobol(4 + BINS, scramble=True, rng=np.random.default_rng(7)).random(DRAWS)[:count]
    return mean + norm.ppf(points) @ root.T


def _decide(
    draws: FloatArray,
    manual: float,
    planned: float,
    failure: float,
    horizon: float,
    risk_limit: float | None,
    gate: float,
) -> tuple[float, float, float, float, float, bool, FloatArray]:
    rates, risks = interval_costs(draws, manual, SHARES, planned, failure, horizon)
    mean_rate, mean_risk = rates.mean(axis=0), risks.mean(axis=0)
    best = int(np.argmin(mean_rate))
    cheaper = float((rates[:, best] < rates[:, -1]).mean()) if best < SHARES.size - 1 else 0.0
    chosen = best if cheaper >= gate else SHARES.size - 1
    limited = False
    if risk_limit is not None and mean_risk[chosen] > risk_limit:
        safe = np.flatnonzero(mean_risk <= risk_limit)
        chosen = min(chosen, int(safe[-1]) if safe.size else 0)
        limited = True
    interval = manual if chosen == SHARES.size - 1 else manual * float(SHARES[chosen])
    return (
        interval,
        cheaper,
        float(mean_rate[chosen]),
        float(mean_rate[-1]),
        float(mean_risk[chosen]),
        limited,
        mean_rate,
    )


def interval_costs(
    draws: FloatArray, manual: float, shares: FloatArray, planned: float, failure: float, horizon: float
) -> tuple[FloatArray, FloatArray]:
    """Cost per hour and chance of a failure between services, for every draw and candidate.

    Parameters
    ----------
    draws : ndarray, shape (D, 4 + BINS)
        Level, age, since and neglect powers with clocks in units of ``manual``; then the bins' factors.
    manual : float, hours
    shares : ndarray, shape (m,)
        Candidate intervals as shares of the manual's.
    planned, failure, horizon : float

    Returns
    -------
    rates, risks : ndarray, shape (D, m)
    """
    level, by_age, by_since, by_neglect = (draws[:, j : j + 1] for j in range(4))
    bins = np.exp(draws[:, 4:])
    rates, risks = np.empty((draws.shape[0], shares.size)), np.empty((draws.shape[0], shares.size))
    end, youngest = horizon / manual, SHORTEST / manual
    for j, share in enumerate(shares):
        steps = int(np.clip(round(24 * share), 6, 24))
        cycles = int(np.ceil(end / share - 1e-9))
        step = share / steps
        # Within a cycle the since part repeats; between cycles the age part grows.
        since = (np.arange(steps) + 0.5) * step
        number = np.minimum((since * BINS).astype(int), BINS - 1)
        within = np.exp(level + by_since * np.log(np.maximum(since, youngest))) * bins[:, number]
        age = (np.arange(cycles * steps) + 0.5) * step
        length = np.clip(end - (age - step / 2), 0.0, step)
        past = (np.repeat(np.arange(cycles), steps) * share**3 + np.tile(since, cycles) ** 3) / 3
        neglect = np.log((3 * past + 1) / (age + 1))
        slow = np.exp(by_age * np.log(np.maximum(age, youngest)) + by_neglect * neglect)
        hazard = np.tile(within, cycles) * slow * (length * manual)
        total = np.cumsum(hazard, axis=1)
        alive = np.exp(-total)
        before = np.concatenate([np.ones((draws.shape[0], 1)), alive[:, :-1]], axis=1)
        lived = ((before - alive) / np.maximum(hazard, 1e-300) * length).sum(axis=1)
        small = hazard < 1e-12
        lived = np.where(small.any(axis=1), (0.5 * (before + alive) * length).sum(axis=1), lived)
        ends = np.arange(1, cycles) * steps - 1
        services = alive[:, ends].sum(axis=1)
        failed = 1.0 - alive[:, -1]
        rates[:, j] = (failure * failed + planned * services) / (lived * manual)
        risks[:, j] = failed / (1.0 + services)
    return rates, risks
