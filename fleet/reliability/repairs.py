"""Repeated repairs of units: power-law intensity with a factor per unit."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize
from scipy.special import digamma, gammaln
from scipy.stats import chi2, norm

from fleet.reliability.curves import Windows
from fleet.reliability.lifetimes import FloatArray, IntArray

#: Beyond this log shape the likelihood is still climbing: there is no estimate.
RUNAWAY = 3.5


@dataclass(frozen=True)
class PowerLawFit:
    """Estimates of :func:`fit_power_law`: unit i has (t / scale)^shape exp(x . coef) z_i expected repairs by t hours.

    Attributes
    ----------
    shape, scale : float
        Scale in engine hours; shape above 1 means repairs come ever faster.
    coef : ndarray, shape (p,)
    dispersion : float
        Variance 1 / a of the factors z_i ~ Gamma(a, a); 0 where the units are alike.
    units : ndarray, shape (U,)
        Units in the order of ``factors``.
    repairs : ndarray of int, shape (U,)
    expected : ndarray, shape (U,)
        Repairs expected in each unit's windows at factor 1.
    factors : ndarray, shape (U,)
        Posterior means (a + repairs) / (a + expected).
    covariance : ndarray, shape (2 + p, 2 + p) or (3 + p, 3 + p)
        Of (log shape, log scale, coef[, log dispersion]).
    log_likelihood : float
    converged : bool
    iterations : int
    events : int
    """

    shape: float
    scale: float
    coef: FloatArray
    dispersion: float
    units: np.ndarray
    repairs: IntArray
    expected: FloatArray
    factors: FloatArray
    covariance: FloatArray
    log_likelihood: float
    converged: bool
    iterations: int
    events: int
    model: _PowerLaw = field(repr=False)
    theta: FloatArray = field(repr=False)

    def mean_repairs(self, entry: ArrayLike, end: ArrayLike, x: ArrayLike | None = None) -> FloatArray:
        """Repairs expected in (entry, end] hours at factor 1, covariates x (..., p)."""
        start, stop = np.asarray(entry, dtype=float), np.asarray(end, dtype=float)
        ratio = 1.0 if x is None else np.exp(np.asarray(x, dtype=float) @ self.coef)
        return np.asarray(((stop / self.scale) ** self.shape - (start / self.scale) ** self.shape) * ratio)

    def intensity(self, hours: ArrayLike, x: ArrayLike | None = None) -> FloatArray:
        """Repairs per hour at ``hours`` at factor 1."""
        ratio = 1.0 if x is None else np.exp(np.asarray(x, dtype=float) @ self.coef)
        return np.asarray(self.shape / self.scale * (np.asarray(hours, float) / self.scale) ** (self.shape - 1) * ratio)

    def unbiased_shape(self, truncation: str = "time") -> float:
        """(n - 1) / S, or (n - 2) / S after failure truncation: for one common window from 0 without covariates."""
        return self.shape * (self.events - {"time": 1, "failure": 2}[truncation]) / self.events

    def confint(self, level: float = 0.95, method: str = "profile") -> dict[str, tuple[Any, Any]]:
        """Limits {"shape", "scale"[, "coef"]}; coefficients have arrays (p,).

        ``method``: "profile" likelihood; "wald" on the log scale; "exact" (shape only: chi-square with 2 n degrees, for
        time-truncated windows from 0 of one length; MIL-HDBK-189).
        """
        if method == "exact":
            degrees = 2 * self.events
            low, high = (float(self.shape * chi2.ppf(q, degrees) / degrees) for q in ((1 - level) / 2, (1 + level) / 2))
            return {"shape": (low, high)}
        spread = norm.ppf(0.5 + level / 2) * np.sqrt(np.diag(self.covariance))
        p = self.coef.size
        log_pairs = [
            (np.log(value) - s, np.log(value) + s) for value, s in zip((self.shape, self.scale), spread, strict=False)
        ]
        coef = (self.coef - spread[2 : 2 + p], self.coef + spread[2 : 2 + p])
        if method == "profile":
            log_pairs = [self.model.profile(self.theta, j, level, spread[j]) for j in (0, 1)]
            both = [self.model.profile(self.theta, 2 + j, level, spread[2 + j]) for j in range(p)]
            coef = (np.array([low for low, _ in both]), np.array([high for _, high in both]))
        elif method != "wald":
            raise ValueError(f"method must be profile, wald or exact, not {method!r}")
        limits = {
            name: (float(np.exp(low)), float(np.exp(high)))
            for name, (low, high) in zip(("shape", "scale"), log_pairs, strict=True)
        }
        return {**limits, "coef": coef} if p else limits


class _PowerLaw:
    """Negative log-likelihood in (log shape, log scale, coef[, log dispersion]) over checked windows."""

    def __init__(self, windows: Windows, x: FloatArray, held: float | None, factors: bool):
        self.windows, self.x, self.held, self.factors = windows, x, held, factors
        self.width = x.shape[1]
        self.center = float(np.log(windows.end).mean())
        self.log_end = np.log(windows.end) - self.center
        with np.errstate(divide="ignore"):
            self.log_entry = np.log(windows.entry) - self.center
        self.counts = np.bincount(windows.event_code, minlength=windows.units)
        logs = np.log(windows.event_time)
        self.event_log, self.event_u = float(logs.sum()), float((logs - self.center).sum())
        self.event_x = x[windows.event_row].sum(axis=0)

    def expected(self, theta: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Expected repairs per unit (U,) and its derivatives in (log shape, log scale, coef) (U, 2 + p)."""
        shape = np.exp(theta[0])
        z = theta[1] - self.center
        tilt = np.exp(np.minimum(self.x @ theta[2 : 2 + self.width], 500.0))
        u_end, u_entry = self.log_end - z, self.log_entry - z
        top = np.exp(np.minimum(shape * u_end, 500.0)) * tilt
        bottom = np.exp(np.minimum(shape * u_entry, 500.0)) * tilt
        slope = shape * (top * u_end - np.where(bottom > 0, bottom * np.where(bottom > 0, u_entry, 0.0), 0.0))
        mass = top - bottom
        columns = [slope, -shape * mass, *(mass * self.x.T)]
        code, units = self.windows.code, self.windows.units
        gather = [np.bincount(code, weights=c, minlength=units).astype(float) for c in [mass, *columns]]
        return gather[0], np.stack(gather[1:], axis=1)

    def cost(self, theta: FloatArray) -> tuple[float, FloatArray]:
        """Negative log-likelihood and gradient."""
        mass, slope = self.expected(theta)
        n, shape = self.windows.event_time.size, np.exp(theta[0])
        z = theta[1] - self.center
        coef = theta[2 : 2 + self.width]
        value = n * theta[0] + shape * (self.event_u - n * z) - self.event_log + self.event_x @ coef
        gradient = np.zeros(theta.size)
        gradient[0] = n + shape * (self.event_u - n * z)
        gradient[1] = -n * shape
        gradient[2 : 2 + self.width] = self.event_x
        k = self.counts
        if self.factors:
            a = np.exp(-theta[-1])
            value += float((gammaln(a + k) - gammaln(a) + a * np.log(a) - (a + k) * np.log(a + mass)).sum())
            gradient[: 2 + self.width] -= ((a + k) / (a + mass)) @ slope
            by_a = digamma(a + k) - digamma(a) + np.log(a) + 1.0 - np.log(a + mass) - (a + k) / (a + mass)
            gradient[-1] = -a * by_a.sum()
        else:
            value -= mass.sum()
            gradient[: 2 + self.width] -= slope.sum(axis=0)
        if self.held is not None:
            gradient[0] = 0.0
        return -float(value), -gradient

    def hessian(self, theta: FloatArray) -> FloatArray:
        """Second derivatives of the cost, by central differences of its exact gradient."""
        step = 1e-5
        rows = []
        for j in range(theta.size):
            shift = np.zeros(theta.size)
            shift[j] = step
            rows.append((self.cost(theta + shift)[1] - self.cost(theta - shift)[1]) / (2 * step))
        matrix = np.array(rows)
        return 0.5 * (matrix + matrix.T)

    def solve(self, theta: FloatArray, fixed: tuple[int, ...] = ()) -> tuple[FloatArray, float, bool, int]:
        """Minimise the cost with some parameters kept: parameters, cost, converged, iterations."""
        keep = set(fixed) | ({0} if self.held is not None else set())
        free = np.array([j for j in range(theta.size) if j not in keep], dtype=int)
        theta = theta.copy()
        if not free.size:
            return theta, self.cost(theta)[0], True, 0

        def part(values: FloatArray) -> tuple[float, FloatArray]:
            full = theta.copy()
            full[free] = values
            value, gradient = self.cost(full)
            return value, gradient[free]

        with np.errstate(over="ignore", invalid="ignore"):
            found = minimize(part, theta[free], jac=True, method="BFGS", options={"gtol": 1e-6, "maxiter": 500})
        theta[free] = found.x
        count = int(found.nit)
        for _ in range(20):
            value, gradient = self.cost(theta)
            block = self.hessian(theta)[np.ix_(free, free)]
            move = np.linalg.lstsq(block, -gradient[free], rcond=1e-13)[0]
            decrement = float(-gradient[free] @ move)
            count += 1
            if not 0 <= decrement < 1e2:
                break
            trial = theta.copy()
            trial[free] += move
            if self.cost(trial)[0] > value + 1e-10 * (1 + abs(value)):
                break
            theta = trial
            if decrement < 1e-14 * (1 + abs(value)):
                break
        value, gradient = self.cost(theta)
        return theta, value, bool(np.abs(gradient[free]).max() < 1e-4 * (1 + abs(value))), count

    def profile(self, theta: FloatArray, j: int, level: float, spread: float) -> tuple[float, float]:
        """Limits of parameter j, maximised over the others."""
        if spread == 0:
            return float(theta[j]), float(theta[j])
        target = self.cost(theta)[0] + 0.5 * float(chi2.ppf(level, 1))

        def short(at: float) -> float:
            start = theta.copy()
            start[j] = at
            return self.solve(start, fixed=(j,))[1] - target

        ends = []
        for side in (-1.0, 1.0):
            far = float(theta[j] + side * spread)
            while short(far) < 0 and abs(far - theta[j]) < 40:
                far = float(theta[j] + 1.6 * (far - theta[j]))
            reached = abs(far - theta[j]) < 40
            ends.append(float(brentq(short, theta[j], far, xtol=1e-8)) if reached else side * np.inf)
        return ends[0], ends[1]


