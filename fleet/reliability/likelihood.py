"""Log-likelihood of the Weibull hazard with its first and second derivatives, for all groups at once.

Each row's cumulative hazard is ``exp(a + k (log t - c) + x . b)`` with k = exp(s): s the log shape and a a log rate
at the group's own center c (mean log event time), which keeps s and a nearly uncorrelated. Points are kept in runs by
group and worked through in blocks that stay in the processor's own memory: no Python loop runs over groups, and no
table of products of the covariates is ever laid out.
"""

from __future__ import annotations

from itertools import combinations_with_replacement

import numpy as np
from scipy.sparse import csr_array

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes

#: Hazards worked out in one go, so that they stay in the processor's own memory.
BLOCK = 40_000
#: The same where every hazard has its products with the covariates beside it.
POINTS = 16_000


class _Runs:
    """Sums over runs of points: bins without any point are 0."""

    def __init__(self, counts: IntArray):
        self.counts = counts
        self.filled = np.flatnonzero(counts)
        self.first = (np.cumsum(counts) - counts)[self.filled]

    def sums(self, values: FloatArray) -> FloatArray:
        """Sums of ``values`` (..., points) over each run: (..., bins)."""
        found = np.zeros((*values.shape[:-1], self.counts.size))
        if self.filled.size:
            found[..., self.filled] = np.add.reduceat(values, self.first, axis=-1)
        return found


class _Block:
    """Some whole bins of points, and the groups they belong to."""

    def __init__(self, points: slice, bins: slice, bin_counts: IntArray, group: IntArray):
        self.points, self.bins = points, bins
        self.bin_runs = _Runs(bin_counts[bins])
        part = group[points]
        self.groups = slice(int(part[0]), int(part[-1]) + 1)
        self.repeats = np.bincount(part - part[0])
        self.group_runs = _Runs(self.repeats)


