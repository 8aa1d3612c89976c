"""Renewals, age replacement and looks for hidden failures: closed forms and their numerical solution."""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar
from scipy.special import gamma, gammainc

from fleet.reliability.lifetimes import FloatArray


def renewal_function(hours: ArrayLike, shape: float, scale: float = 1.0) -> FloatArray:
    """Expected renewals by ``hours`` of a part replaced at every failure, its life Weibull.

    Parameters
    ----------
    hours : array_like, any shape, engine hours
    shape, scale : float
        Of the life; scale in engine hours.

    Returns
    -------
    ndarray, same shape as ``hours``
        Relative error below 1e-6.

    Raises
    ------
    ValueError
        For negative hours or parameters that are not above 0.

    Notes
    -----
    Solves M = F + F * M by midpoint Riemann-Stieltjes sums (Xie 1989, Commun. Statist. Simul. 18:281-293), improved by
    extrapolating over three meshes. At shape 1 M(t) = t / scale.

    Examples
    --------
    >>> renewal_function([1.0, 2.0], 2.0).round(6).tolist()
    [0.753691, 1.894039]
    """
    at = np.asarray(hours, dtype=float)
    if not (shape > 0 and scale > 0) or (at < 0).any() or np.isnan(at).any():
        raise ValueError("hours must not be negative; shape and scale must be above 0")
    distinct, where = np.unique(at.ravel() / scale, return_inverse=True)
    return np.array([_renewals(t, shape) for t in distinct])[where].reshape(at.shape)


def _renewals(t: float, shape: float) -> float:
    if t == 0:
        return 0.0
    if shape == 1:
        return t
    base = int(np.clip(60 * t / gamma(1 + 1 / shape), 200, 2000))
    rough, fine, finest = (_mesh(t, shape, base * m) for m in (1, 2, 4))
    # The order of the error depends on the shape: three meshes tell it (Aitken).
    first, second = fine - rough, finest - fine
    if abs(second) < 1e-13 * finest or abs(first - second) < 1e-300 or not 0 < second / first < 0.9:
        return finest
    return finest + second**2 / (first - second)


def _mesh(t: float, shape: float, n: int) -> float:
    step = t / n
    cumulative = -np.expm1(-((np.arange(1, n + 1) * step) ** shape))
    half = -np.expm1(-(((np.arange(n) + 0.5) * step) ** shape))
    increments = np.zeros(n + 1)
    total = 0.0
    reverse = half[::-1]
    for i in range(1, n + 1):
        # Sum of F(t_i - midpoint_j) dM_j over j < i.
        past = float(reverse[n - i : n - 1] @ increments[1:i]) if i > 1 else 0.0
        now = (cumulative[i - 1] + past - half[0] * total) / (1 - half[0])
        increments[i] = now - total
        total = now
    return total


@dataclass(frozen=True)
class AgeReplacement:
    """Least-cost age from :func:`age_replacement` or :func:`least_cost_age`.

    Attributes
    ----------
    interval : float, engine hours
        inf: run to failure.
    cost_rate : float
        Cost per hour at that age.
    run_to_failure : float
        Cost per hour when nothing is planned.
    """

    interval: float
    cost_rate: float
    run_to_failure: float

    @property
    def saving(self) -> float:
        """Share of the run-to-failure cost that is saved."""
        return 1.0 - self.cost_rate / self.run_to_failure


def age_replacement(shape: float, scale: float, planned: float, failure: float) -> AgeReplacement:
    """Age at which to renew a part at least cost per hour, its life Weibull.

    Parameters
    ----------
    shape, scale : float
        Scale in engine hours.
    planned, failure : float
        Cost of a planned renewal and of a failure, renewal included.

    Returns
    -------
    AgeReplacement

    Raises
    ------
    ValueError
        If a parameter is not above 0.

    Notes
    -----
    Barlow & Hunter (1960), Operations Research 8:90-100: C(T) = [failure F(T) + planned S(T)] / integral of S. Where
    shape <= 1, a failure costs no more than a planned renewal, or the saving is nil (below 1e-9), the answer is run
    to failure.

    Examples
    --------
    >>> best = age_replacement(2.5, 1000.0, 1.0, 5.0)
    >>> round(best.interval, 2), round(best.cost_rate, 6)
    (493.05, 0.003462)
    """
    if min(shape, scale, planned, failure) <= 0:
        raise ValueError("shape, scale and costs must be above 0")
    never = failure / (scale * float(gamma(1 + 1 / shape)))
    if shape <= 1 or failure <= planned:
        return AgeReplacement(np.inf, never, never)

    def lived(u: float) -> float:
        return float(gamma(1 + 1 / shape) * gammainc(1 / shape, u**shape))

    def slope(log_u: float) -> float:
        u = float(np.exp(log_u))
        return shape * u ** (shape - 1) * lived(u) + float(np.expm1(-(u**shape))) - planned / (failure - planned)

    top = float(np.log(50.0)) / min(shape - 1, 1.0) + 3.0
    if slope(top) <= 0:
        return AgeReplacement(np.inf, never, never)
    u = float(np.exp(brentq(slope, -60.0, top, xtol=1e-14)))
    failed = float(-np.expm1(-(u**shape)))
    rate = (failure * failed + planned * (1 - failed)) / (scale * lived(u))
    return AgeReplacement(u * scale, rate, never) if 1 - rate / never > 1e-9 else AgeReplacement(np.inf, never, never)