def fit_power_law(
    event_unit: ArrayLike,
    event_time: ArrayLike,
    unit: ArrayLike,
    entry: ArrayLike = 0.0,
    end: ArrayLike | None = None,
    *,
    covariates: ArrayLike | None = None,
    factors: bool = False,
    shape: float | None = None,
) -> PowerLawFit:
    """Fit a power-law intensity to the repairs of many units by maximum likelihood.

    Parameters
    ----------
    event_unit, event_time : array_like, shape (e,)
        Unit and engine hours of every repair; ties within a unit are several repairs.
    unit, entry, end : array_like, shape (u,)
        Observation windows (entry, end] in hours; a unit may have several, one for each span of constant covariates.
        Ends may differ between units and entry may be late. A failure-truncated unit ends at its last event.
    covariates : array_like, shape (u, p) or (u,), optional
        Constant over each window.
    factors : bool
        Give every unit its own factor, Gamma(a, a) with a estimated: units differ more than chance would make them.
    shape : float, optional
        Hold the shape there (1: a constant rate).

    Returns
    -------
    PowerLawFit

    Raises
    ------
    ValueError
        Without any event, or for a window or event that is not valid (named by its number).

    Notes
    -----
    Crow (1974), AMSAA TR-138; MIL-HDBK-189; for unequal ends the closed form n / S does not hold and the likelihood is
    solved. With factors the marginal likelihood is gamma-Poisson (Lawless 1987, Technometrics
    29:87-95). With late entry a few events can fall so that the likelihood rises without end as the shape goes to 0:
    ``converged`` is then False and shape and scale are NaN.

    Examples
    --------
    Ten failures of one system in 1500 h (NIST/SEMATECH e-Handbook, section 8.4.5.2):

    >>> hours = [5, 40, 43, 175, 389, 712, 747, 795, 1299, 1478]
    >>> fit = fit_power_law([1] * 10, hours, [1], 0, [1500])
    >>> round(fit.shape, 4), round(fit.unbiased_shape(), 4)
    (0.5372, 0.4835)
    """
    if end is None:
        raise ValueError("end is needed: the hours up to which each unit was watched")
    windows = Windows.build(event_unit, event_time, unit, entry, end)
    if not windows.event_time.size:
        raise ValueError("no event: there is nothing to fit")
    rows = windows.code.size
    x = np.empty((rows, 0)) if covariates is None else np.asarray(covariates, dtype=float).reshape(rows, -1)
    if not np.isfinite(x).all():
        raise ValueError(f"window {int(np.argmax(~np.isfinite(x).all(axis=1)))}: a covariate is not finite")
    plain = _PowerLaw(windows, x, shape, factors=False)
    theta = _start(windows, x, shape)
    theta, value, converged, iterations = plain.solve(theta)
    converged &= abs(theta[0]) < RUNAWAY
    model, dispersion = plain, 0.0
    if factors:
        mass = plain.expected(theta)[0]
        excess = float(((plain.counts - mass) ** 2 - plain.counts).sum())
        # The likelihood rises from dispersion 0 only if the counts vary more than Poisson counts would.
        if excess > 0 and converged:
            model = _PowerLaw(windows, x, shape, factors=True)
            first = np.log(np.clip(excess / max(float((mass**2).sum()), 1e-12), 1e-3, 10.0))
            theta, value, converged, more = model.solve(np.append(theta, first))
            iterations += more
            converged &= abs(theta[0]) < RUNAWAY
            dispersion = float(np.exp(theta[-1]))
    mass = model.expected(theta)[0]
    a = np.inf if dispersion == 0 else 1.0 / dispersion
    posterior = np.ones(windows.units) if np.isinf(a) else (a + model.counts) / (a + mass)
    return PowerLawFit(
        shape=float(np.exp(theta[0])) if converged else np.nan,
        scale=float(np.exp(theta[1])) if converged else np.nan,
        coef=theta[2 : 2 + x.shape[1]],
        dispersion=dispersion,
        units=windows.names,
        repairs=model.counts,
        expected=mass,
        factors=posterior,
        covariance=_covariance(model, theta),
        log_likelihood=-value,
        converged=converged,
        iterations=iterations,
        events=int(windows.event_time.size),
        model=model,
        theta=theta,
    )


def _start(windows: Windows, x: FloatArray, shape: float | None) -> FloatArray:
    """Closed form of equal windows from 0, kept to sensible shapes."""
    n = windows.event_time.size
    late = float(np.log(windows.end[windows.event_row] / windows.event_time).sum())
    start = shape if shape is not None else float(np.clip(n / max(late, 1e-9), 0.2, 4.0))
    mass = float((windows.end**start - windows.entry**start).sum())
    return np.concatenate([[np.log(start), np.log(mass / n) / start], np.zeros(x.shape[1])])


def _covariance(model: _PowerLaw, theta: FloatArray) -> FloatArray:
    free = np.arange(1 if model.held is not None else 0, theta.size)
    full = np.zeros((theta.size, theta.size))
    full[np.ix_(free, free)] = np.linalg.pinv(model.hessian(theta)[np.ix_(free, free)], hermitian=True)
    return full
