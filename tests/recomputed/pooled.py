"""The posterior of the models' wear by sampling: a slow and plain way to the figures of the model record.

Model: hazard (shape / scale) (t / scale)^(shape - 1) exp(x . coef), shape and scale of each model normal in the logs
about the component's mean; mean log shape N(log 1.8, 0.5^2), mean log scale flat, spreads half-normal 0.3 and 0.5,
coef N(0, 1). Metropolis steps for one model at a time, for the spreads and for the coefficients; the means are drawn
from their normal conditionals.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma as gamma_function

from tests.recomputed.components import Stretch
from tests.recomputed.guards import Guard

Floats = NDArray[np.float64]
MEAN_SHAPE, MEAN_SHAPE_SD, SHAPE_SPREAD, SCALE_SPREAD = math.log(1.8), 0.5, 0.3, 0.5
LONGEST = 12.0


@dataclass
class Rows:
    """Stretches of one model cut into pieces of nearly one chance; ``of`` is the stretch of each piece."""

    start: Floats
    end: Floats
    chance: Floats
    share: Floats
    of: NDArray[np.int64]
    within: NDArray[np.bool_]  # the piece lies in the part in which the look says it failed
    exact: NDArray[np.int64]  # piece at whose end a failure stopped the job
    looked: NDArray[np.int64]  # stretches whose failure a look found
    count: int


def cut(found: Sequence[Stretch], guards: dict[int, Guard], share_of: dict[tuple[str, str], float]) -> Rows:
    """Pieces of the stretches with the chance at the middle of each."""
    pieces, exact, looked = [], [], []
    for number, s in enumerate(found):
        # A look changes what is known of the guard from one hour to the next.
        looks = {k.hour - s.at + s.entry for k in guards[id(s.unit)].looks}
        edges = sorted({s.entry, s.last, s.lower, *(h for h in looks if s.entry < h < s.last)})
        share = share_of[s.unit.contractor, s.crew]
        for low, high in itertools.pairwise(edges):
            parts = max(1, math.ceil((high - low) / LONGEST))
            for k in range(parts):
                a, b = low + (high - low) * k / parts, low + (high - low) * (k + 1) / parts
                chance = guards[id(s.unit)].chance(s.at + (a + b) / 2 - s.entry)
                pieces.append((a, b, chance, share, number, s.failed and not s.exact and low >= s.lower - 1e-9))
        if s.failed and s.exact:
            exact.append(len(pieces) - 1)
        elif s.failed:
            looked.append(number)
    columns = list(zip(*pieces, strict=True)) if pieces else [()] * 6
    return Rows(
        *(np.array(c, dtype=float) for c in columns[:4]),
        np.array(columns[4], dtype=np.int64),
        np.array(columns[5], dtype=bool),
        np.array(exact, dtype=np.int64),
        np.array(looked, dtype=np.int64),
        len(found),
    )


def log_likelihood(rows: Rows, log_shape: float, log_scale: float, coef: Floats) -> float:
    if not rows.count:
        return 0.0
    shape = math.exp(log_shape)
    ratio = coef[0] * rows.chance + coef[1] * rows.share
    scale = math.exp(-shape * log_scale)
    with np.errstate(over="ignore", invalid="ignore"):
        risk = np.exp(ratio) * scale * (rows.end**shape - rows.start**shape)
    if not np.isfinite(risk).all():
        return -math.inf
    total = -float(risk[~rows.within].sum())
    if len(rows.exact):
        at = rows.exact
        total += float(np.sum(log_shape - shape * log_scale + (shape - 1) * np.log(rows.end[at]) + ratio[at]))
    if len(rows.looked):
        part = np.bincount(rows.of[rows.within], weights=risk[rows.within], minlength=rows.count)[rows.looked]
        total += float(np.sum(np.log(-np.expm1(-np.maximum(part, 1e-300)))))
    return total


@dataclass
class Posterior:
    """Draws: (draws, models) of log shape and log scale, (draws, 2) of the coefficients."""

    log_shape: Floats
    log_scale: Floats
    coef: Floats

    def b10(self) -> Floats:
        return np.exp(self.log_scale + math.log(-math.log(0.9)) / np.exp(self.log_shape))

    def mean_life(self, g: int) -> float:
        """At the estimates."""
        shape = math.exp(self.log_shape[:, g].mean())
        return math.exp(self.log_scale[:, g].mean()) * float(gamma_function(1 + 1 / shape))


def _spread_density(spread: float, squares: float, count: int, which: int) -> float:
    """Log density of a spread, in its logarithm (steps are taken there), given the squares about the mean."""
    widest = (SHAPE_SPREAD, SCALE_SPREAD)[which]
    return -0.5 * squares / spread**2 - (count - 1) * math.log(spread) - 0.5 * (spread / widest) ** 2


def sample(models: Sequence[Rows], *, draws: int = 12_000, seed: int = 5) -> Posterior:
    rng = np.random.default_rng(seed)
    count = len(models)
    hours = sum(float((m.end - m.start).sum()) for m in models)
    events = max(sum(len(m.exact) + len(m.looked) for m in models), 1)
    shape, scale = np.full(count, MEAN_SHAPE), np.full(count, math.log(hours / events))
    mean, spread, coef = np.array([MEAN_SHAPE, scale[0]]), np.array([0.2, 0.3]), np.zeros(2)
    value = [log_likelihood(m, shape[g], scale[g], coef) for g, m in enumerate(models)]
    root = [np.eye(2) * 0.2 for _ in range(count)]
    coef_root, joint, spread_step = np.eye(2) * 0.3, np.eye(2) * 0.1, np.array([0.6, 0.6])
    kept: list[tuple[Floats, Floats, Floats]] = []
    past: list[tuple[Floats, Floats, Floats]] = []
    warm = draws // 3

    def prior(a: float, b: float) -> float:
        return -0.5 * (((a - mean[0]) / spread[0]) ** 2 + ((b - mean[1]) / spread[1]) ** 2)

    for turn in range(draws):
        for g, rows in enumerate(models):
            a, b = np.array([shape[g], scale[g]]) + root[g] @ rng.standard_normal(2)
            new = log_likelihood(rows, a, b, coef)
            if math.log(rng.random()) < new - value[g] + prior(a, b) - prior(shape[g], scale[g]):
                shape[g], scale[g], value[g] = a, b, new
        trial = coef + coef_root @ rng.standard_normal(2)
        new_values = [log_likelihood(m, shape[g], scale[g], trial) for g, m in enumerate(models)]
        if math.log(rng.random()) < sum(new_values) - sum(value) - 0.5 * float(trial @ trial - coef @ coef):
            coef, value = trial, new_values
        # All models up or down together, shapes and scales along their ridge: one by one they hold each other back.
        shift = joint @ rng.standard_normal(2)
        moved = shape + shift[0], scale + shift[1]
        new_values = [log_likelihood(m, moved[0][g], moved[1][g], coef) for g, m in enumerate(models)]
        center = mean[0] + shift[0] - MEAN_SHAPE
        change = 0.5 * ((mean[0] - MEAN_SHAPE) ** 2 - center**2) / MEAN_SHAPE_SD**2
        if math.log(rng.random()) < sum(new_values) - sum(value) + change:
            (shape, scale), mean, value = moved, mean + shift, new_values
        for j, (logs, center, wide) in enumerate(((shape, MEAN_SHAPE, MEAN_SHAPE_SD), (scale, 0.0, math.inf))):
            precision = count / spread[j] ** 2 + (0.0 if math.isinf(wide) else wide**-2)
            middle = (logs.sum() / spread[j] ** 2 + (0.0 if math.isinf(wide) else center / wide**2)) / precision
            mean[j] = rng.normal(middle, precision**-0.5)
            wanted = spread[j] * math.exp(rng.normal(0, spread_step[j]))

            inside = float(((logs - mean[j]) ** 2).sum())
            gain = _spread_density(wanted, inside, count, j) - _spread_density(spread[j], inside, count, j)
            if math.log(rng.random()) < gain:
                spread[j] = wanted
        past.append((shape.copy(), scale.copy(), coef.copy()))
        if turn in (300, 900, warm):
            recent = past[turn // 2 :]
            for g in range(count):
                pairs = np.array([(p[0][g], p[1][g]) for p in recent])
                root[g] = np.linalg.cholesky(np.cov(pairs.T) * 2.0 + 1e-6 * np.eye(2))
            level = np.array([(p[0].mean(), p[1].mean()) for p in recent])
            joint = np.linalg.cholesky(np.cov(level.T) * 2.0 + 1e-6 * np.eye(2))
            coef_root = np.linalg.cholesky(np.cov(np.array([p[2] for p in recent]).T) * 2.0 + 1e-6 * np.eye(2))
        if turn > warm:
            kept.append(past[-1])
    return Posterior(*(np.array([k[i] for k in kept]) for i in range(3)))
