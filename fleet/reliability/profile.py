"""Profile-likelihood limits for all groups at once.

The limit is where the likelihood, maximised over everything else, has fallen by half a chi-square quantile. Both
conditions
are solved together by Newton's method in the manner of Venzon & Moolgavkar (1988), Applied Statistics 37:87-94; a
group where
that wanders off is finished by bracketing.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.newton import Objective, Solution, maximise, positive_definite

#: Farthest a limit may lie from the estimate on the log scale before it counts as 0 or inf.
FARTHEST = 40.0
#: So near the wanted drop the guess that follows is the limit of a coefficient.
COEFFICIENT_GAP = 1e-4
#: Steps and gaps below this are the last ones.
SMALL = 1e-4


class ProfileSurface:
    """One group's penalised likelihood in (psi, nuisance), psi the log shape or a log quantile, with coefficients.

    The other groups' say in the common coefficients enters as its quadratic form, which is exact for one group.
    """

    def __init__(self, objective: Objective, solution: Solution, probability: float | None, hold: bool):
        self.objective, self.hold = objective, hold
        self.y = None if probability is None else float(np.log(-np.log1p(-probability)))
        self.b_hat = solution.b
        groups, p = solution.s.size, solution.b.size
        self.others = np.zeros((groups, p, p))
        if p:
            information = -solution.hessian[:, 2:, 2:]
            cross = -solution.hessian[:, :2, 2:]
            own = np.where(solution.converged[:, None, None], -solution.hessian[:, :2, :2], np.eye(2))
            each = information - cross.transpose(0, 2, 1) @ np.linalg.solve(own, cross)
            each[~solution.converged] = 0.0
            self.others = each.sum(axis=0)[None] - each
        self.coef_precision = objective.coef_precision
        #: Coordinates of the estimate (G, 2 + p); value (G,) and Hessian there, where the gradient is 0.
        self.best = self._start(solution)
        level = np.zeros((groups, 2 + p))
        self.top, _, self.bend = self._seen_from(self.best, solution.value, level, solution.hessian.copy())

    def _start(self, solution: Solution) -> FloatArray:
        """Coordinates (psi, other, b) of the estimate, shape (G, 2 + p)."""
        b = np.broadcast_to(solution.b, (solution.s.size, solution.b.size))
        if self.y is None:
            return np.column_stack([solution.s, solution.a, b])
        psi = self.objective.likelihood.center + (self.y - solution.a) * np.exp(-solution.s)
        return np.column_stack([psi, solution.s, b])

    def evaluate(self, z: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Value, gradient and Hessian at coordinates z (G, 2 + p)."""
        s, a = self.shape_and_rate(z)
        return self._seen_from(z, *self.objective.groupwise(s, a, z[:, 2:]))

    def _seen_from(
        self, z: FloatArray, value: FloatArray, gradient: FloatArray, hessian: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The objective's derivatives in (s, a, b) turned into those of this surface at z; they are changed."""
        s, a = self.shape_and_rate(z)
        k, b = np.exp(s), z[:, 2:]
        if b.shape[1]:
            off = b - self.b_hat
            pull = np.einsum("gij,gj->gi", self.others, off)
            prior = self.coef_precision * (b - self.objective.coef_mean)
            value = (
                value - 0.5 * np.einsum("gi,gi->g", off, pull) - 0.5 * (prior * (b - self.objective.coef_mean)).sum(1)
            )
            gradient[:, 2:] -= pull + prior
            hessian[:, 2:, 2:] -= self.others + np.diag(self.coef_precision)
        if self.y is None:
            return value, gradient, hessian
        turn = np.zeros_like(hessian)
        turn[:, 0, 1] = 1.0
        turn[:, 1, 0], turn[:, 1, 1] = -k, a - self.y
        for j in range(2, hessian.shape[1]):
            turn[:, j, j] = 1.0
        slope_a = gradient[:, 1]
        turned = turn.transpose(0, 2, 1)
        gradient = np.einsum("gij,gj->gi", turned, gradient)
        hessian = turned @ hessian @ turn
        hessian[:, 1, 1] += slope_a * (a - self.y)
        hessian[:, 0, 1] -= slope_a * k
        hessian[:, 1, 0] -= slope_a * k
        return value, gradient, hessian

    def shape_and_rate(self, z: FloatArray) -> tuple[FloatArray, FloatArray]:
        """(s, a) at coordinates z, each of shape (G,)."""
        if self.y is None:
            return z[:, 0], z[:, 1]
        return z[:, 1], self.y - np.exp(z[:, 1]) * (z[:, 0] - self.objective.likelihood.center)

    def nuisance(self, width: int) -> np.ndarray:
        """Columns of z that are maximised over."""
        first = 2 if self.hold else 1
        return np.arange(first, width)


def profile_interval(
    objective: Objective,
    solution: Solution,
    level: float,
    *,
    probability: float | None = None,
    hold_shape: bool = False,
) -> tuple[FloatArray, FloatArray]:
    """Profile limits of the shape, or of a quantile where ``probability`` is given, each of shape (G,)."""
    if not 0 < level < 1:
        raise ValueError("level must lie between 0 and 1")
    surface = ProfileSurface(objective, solution, probability, hold_shape)
    drop = 0.5 * float(chi2.ppf(level, 1))
    with np.errstate(all="ignore"):
        low = profile_limit(surface, solution, drop, -1.0)
        high = profile_limit(surface, solution, drop, 1.0, _mirrored(surface, low, drop))
    return np.exp(low[:, 0]), np.exp(high[:, 0])


def profile_limit(
    surface: ProfileSurface, solution: Solution, drop: float | FloatArray, side: float, near: FloatArray | None = None
) -> FloatArray:
    """Coordinates (G, 2 + p) on the ridge where it has fallen by ``drop``, below (side -1) or above the estimate.

    ``near`` are coordinates to start from, those of a limit for a slightly different drop.
    """
    best = surface.best
    nu = surface.nuisance(best.shape[1])
    target = surface.top - drop
    slide, curve = _along(surface)
    width = np.sqrt(2 * drop / np.maximum(curve, 1e-12))
    z = best.copy()
    z[:, 0] += side * np.minimum(width, 2.0)
    z[:, nu] += slide * (side * np.minimum(width, 2.0))[:, None]
    if near is not None:
        z = np.where(np.isfinite(near).all(axis=1, keepdims=True), near, z)
    done = ~solution.converged
    for _ in range(30):
        value, gradient, hessian = surface.evaluate(z)
        rest = _solve(hessian, nu, gradient[:, nu])
        slide = -_solve(hessian, nu, hessian[:, nu, 0])
        # Along the ridge: value + lift + slope d + curve d^2 / 2 = target.
        lift = -0.5 * np.einsum("gi,gi->g", gradient[:, nu], rest)
        slope = gradient[:, 0] + np.einsum("gi,gi->g", gradient[:, nu], slide)
        curve = hessian[:, 0, 0] + np.einsum("gi,gi->g", hessian[:, 0, nu], slide)
        gap = value + lift - target
        root = slope**2 - 2 * curve * gap
        bent = np.abs(curve) > 1e-10
        inside = np.where(root >= 0, np.sqrt(np.maximum(root, 0.0)), 0.0)
        step = np.where(bent & (root >= 0), -2 * gap / (slope - side * inside), -gap / slope)
        step = np.where(np.isfinite(step), step, side * 0.5)
        move = np.clip(step, -1.0, 1.0)
        shift = -rest + slide * move[:, None]
        if nu.size:
            move *= (scale := np.minimum(1.0, 1.0 / np.maximum(np.abs(shift[:, 0]), 1e-300)))
            shift *= scale[:, None]
        go = ~done
        z[:, 0] += np.where(go, move, 0.0)
        z[:, nu] += np.where(go[:, None], shift, 0.0)
        # What a step this small leaves is of the order of its square.
        small = (np.abs(gap) < SMALL) & (np.abs(step) < SMALL) & (np.abs(shift).max(axis=1, initial=0.0) < 10 * SMALL)
        done = done | small
        if done.all():
            break
    wrong = side * (z[:, 0] - best[:, 0]) <= 0
    lost = (~done | wrong | ~np.isfinite(z).all(axis=1)) & solution.converged
    if lost.any():
        limit = _bracket(surface, best, target, side, lost)
        found = lost & np.isfinite(limit)
        _, ridge = _ridge(surface, best, np.where(found, limit, best[:, 0]))
        z[lost] = ridge[lost]
        z[lost, 0] = limit[lost]
    return np.asarray(z, dtype=float)


def _along(surface: ProfileSurface) -> tuple[FloatArray, FloatArray]:
    """How the nuisance parameters follow psi at the estimate (G, m), and how fast the ridge falls there (G,)."""
    nu, bend = surface.nuisance(surface.best.shape[1]), surface.bend
    slide = -_solve(bend, nu, bend[:, nu, 0])
    return slide, -(bend[:, 0, 0] + np.einsum("gi,gi->g", bend[:, 0, nu], slide))


def _mirrored(surface: ProfileSurface, limit: FloatArray, drop: float) -> FloatArray:
    """Where the other limit lies if the ridge is a cubic through ``limit``: coordinates (G, 2 + p) to start from."""
    nu = surface.nuisance(surface.best.shape[1])
    slide, curve = _along(surface)
    off = limit - surface.best
    d = off[:, 0]
    skew = (0.5 * curve * d**2 - drop) / d**3
    bow = (off[:, nu] - slide * d[:, None]) / (d**2)[:, None]
    w = -np.sign(d) * np.sqrt(2 * drop / curve)
    for _ in range(4):
        w = w - (0.5 * curve * w**2 - skew * w**3 - drop) / (curve * w - 3 * skew * w**2)
    z = surface.best.copy()
    z[:, 0] += w
    z[:, nu] += slide * w[:, None] + bow * (w**2)[:, None]
    # Where the limits lie very unevenly a cubic says nothing.
    even = (w * d < 0) & (np.abs(w) < 3 * np.abs(d)) & (np.abs(d) < 3 * np.abs(w))
    return np.where(even[:, None], z, np.nan)


def _solve(hessian: FloatArray, nu: np.ndarray, right: FloatArray) -> FloatArray:
    """H_nn^-1 right, kept negative definite so that the nuisance parameters climb."""
    if not nu.size:
        return np.zeros((hessian.shape[0], 0))
    block = np.nan_to_num(hessian[:, nu[:, None], nu[None, :]])
    found = np.linalg.solve(positive_definite(-block), np.nan_to_num(right)[:, :, None])[:, :, 0]
    return np.asarray(-found, dtype=float)


def _ridge(surface: ProfileSurface, z: FloatArray, psi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Value maximised over the nuisance parameters at given psi, starting from z; and where."""
    z = z.copy()
    z[:, 0] = psi
    nu = surface.nuisance(z.shape[1])
    value, gradient, hessian = surface.evaluate(z)
    for _ in range(40):
        step = -_solve(hessian, nu, gradient[:, nu])
        if nu.size:
            step *= np.minimum(1.0, 1.0 / np.maximum(np.abs(step[:, :1]), 1e-300))
        factor = np.ones(psi.size)
        for _half in range(12):
            trial = z.copy()
            trial[:, nu] += step * factor[:, None]
            new_value, new_gradient, new_hessian = surface.evaluate(trial)
            fell = ~(new_value >= value - 1e-10 * (1 + np.abs(value)))
            if not fell.any():
                break
            factor = np.where(fell, factor / 2, factor)
        z, value, gradient, hessian = trial, new_value, new_gradient, new_hessian
        if np.nanmax(np.abs(np.einsum("gi,gi->g", gradient[:, nu], step)), initial=0.0) < 1e-11:
            break
    return value, z


def _bracket(
    surface: ProfileSurface, best: FloatArray, target: FloatArray, side: float, wanted: np.ndarray
) -> FloatArray:
    """Slow and sure: march outwards until the ridge is below the target, then bisect."""
    inner = best[:, 0].copy()
    outer = inner + side * 0.25
    z = best.copy()
    stride = np.full(inner.size, 0.25)
    open_side = wanted.copy()
    for _ in range(60):
        value, z = _ridge(surface, z, np.where(open_side, outer, best[:, 0]))
        below = ~(value > target)
        open_side &= ~below & (np.abs(outer - best[:, 0]) < FARTHEST)
        if not open_side.any():
            break
        inner = np.where(open_side, outer, inner)
        stride = np.where(open_side, stride * 1.5, stride)
        outer = np.where(open_side, outer + side * stride, outer)
    endless = np.abs(outer - best[:, 0]) >= FARTHEST
    for _ in range(45):
        middle = 0.5 * (inner + outer)
        value, _ = _ridge(surface, best, np.where(wanted, middle, best[:, 0]))
        above = value > target
        inner, outer = np.where(above, middle, inner), np.where(above, outer, middle)
    return np.where(endless, side * np.inf, 0.5 * (inner + outer))


def coefficient_interval(
    objective: Objective, solution: Solution, level: float, *, hold_shape: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Profile limits of each common coefficient, each of shape (p,): all groups are refitted at every trial value."""
    drop = 0.5 * float(chi2.ppf(level, 1))
    p = solution.b.size
    low, high = np.empty(p), np.empty(p)

    def total(found: Solution) -> float:
        prior = 0.5 * objective.coef_precision @ (found.b - objective.coef_mean) ** 2
        return float(found.value[solution.converged].sum() - prior)

    top = total(solution)
    covariance, follow = _coefficient_spread(objective, solution, hold_shape)
    for j in range(p):
        free = np.arange(p) != j
        # How the other parameters move along the ridge, per unit of this coefficient.
        lean_b = covariance[:, j] / covariance[j, j]
        lean = follow @ lean_b
        for side, out in ((-1.0, low), (1.0, high)):
            inside, outside = 0.0, np.inf
            at = side * np.sqrt(2 * drop * covariance[j, j])
            now, was = solution, 0.0
            for _ in range(40):
                shift = at - was
                now = maximise(
                    objective,
                    now.s + lean[:, 0] * shift,
                    now.a + lean[:, 1] * shift,
                    now.b + lean_b * shift,
                    hold_shape=hold_shape,
                    free=free,
                    tolerance=1e-6,
                )
                was = at
                gap = top - total(now) - drop
                inside, outside = (max(inside, abs(at)), outside) if gap < 0 else (inside, min(outside, abs(at)))
                # The square root of the drop is nearly linear in the distance.
                guess = abs(at) * np.sqrt(drop / max(drop + gap, drop * 0.04))
                if not inside < guess < outside:
                    guess = 2 * inside if np.isinf(outside) else 0.5 * (inside + outside)
                at = side * guess
                if abs(gap) < COEFFICIENT_GAP:
                    break
                if abs(at) > FARTHEST:
                    at = side * np.inf
                    break
            out[j] = solution.b[j] + at
    return low, high


def _coefficient_spread(objective: Objective, solution: Solution, hold_shape: bool) -> tuple[FloatArray, FloatArray]:
    """Covariance of the coefficients (p, p), and how each group's (s, a) follows them (G, 2, p)."""
    ok = solution.converged
    information = np.where(ok[:, None, None], -solution.hessian, 0.0)
    own, cross = information[:, :2, :2].copy(), information[:, :2, 2:].copy()
    own[~ok] = np.eye(2)
    if hold_shape:
        own[:, 0, :] = own[:, :, 0] = cross[:, 0, :] = 0.0
        own[:, 0, 0] = 1.0
    follow = -np.linalg.solve(own, cross)
    schur = (information[:, 2:, 2:] + cross.transpose(0, 2, 1) @ follow).sum(axis=0)
    return np.linalg.pinv(schur + np.diag(objective.coef_precision), hermitian=True), follow
