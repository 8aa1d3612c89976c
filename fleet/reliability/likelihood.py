"""Log-likelihood of the Weibull hazard with its first and second derivatives, for all groups at once.

Each row's cumulative hazard is ``exp(a + k (log t - c) + x . b)`` with k = exp(s): s the log shape and a a log rate
at the group's
own center c (mean log event time), which keeps s and a nearly uncorrelated. Every sum over rows is one sparse
product, so
that no Python loop runs over groups.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import csr_array

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes

#: Hazards worked out in one go, so that they stay in the processor's own memory.
BLOCK = 40_000


class _Points:
    """Signed cumulative hazards at many hours, summed into bins (groups or event intervals) with their moments."""

    def __init__(
        self, log_time: FloatArray, weight: FloatArray, x: FloatArray, group: IntArray, bins: IntArray, count: int
    ):
        order = np.argsort(bins, kind="stable")
        self.u, self.weight, self.x, self.group = log_time[order], weight[order], x[order], group[order]
        self.signed = bool((self.weight != 1.0).any())
        # Sorted groups are spread over their points in one run, several times as fast as picking them one by one.
        in_runs = bool((np.diff(self.group) >= 0).all())
        self.runs = np.bincount(self.group, minlength=1) if in_runs else None
        self.columns = np.ascontiguousarray(self.x.T)
        p = x.shape[1]
        self.upper = np.triu_indices(p)
        pointer = np.concatenate([[0], np.cumsum(np.bincount(bins, minlength=count))]).astype(np.int32)
        indices = np.arange(order.size, dtype=np.int32)
        u = self.u[:, None]
        cross = self.x[:, self.upper[0]] * self.x[:, self.upper[1]]
        self.basis = np.concatenate([np.ones_like(u), u, u * u, self.x, self.x * u, cross], axis=1)
        self.sums = csr_array((self.weight.copy(), indices, pointer), shape=(count, order.size))

    def moments(self, a: FloatArray, k: FloatArray, b: FloatArray) -> FloatArray:
        """Sums of H times the basis per bin, shape (bins, 3 + 2 p + p (p + 1) / 2)."""
        return self._filled(a, k, b) @ self.basis

    def totals(self, a: FloatArray, k: FloatArray, b: FloatArray) -> FloatArray:
        """Sums of H per bin at many parameters at once: a, k (K, G) and b (K, p) give (K, bins)."""
        found = np.zeros((a.shape[0], self.sums.shape[0]))
        if not self.u.size:
            return found
        filled = np.flatnonzero(np.diff(self.sums.indptr))
        first = self.sums.indptr[filled]
        size = max(1, BLOCK // self.u.size)
        for start in range(0, a.shape[0], size):
            part = slice(start, start + size)
            power = self._spread(k[part]) * self.u
            power += self._spread(a[part])
            if self.columns.size:
                power += b[part] @ self.columns
            hazard = np.exp(np.minimum(power, 600.0, out=power), out=power)
            if self.signed:
                hazard *= self.weight
            # Points are sorted by bin, so that a bin's are one run.
            found[part, filled] = np.add.reduceat(hazard, first, axis=1)
        return found

    def _filled(self, a: FloatArray, k: FloatArray, b: FloatArray) -> csr_array:
        # The pattern never changes; building the matrix anew would cost more than the product on small data.
        self.sums.data = self._hazard(a, k, b)
        return self.sums

    def _hazard(self, a: FloatArray, k: FloatArray, b: FloatArray) -> FloatArray:
        power = self._spread(k) * self.u
        power += self._spread(a)
        for j, column in enumerate(self.columns):
            power += column * self._spread(b[:, j])
        hazard = np.exp(np.minimum(power, 600.0, out=power), out=power)
        if self.signed:
            hazard *= self.weight
        return hazard

    def _spread(self, values: FloatArray) -> FloatArray:
        """Each point's value of its group, the last axis of ``values``: shape (..., points)."""
        if self.runs is None:
            return np.asarray(values[..., self.group], dtype=float)
        return np.repeat(values[..., : self.runs.size], self.runs, axis=-1)