def least_cost_age(
    survival: Callable[[float], float], planned: float, failure: float, longest: float, points: int = 400
) -> AgeReplacement:
    """The same for any survival function, searched up to ``longest`` hours.

    Parameters
    ----------
    survival : callable
        Survival at an age in hours.
    planned, failure : float
    longest : float, hours
        Where survival is practically 0; the mean life is integrated up to here.
    points : int
        First grid; the best point is then refined.

    Returns
    -------
    AgeReplacement

    Examples
    --------
    A normal life of mean 5 and sd 1 weeks, costs 5 and 10 (Jardine & Tsang, age-based example):

    >>> from scipy.stats import norm
    >>> round(least_cost_age(norm(5, 1).sf, 5, 10, 15).interval, 2)
    4.02
    """
    ages = np.linspace(0, longest, points + 1)
    pieces = [quad(survival, a, b)[0] for a, b in itertools.pairwise(ages)]
    lived = np.concatenate([[0.0], np.cumsum(pieces)])

    def rate(age: float) -> float:
        i = min(int(np.searchsorted(ages, age, side="right")) - 1, points)
        mean = lived[i] + quad(survival, ages[i], age)[0]
        return (failure * (1 - survival(age)) + planned * survival(age)) / mean

    never = failure / lived[-1]
    rates = np.array([rate(age) for age in ages[1:]])
    best = int(np.argmin(rates))
    low, high = ages[best], ages[min(best + 2, points)]
    found = minimize_scalar(rate, bounds=(low, high), method="bounded", options={"xatol": 1e-9 * longest})
    if best + 2 > points or 1 - found.fun / never <= 1e-9:
        return AgeReplacement(np.inf, never, never)
    return AgeReplacement(float(found.x), float(found.fun), never)


def failure_finding_interval(mtbf: float, allowed: float, sensitivity: float = 1.0) -> float:
    """Hours between looks that keep a hidden safety function available.

    Parameters
    ----------
    mtbf : float, engine hours
        Mean hours to the hidden failure.
    allowed : float
        Allowed share of hours in which the function is failed unnoticed, between 0 and 1.
    sensitivity : float
        Probability that a look finds a failed item, above 0 and at most 1.

    Returns
    -------
    float, engine hours

    Raises
    ------
    ValueError
        For figures outside those ranges.

    Notes
    -----
    With a look every T hours at a constant failure rate 1/M the hours failed per cycle are D = T / (1 - exp(-T/M)) -
    M +
    T (1/q - 1), the unavailability D / (M + D), about (T/M)(1/q - 1/2) for small T.

    Examples
    --------
    >>> round(failure_finding_interval(2000.0, 0.01), 2)
    40.27
    """
    if not (mtbf > 0 and 0 < allowed < 1 and 0 < sensitivity <= 1):
        raise ValueError("mtbf must be above 0, allowed between 0 and 1, sensitivity above 0 and at most 1")

    def excess(x: float) -> float:
        return unavailability(x, 1.0, sensitivity) - allowed

    guess = allowed / (1 - allowed) / (1 / sensitivity - 0.5)
    low, high = guess / 4, guess * 4
    while excess(low) > 0:
        low /= 4
    while excess(high) < 0:
        high *= 4
    return mtbf * float(brentq(excess, low, high, rtol=1e-13, xtol=1e-300))


def unavailability(interval: float, mtbf: float, sensitivity: float = 1.0) -> float:
    """Share of hours in which a hidden function is failed unnoticed with a look every ``interval`` hours.

    Examples
    --------
    >>> round(unavailability(40.0, 2000.0), 6)
    0.009934
    """
    x = interval / mtbf
    # x / (1 - exp(-x)) - 1 loses digits at small x: its series is exact there.
    idle = x / 2 + x * x / 12 - x**4 / 720 if x < 1e-2 else -x / np.expm1(-x) - 1
    failed = idle + x * (1 / sensitivity - 1)
    return float(failed / (1 + failed))
