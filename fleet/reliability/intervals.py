"""How often to serve a component: the interval of least cost that is not above the manual's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit
from scipy.stats import norm, qmc

from fleet.reliability.interval_costs import interval_costs
from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.wear import BINS, WearFit, fit_wear
from fleet.reliability.wear_cells import Cells, cut_cells

#: Draws from the posterior: a fixed low-discrepancy set, so that the same input gives the same answer.
DRAWS = 128
#: Candidate intervals as shares of the manual's, before they are moved to even parts of the horizon.
SHARES = np.geomspace(0.1, 1.0, 40)


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
        That ``interval`` costs less than the manual's; where that one stands, that the least-cost interval does.
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
        return _manual_stands(limit, events, horizon)
    rows = lifetimes if lifetimes.since is not None else _age_clock(lifetimes)
    codes = np.zeros(rows.size, dtype=np.int64) if crew is None else np.unique(np.asarray(crew), return_inverse=True)[1]
    cells = cut_cells(rows, limit, codes)
    plain = fit_wear(cells, limit, int(codes.max()) + 1, neglect=False)
    fits = [plain, fit_wear(cells, limit, int(codes.max()) + 1, neglect=True, start=plain.mean)]
    weight = float(expit(fits[1].evidence - fits[0].evidence))
    counts = [DRAWS - round(DRAWS * weight), round(DRAWS * weight)]
    crews = _crew_shares(cells, groups, int(codes.max()) + 1)
    shares = candidate_shares(limit, horizon)
    picks = []
    for g in range(groups):
        parts = [
            _draws(fit, fit.layout.reading(g, at[g], crews[g]), count)
            for fit, count in zip(fits, counts, strict=True)
            if count
        ]
        draws = np.concatenate(parts)
        rates, risks = interval_costs(draws, float(limit[g]), shares[g], planned_cost, failure_cost, horizon)
        picks.append(_decide(rates, risks, shares[g], float(limit[g]), risk_limit, gate))
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
        candidates=limit[:, None] * shares,
        candidate_costs=columns[6],
    )


def _manual_stands(limit: FloatArray, events: IntArray, horizon: float) -> ServiceInterval:
    unknown = np.full(limit.size, np.nan)
    candidates = limit[:, None] * candidate_shares(limit, horizon)
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
        candidates=candidates,
        candidate_costs=np.full(candidates.shape, np.nan),
    )


def _age_clock(rows: Lifetimes) -> Lifetimes:
    names = ("lower", "upper", "entry", "group", "covariates", "spell", "unit", "groups")
    return Lifetimes(since=rows.entry, **{name: getattr(rows, name) for name in names})


def _crew_shares(cells: Cells, groups: int, crews: int) -> FloatArray:
    """Each crew's share of a model's hours (G, C); of all hours where the model has none."""
    hours = np.bincount(cells.group * crews + cells.crew, weights=cells.hours, minlength=groups * crews)
    hours = hours.reshape(groups, crews)
    hours = np.where(hours.sum(axis=1, keepdims=True) > 0, hours, hours.sum(axis=0))
    return np.asarray(hours / hours.sum(axis=1, keepdims=True), dtype=float)


def _draws(fit: WearFit, reading: FloatArray, count: int) -> FloatArray:
    """What ``reading`` reads of the parameters of one model, shape (count, 4 + BINS)."""
    mean = reading @ fit.mean
    # A Cholesky root, unlike an eigenvector's sign, does not turn over with the last digit of the input.
    spread = reading @ fit.covariance @ reading.T
    root = np.linalg.cholesky(spread + 1e-10 * np.eye(spread.shape[0]))
    points = qmc.Sobol(4 + BINS, scramble=True, rng=np.random.default_rng(7)).random(DRAWS)[:count]
    return mean + norm.ppf(points) @ root.T


def candidate_shares(manual: FloatArray, horizon: float) -> FloatArray:
    """Candidates of every model as shares of its manual's interval, rising to 1, shape (G, m).

    Among intervals with equally many services up to the horizon the one that spaces them evenly is (nearly) best: a
    service shortly before the horizon buys nothing. So candidates move to the nearest even part of the horizon, a hair
    beyond it so that no service falls on the horizon itself.
    """
    shares = np.tile(SHARES, (manual.size, 1))
    number = np.round(horizon / (manual[:, None] * shares))
    even = horizon / (manual[:, None] * np.maximum(number, 1)) * (1 + 1e-9)
    half = 0.5 * np.log(SHARES[1] / SHARES[0])
    close = (number >= 1) & (np.abs(np.log(even / shares)) < half) & (even < 1)
    shares = np.where(close, even, shares)
    shares[:, -1] = 1.0
    return shares


def _decide(
    rates: FloatArray, risks: FloatArray, shares: FloatArray, manual: float, risk_limit: float | None, gate: float
) -> tuple[float, float, float, float, float, bool, FloatArray]:
    mean_rate, mean_risk = rates.mean(axis=0), risks.mean(axis=0)
    last = shares.size - 1
    cheaper = (rates < rates[:, -1:]).mean(axis=0)
    best = int(np.argmin(mean_rate))
    # Where the least-cost interval is too unsure, a smaller step away from the manual's may be sure enough.
    sure = np.where((cheaper >= gate) & (mean_rate < mean_rate[-1]), mean_rate, np.inf)
    chosen = int(np.argmin(sure)) if np.isfinite(sure).any() else last
    probability = float(cheaper[chosen if chosen < last else best])
    limited = False
    if risk_limit is not None and mean_risk[chosen] > risk_limit:
        safe = np.flatnonzero(mean_risk <= risk_limit)
        chosen = min(chosen, int(safe[-1]) if safe.size else 0)
        limited = True
    return (
        manual if chosen == last else manual * float(shares[chosen]),
        probability,
        float(mean_rate[chosen]),
        float(mean_rate[-1]),
        float(mean_risk[chosen]),
        limited,
        mean_rate,
    )