class WeibullLikelihood:
    """Rows of one :class:`Lifetimes`, arranged once and evaluated at any (s, a, b) per group."""

    def __init__(self, lifetimes: Lifetimes):
        self.groups = int(lifetimes.groups)
        self.width = lifetimes.covariates.shape[1]
        self.upper = np.triu_indices(2 + self.width)
        self.events = lifetimes.event_counts()
        rows = lifetimes
        exact, interval = rows.exact, rows.interval
        self._center(rows, exact, interval)
        center = self.center[rows.group]
        self._exact_sums(rows, exact, center)
        self._survival_points(rows, center)
        self._interval_points(rows, interval, center)

    def _center(self, rows: Lifetimes, exact: np.ndarray, interval: np.ndarray) -> None:
        hit = exact | interval
        middle = np.where(interval, 0.5 * (rows.lower + np.where(np.isfinite(rows.upper), rows.upper, 0.0)), rows.lower)
        seen = np.bincount(rows.group[hit], minlength=self.groups)
        logs = np.bincount(rows.group[hit], weights=np.log(middle[hit]), minlength=self.groups)
        end = np.zeros(self.groups)
        np.maximum.at(end, rows.group, rows.lower)
        spare = np.log(np.where(end > 0, end, 1.0))
        self.center = np.where(seen > 0, logs / np.maximum(seen, 1), spare)

    def _exact_sums(self, rows: Lifetimes, exact: np.ndarray, center: FloatArray) -> None:
        group = rows.group[exact]
        logs = np.log(rows.lower[exact])

        def total(values: FloatArray) -> FloatArray:
            return np.bincount(group, weights=values, minlength=self.groups).astype(float)

        self.exact = total(np.ones(group.size))
        self.exact_u = total(logs - center[exact])
        columns = [total(rows.covariates[exact, j]) for j in range(self.width)]
        self.exact_x = np.stack(columns, axis=1) if columns else np.empty((self.groups, 0))

    def _survival_points(self, rows: Lifetimes, center: FloatArray) -> None:
        ends = (rows.lower > rows.entry) & (rows.lower > 0)
        starts = (rows.lower > rows.entry) & (rows.entry > 0)
        hours = np.concatenate([rows.lower[ends], rows.entry[starts]])
        sign = np.concatenate([np.ones(ends.sum()), -np.ones(starts.sum())])
        pick = np.concatenate([np.flatnonzero(ends), np.flatnonzero(starts)])
        group = rows.group[pick]
        self.survival = _Points(np.log(hours) - center[pick], sign, rows.covariates[pick], group, group, self.groups)

    def _interval_points(self, rows: Lifetimes, interval: np.ndarray, center: FloatArray) -> None:
        hit = np.flatnonzero(interval)
        spell = hit if rows.spell is None else rows.spell[hit]
        first, event = np.unique(spell, return_index=True, return_inverse=True)[1:]
        self.event_group = rows.group[hit][first]
        self.event_points: _Points | None = None
        if not hit.size:
            return
        late = rows.lower[hit] > 0
        pick = np.concatenate([hit, hit[late]])
        hours = np.concatenate([rows.upper[hit], rows.lower[hit][late]])
        sign = np.concatenate([np.ones(hit.size), -np.ones(late.sum())])
        bins = np.concatenate([event, event[late]])
        self.event_points = _Points(
            np.log(hours) - center[pick], sign, rows.covariates[pick], rows.group[pick], bins, first.size
        )
        order = np.argsort(self.event_group, kind="stable")
        pointer = np.concatenate([[0], np.cumsum(np.bincount(self.event_group, minlength=self.groups))])
        self.event_sum = csr_array((np.ones(order.size), order, pointer), shape=(self.groups, order.size))

    def start(self, shape: float | FloatArray = 1.5) -> tuple[FloatArray, FloatArray]:
        """Log shape and a in closed form at a given shape, ignoring covariates: (G,), (G,)."""
        s = np.broadcast_to(np.log(np.asarray(shape, dtype=float)), (self.groups,)).copy()
        zero, none = np.zeros(self.groups), np.zeros((self.groups, self.width))
        mass = self.survival.moments(zero, np.exp(s), none)[:, 0]
        if self.event_points is not None:
            mass = mass + 0.5 * (self.event_sum @ self.event_points.moments(zero, np.exp(s), none)[:, 0])
        ready = (self.events > 0) & (mass > 0)
        return s, np.where(ready, np.log(np.maximum(self.events, 0.5) / np.where(ready, mass, 1.0)), 0.0)

    def evaluate(self, s: FloatArray, a: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Log-likelihood (G,), gradient (G, q) and Hessian (G, q, q) in (s, a, b), q = 2 + p; b has shape (G, p)."""
        k = np.exp(s)
        value = self.exact * (s + a) + k * self.exact_u - self.exact_u - self.exact * self.center
        value += np.einsum("gp,gp->g", self.exact_x, b)
        gradient = np.empty((self.groups, 2 + self.width))
        gradient[:, 0] = self.exact + k * self.exact_u
        gradient[:, 1] = self.exact
        gradient[:, 2:] = self.exact_x
        total, slope, bend = self._derivatives(self.survival, a, k, b, k)
        hessian = -self._full(bend)
        hessian[:, 0, 0] += k * self.exact_u
        value -= total
        gradient -= slope
        if self.event_points is not None:
            self._add_events(value, gradient, hessian, a, k, b)
        return value, gradient, hessian

    def values(self, s: FloatArray, log_scale: FloatArray, b: FloatArray) -> FloatArray:
        """Log-likelihoods alone, in (log shape, log scale) of shape (K, G) and coefficients (K, p): shape (K, G)."""
        k = np.exp(s)
        a = k * (self.center - log_scale)
        value = self.exact * (s + a) + k * self.exact_u - self.exact_u - self.exact * self.center
        value = value + b @ self.exact_x.T - self.survival.totals(a, k, b)
        if self.event_points is not None:
            mass = np.maximum(self.event_points.totals(a, k, b), 1e-300)
            value += (self.event_sum @ np.log(-np.expm1(-mass)).T).T
        return np.asarray(value)

    def _derivatives(
        self, points: _Points, a: FloatArray, k: FloatArray, b: FloatArray, bin_shape: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Value, gradient and Hessian (its upper triangle, row by row) of the summed cumulative hazard of each bin."""
        m = points.moments(a, k, b)
        p, count = self.width, m.shape[0]
        slope = np.empty((count, 2 + p))
        bend = np.empty((count, self.upper[0].size))
        slope[:, 0] = bin_shape * m[:, 1]
        slope[:, 1] = m[:, 0]
        slope[:, 2:] = m[:, 3 : 3 + p]
        bend[:, 0] = slope[:, 0] + bin_shape**2 * m[:, 2]
        bend[:, 1] = slope[:, 0]
        bend[:, 2 : 2 + p] = bin_shape[:, None] * m[:, 3 + p : 3 + 2 * p]
        bend[:, 2 + p : 3 + 2 * p] = slope[:, 1:]
        bend[:, 3 + 2 * p :] = m[:, 3 + 2 * p :]
        return m[:, 0], slope, bend

    def _full(self, triangle: FloatArray) -> FloatArray:
        """Symmetric matrices (n, q, q) of their upper triangles (n, q (q + 1) / 2)."""
        q = 2 + self.width
        full = np.empty((triangle.shape[0], q, q))
        full[:, self.upper[0], self.upper[1]] = triangle
        full[:, self.upper[1], self.upper[0]] = triangle
        return full

    def _add_events(
        self, value: FloatArray, gradient: FloatArray, hessian: FloatArray, a: FloatArray, k: FloatArray, b: FloatArray
    ) -> None:
        """Add log(1 - exp(-A)) of every event interval, A its hazard summed over the pieces of its spell."""
        assert self.event_points is not None
        mass, slope, bend = self._derivatives(self.event_points, a, k, b, k[self.event_group])
        mass = np.maximum(mass, 1e-300)
        value += self.event_sum @ np.where(mass > 1e-8, np.log(-np.expm1(-mass)), np.log(mass) - mass / 2)
        ratio = 1.0 / np.expm1(np.minimum(mass, 600.0))
        gradient += self.event_sum @ (ratio[:, None] * slope)
        i, j = self.upper
        bend -= (1.0 + ratio)[:, None] * (slope[:, i] * slope[:, j])
        bend *= ratio[:, None]
        hessian += self._full(self.event_sum @ bend)

    def evaluate_scale(self, s: FloatArray, log_scale: FloatArray, b: FloatArray) -> tuple[FloatArray, ...]:
        """As :meth:`evaluate`, in (log shape, log scale, b)."""
        k = np.exp(s)
        a = k * (self.center - log_scale)
        value, gradient, hessian = self.evaluate(s, a, b)
        turn = np.zeros_like(hessian)
        turn[:, 0, 0] = 1.0
        turn[:, 1, 0], turn[:, 1, 1] = a, -k
        for j in range(2, turn.shape[1]):
            turn[:, j, j] = 1.0
        slope = gradient[:, 1].copy()
        gradient = np.einsum("gji,gj->gi", turn, gradient)
        hessian = turn.transpose(0, 2, 1) @ hessian @ turn
        hessian[:, 0, 0] += slope * a
        hessian[:, 0, 1] -= slope * k
        hessian[:, 1, 0] -= slope * k
        return value, gradient, hessian