class _Points:
    """Signed cumulative hazards at many hours, summed into bins (groups or event intervals) with their moments.

    Points are sorted by bin, and bins by group.
    """

    def __init__(
        self, log_time: FloatArray, weight: FloatArray, x: FloatArray, group: IntArray, bins: IntArray, count: int
    ):
        order = np.argsort(bins, kind="stable")
        self.u, self.weight, self.group = log_time[order], weight[order], group[order]
        self.signed = bool((self.weight != 1.0).any())
        self.columns = [column[order] for column in x.T]
        self.pairs = list(combinations_with_replacement(range(len(self.columns)), 2))
        self.bin_counts = np.bincount(bins, minlength=count)
        self.bin_runs = _Runs(self.bin_counts)
        self.runs = np.bincount(self.group, minlength=1)
        self.blocks = self._blocks()
        self.short: tuple[csr_array, FloatArray] | None = None
        most = max((block.points.stop - block.points.start for block in self.blocks), default=0)
        # Room that is used again and again: fresh memory would cost more than the sums.
        self.room = np.empty((3 + 2 * len(self.columns) + len(self.pairs), most))
        self.spare = np.empty(most)

    def _blocks(self) -> list[_Block]:
        ends = np.cumsum(self.bin_counts)
        blocks, bin_from, from_ = [], 0, 0
        while from_ < self.u.size:
            bin_to = max(int(np.searchsorted(ends, from_ + POINTS, side="right")), bin_from + 1)
            while ends[bin_to - 1] == from_:
                bin_to += 1
            to = int(ends[bin_to - 1])
            blocks.append(_Block(slice(from_, to), slice(bin_from, bin_to), self.bin_counts, self.group))
            bin_from, from_ = bin_to, to
        return blocks

    def moments(self, a: FloatArray, k: FloatArray, b: FloatArray) -> FloatArray:
        """Sums per bin of H times 1, u, u^2, each x, each x u and each x x': (3 + 2 p + p (p + 1) / 2, bins)."""
        found = np.zeros((3 + 2 * len(self.columns) + len(self.pairs), self.bin_counts.size))
        for block in self.blocks:
            found[:, block.bins] = block.bin_runs.sums(
                self._products(self._hazard(block, a, k, b, self._table(block)[0]), block)
            )
        return found

    def first_moments(self, a: FloatArray, k: FloatArray, b: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Sums per bin of H times 1, u and each x, (2 + p, bins); and every point's H."""
        if self.short is None:
            # Bins of two or three points: a sparse product is several times as fast as runs.
            pointer = np.concatenate([[0], np.cumsum(self.bin_counts)])
            table = csr_array(
                (np.ones(self.u.size), np.arange(self.u.size), pointer), shape=(self.bin_counts.size, self.u.size)
            )
            self.short = table, np.column_stack([np.ones(self.u.size), self.u, *self.columns])
        table, basis = self.short
        # The pattern never changes; building the matrix anew would cost more than the product on small data.
        for block in self.blocks:
            self._hazard(block, a, k, b, table.data[block.points])
        return np.ascontiguousarray((table @ basis).T), table.data.copy()

    def group_moments(self, hazard: FloatArray, groups: int) -> FloatArray:
        """As :meth:`moments`, of given H per point, summed by group."""
        found = np.zeros((3 + 2 * len(self.columns) + len(self.pairs), groups))
        for block in self.blocks:
            # A group may go on in the next block.
            table = self._table(block)
            table[0] = hazard[block.points]
            found[:, block.groups] += block.group_runs.sums(self._products(table[0], block))
        return found

    def totals(self, a: FloatArray, k: FloatArray, b: FloatArray) -> FloatArray:
        """Sums of H per bin at many parameters at once: a, k (K, G) and b (K, p) give (K, bins)."""
        found = np.zeros((a.shape[0], self.bin_counts.size))
        if not self.u.size:
            return found
        size = max(1, BLOCK // self.u.size)
        x = np.asarray(self.columns)
        for start in range(0, a.shape[0], size):
            part = slice(start, start + size)
            power = self._spread(k[part]) * self.u
            power += self._spread(a[part])
            if x.size:
                power += b[part] @ x
            hazard = np.exp(np.minimum(power, 600.0, out=power), out=power)
            if self.signed:
                hazard *= self.weight
            found[part] = self.bin_runs.sums(hazard)
        return found

    def _table(self, block: _Block) -> FloatArray:
        """Room for a block's products, a row each."""
        n = block.points.stop - block.points.start
        return self.room.reshape(-1)[: self.room.shape[0] * n].reshape(-1, n)

    def _hazard(self, block: _Block, a: FloatArray, k: FloatArray, b: FloatArray, out: FloatArray) -> FloatArray:
        """H of a block's points, written to ``out``."""
        np.multiply(np.repeat(k[block.groups], block.repeats), self.u[block.points], out=out)
        out += np.repeat(a[block.groups], block.repeats)
        term = self.spare[: out.size]
        for j, column in enumerate(self.columns):
            part = b[block.groups, j]
            # The same coefficient in every group is not spread over the points.
            np.multiply(
                column[block.points], part[0] if b.strides[0] == 0 else np.repeat(part, block.repeats), out=term
            )
            out += term
        np.exp(np.minimum(out, 600.0, out=out), out=out)
        if self.signed:
            out *= self.weight[block.points]
        return out

    def _products(self, hazard: FloatArray, block: _Block) -> FloatArray:
        """The block's table, its first row ``hazard``, filled with the products of :meth:`moments`."""
        p, u, found = len(self.columns), self.u[block.points], self._table(block)
        x = [column[block.points] for column in self.columns]
        np.multiply(hazard, u, out=found[1])
        np.multiply(found[1], u, out=found[2])
        for j in range(p):
            np.multiply(hazard, x[j], out=found[3 + j])
            np.multiply(found[1], x[j], out=found[3 + p + j])
        for c, (i, j) in enumerate(self.pairs):
            np.multiply(found[3 + i], x[j], out=found[3 + 2 * p + c])
        return found

    def _spread(self, values: FloatArray) -> FloatArray:
        """Each point's value of its group, the last axis of ``values``: shape (..., points)."""
        return np.repeat(values[..., : self.runs.size], self.runs, axis=-1)


class WeibullLikelihood:
    """Rows of one :class:`Lifetimes`, arranged once and evaluated at any (s, a, b) per group."""

    def __init__(self, lifetimes: Lifetimes):
        self.groups = int(lifetimes.groups)
        self.width = lifetimes.covariates.shape[1]
        self.pairs = list(combinations_with_replacement(range(self.width), 2))
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
        order = np.argsort(rows.group[hit][first], kind="stable")
        place = np.empty_like(order)
        place[order] = np.arange(order.size)
        event = place[event]
        self.event_group = rows.group[hit][first][order]
        self.event_runs = _Runs(np.bincount(self.event_group, minlength=self.groups))
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

    def start(self, shape: float | FloatArray = 1.5) -> tuple[FloatArray, FloatArray]:
        """Log shape and a in closed form at a given shape, ignoring covariates: (G,), (G,)."""
        s = np.broadcast_to(np.log(np.asarray(shape, dtype=float)), (self.groups,)).copy()
        zero, none = np.zeros(self.groups), np.zeros((1, self.width))
        mass = self.survival.totals(zero[None], np.exp(s)[None], none)[0]
        if self.event_points is not None:
            mass = mass + 0.5 * self.event_runs.sums(self.event_points.totals(zero[None], np.exp(s)[None], none)[0])
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
        m = self.survival.moments(a, k, b)
        value -= m[0]
        gradient[:, 0] -= k * m[1]
        gradient[:, 1] -= m[0]
        gradient[:, 2:] -= m[3 : 3 + self.width].T
        hessian = np.zeros((self.groups, 2 + self.width, 2 + self.width))
        hessian[:, 0, 0] = k * self.exact_u
        self._bend(hessian, -m, k)
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
            value += self.event_runs.sums(np.log(-np.expm1(-mass)))
        return np.asarray(value)

    def _bend(self, hessian: FloatArray, m: FloatArray, k: FloatArray) -> None:
        """Add the second derivatives of summed hazards with moments m (rows of :meth:`_Points.moments`, G)."""
        p = self.width
        hessian[:, 0, 0] += k * m[1] + k**2 * m[2]
        hessian[:, 1, 1] += m[0]
        self._both(hessian, 0, 1, k * m[1])
        for j in range(p):
            self._both(hessian, 0, 2 + j, k * m[3 + p + j])
            self._both(hessian, 1, 2 + j, m[3 + j])
        for c, (i, j) in enumerate(self.pairs):
            self._both(hessian, 2 + i, 2 + j, m[3 + 2 * p + c])

    @staticmethod
    def _both(hessian: FloatArray, i: int, j: int, values: FloatArray) -> None:
        hessian[:, i, j] += values
        if i != j:
            hessian[:, j, i] += values

    def _add_events(
        self, value: FloatArray, gradient: FloatArray, hessian: FloatArray, a: FloatArray, k: FloatArray, b: FloatArray
    ) -> None:
        """Add log(1 - exp(-A)) of every event interval, A its hazard summed over the pieces of its spell."""
        assert self.event_points is not None
        slope, hazard = self.event_points.first_moments(a, k, b)
        mass = np.maximum(slope[0], 1e-300)
        happened = -np.expm1(-mass)
        value += self.event_runs.sums(np.log(happened))
        ratio = np.exp(-mass) / happened
        # In (s, a, b); A's first derivatives are its moments, but for a factor k in s.
        order = [1, 0, *range(2, slope.shape[0])]
        factor = np.ones((slope.shape[0], self.groups))
        factor[0] = k
        slope = slope[order]
        gradient += (factor * self.event_runs.sums(ratio * slope)).T
        hazard *= np.repeat(ratio, self.event_points.bin_counts)
        self._bend(hessian, self.event_points.group_moments(hazard, self.groups), k)
        pressed = (ratio * (1.0 + ratio)) * slope
        for i in range(slope.shape[0]):
            across = factor[i] * factor[i:] * self.event_runs.sums(pressed[i] * slope[i:])
            for j in range(i, slope.shape[0]):
                self._both(hessian, i, j, -across[j - i])

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
