"""The posterior of the models' wear by sampling: a slow and plain way to the figures of the model record.

Model: hazard (shape / scale) (t / scale)^(shape - 1) exp(x . coef), shape and scale of each model normal in the logs
about the component's mean; mean log shape N(log 1.8, 0.5^2), mean log scale N(., 5^2) about the hours for each
failure, spreads half-normal 0.3 and 0.5, coef N(0, 1). Chains side by side, each by Metropolis steps: every model by
itself, the coefficients, all models together, the spreads with the models held and with the models following.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import gamma as gamma_function

from tests.recomputed.components import Stretch
from tests.recomputed.guards import Guard

Floats = NDArray[np.float64]
MEAN = np.array([math.log(1.8), 0.0])
MEAN_SD, WIDEST = np.array([0.5, 5.0]), np.array([0.3, 0.5])
LONGEST = 20.0
CHAINS, LEARNED_AT = 16, (40, 80, 140, 220)


@dataclass
class Rows:
    """Stretches of all models cut into pieces; ``of`` is the stretch of each piece, ``model`` its model."""

    start: Floats
    end: Floats
    conditions: Floats
    of: NDArray[np.int64]
    model: NDArray[np.int64]
    within: NDArray[np.bool_]  # the piece lies in the part in which the look says it failed
    exact: NDArray[np.int64]  # piece at whose end a failure stopped the job
    at_failure: Floats  # conditions of that hour
    models: int

    def __post_init__(self) -> None:
        count = len(self.start)
        with np.errstate(divide="ignore"):
            self.logs = np.log(np.stack([self.start, self.end]))
        known = np.flatnonzero(~self.within)
        self.by_model = np.zeros((count, self.models))
        self.by_model[known, self.model[known]] = 1.0
        self.inside = np.flatnonzero(self.within)
        looked, number = np.unique(self.of[self.inside], return_inverse=True)
        self.by_look = np.zeros((len(self.inside), len(looked)))
        self.by_look[np.arange(len(self.inside)), number] = 1.0
        self.look_model = np.zeros((len(looked), self.models))
        self.look_model[number, self.model[self.inside]] = 1.0
        self.exact_model = np.zeros((len(self.exact), self.models))
        self.exact_model[np.arange(len(self.exact)), self.model[self.exact]] = 1.0

    @property
    def failures(self) -> Floats:
        return np.asarray(self.exact_model.sum(axis=0) + self.look_model.sum(axis=0))

    def log_likelihood(self, log_shape: Floats, log_scale: Floats, coef: Floats) -> Floats:
        """(chains, models) of parameters (chains, models) and coefficients (chains, 2)."""
        shape = np.exp(log_shape)
        shapes, scales = shape[:, self.model], (shape * log_scale)[:, self.model]
        ratio = coef @ self.conditions.T
        with np.errstate(over="ignore", invalid="ignore"):
            begun, passed = (np.exp(shapes * logs - scales + ratio) for logs in self.logs)
            risk = np.nan_to_num(passed - begun, nan=1e200, posinf=1e200)
        total = -(risk @ self.by_model)
        at = self.exact
        log_hazard = log_shape[:, self.model[at]] + shapes[:, at] * self.logs[1, at] - scales[:, at] - self.logs[1, at]
        total = total + (log_hazard + coef @ self.at_failure.T) @ self.exact_model
        part = np.maximum(risk[:, self.inside] @ self.by_look, 1e-300)
        return np.asarray(total + np.log(-np.expm1(-part)) @ self.look_model)


def cut(
    found: Sequence[Sequence[Stretch]],
    guards: dict[int, Guard],
    share_of: dict[tuple[str, str], float],
    *,
    found_only: bool = False,
) -> Rows:
    """Pieces of every model's stretches with their mean chance of *guard off* and their crew's.

    With ``found_only`` a failure that showed itself ends the watch and is none.
    """
    pieces: list[tuple[float, float, float, float, int, int, bool]] = []
    exact: list[tuple[int, float, float]] = []
    for number, (g, s) in enumerate((g, s) for g, mine in enumerate(found) for s in mine):
        share = share_of.get((s.unit.contractor, s.crew), 0.0)
        edges = sorted({s.entry, s.last, min(s.lower, s.last)})
        for low, high in zip(edges, edges[1:]):  # noqa: B905, RUF007
            parts = max(1, math.ceil((high - low) / LONGEST))
            for k in range(parts):
                a, b = low + (high - low) * k / parts, low + (high - low) * (k + 1) / parts
                chance = guards[id(s.unit)].mean(s.at + a - s.entry, s.at + b - s.entry)
                pieces.append((a, b, chance, share, number, g, s.failed and not s.exact and low >= s.lower - 1e-9))
        if s.failed and s.exact and not found_only:
            hour = max(s.at - s.entry + s.last - 0.5, s.at)
            exact.append((len(pieces) - 1, guards[id(s.unit)].chance(hour), share))
    table = np.array(pieces, dtype=float).reshape(-1, 7)
    of, model = table[:, 4].astype(np.int64), table[:, 5].astype(np.int64)
    ends = np.array(exact, dtype=float).reshape(-1, 3)
    return Rows(
        table[:, 0], table[:, 1], table[:, 2:4], of, model, table[:, 6].astype(bool),
        ends[:, 0].astype(np.int64), ends[:, 1:], len(found),
    )  # fmt: skip


@dataclass
class Posterior:
    """Draws: (draws, models) of log shape and log scale, (draws, 2) of coefficients, means and spreads."""

    rows: Rows
    log_shape: Floats
    log_scale: Floats
    coef: Floats
    mean: Floats
    spread: Floats

    def b10(self) -> Floats:
        return np.exp(self.log_scale + math.log(-math.log(0.9)) / np.exp(self.log_shape))

    def mean_life(self, g: int) -> float:
        """At the estimates."""
        shape = math.exp(self.log_shape[:, g].mean())
        return math.exp(self.log_scale[:, g].mean()) * float(gamma_function(1 + 1 / shape))

    def drawn(self, count: int = 48) -> Floats:
        """How much of what the other models say is left once a model's own record is in, (models,).

        Root of the ratio of areas of a model's ellipse of doubt, with its own record over without, at given means
        and spreads; curvatures by differences about the mode.
        """
        pick = np.linspace(0, len(self.coef) - 1, count).astype(int)
        mean, spread, coef = self.mean[pick], self.spread[pick], self.coef[pick]
        at = np.stack([self.log_shape[pick], self.log_scale[pick]], axis=2)
        step = 0.02 * np.ones((count, 1, 2))

        def height(x: Floats) -> Floats:
            off = (x - mean[:, None]) / spread[:, None]
            return self.rows.log_likelihood(x[:, :, 0], x[:, :, 1], coef) - 0.5 * (off**2).sum(axis=2)

        def bend(x: Floats) -> tuple[Floats, Floats, Floats]:
            here, moved = height(x), {}
            for i, j in ((1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (-1, -1), (1, -1), (-1, 1)):
                moved[i, j] = height(x + step * [i, j])
            slope = np.stack([moved[1, 0] - moved[-1, 0], moved[0, 1] - moved[0, -1]], axis=2) / (2 * step)
            square = np.empty((*here.shape, 2, 2))
            square[:, :, 0, 0] = moved[1, 0] - 2 * here + moved[-1, 0]
            square[:, :, 1, 1] = moved[0, 1] - 2 * here + moved[0, -1]
            cross = (moved[1, 1] + moved[-1, -1] - moved[1, -1] - moved[-1, 1]) / 4
            square[:, :, 0, 1] = square[:, :, 1, 0] = cross
            return here, slope, -square / 0.02**2

        for _ in range(12):
            here, slope, square = bend(at)
            least = np.linalg.eigvalsh(square)[:, :, 0]
            square = square + np.maximum(0.5 - least, 0.0)[:, :, None, None] * np.eye(2)
            move = np.clip(np.linalg.solve(square, slope[..., None])[..., 0], -0.7, 0.7)
            better = height(at + move) >= here
            at = at + move * np.where(better, 1.0, 0.25)[:, :, None]
        area = np.linalg.det(bend(at)[2])
        prior = (spread**-2.0).prod(axis=1)[:, None]
        ratio = np.sqrt(prior / np.maximum(area, prior))
        return np.asarray(ratio.mean(axis=0))


def sample(rows: Rows, *, draws: int = 5_000, seed: int = 5) -> Posterior:
    """Draws of all chains, those of the first turns left out."""
    rng = np.random.default_rng(seed)
    count, models = CHAINS, rows.models
    center = MEAN.copy()
    center[1] += math.log(float((rows.end - rows.start).sum()) / max(rows.failures.sum(), 1.0))
    logs = center + rng.normal(0, 0.2, (count, models, 2))
    mean, spread = center + rng.normal(0, 0.1, (count, 2)), WIDEST * rng.uniform(0.3, 1.0, (count, 2))
    coef = rng.normal(0, 0.2, (count, 2))
    root, joint, coef_root = np.tile(np.eye(2) * 0.3, (models, 1, 1)), np.eye(2) * 0.2, np.eye(2) * 0.4
    past: list[tuple[Floats, ...]] = []

    def likelihood(logs: Floats, coef: Floats) -> Floats:
        return rows.log_likelihood(logs[:, :, 0], logs[:, :, 1], coef)

    def taken(gain: Floats) -> NDArray[np.bool_]:
        return np.log(rng.random(gain.shape)) < gain

    value = likelihood(logs, coef)
    for turn in range(LEARNED_AT[-1] + math.ceil(draws / count)):

        def about(x: Floats, mean: Floats = mean, spread: Floats = spread) -> Floats:
            return -0.5 * (((x - mean[:, None]) / spread[:, None]) ** 2).sum(axis=2)

        trial = logs + np.einsum("gij,cgj->cgi", root, rng.standard_normal(logs.shape))
        new = likelihood(trial, coef)
        yes = taken(new - value + about(trial) - about(logs))
        logs, value = np.where(yes[:, :, None], trial, logs), np.where(yes, new, value)

        moved = coef + rng.standard_normal(coef.shape) @ coef_root.T
        new = likelihood(logs, moved)
        yes = taken((new - value).sum(axis=1) - 0.5 * ((moved**2) - coef**2).sum(axis=1))[:, None]
        coef, value = np.where(yes, moved, coef), np.where(yes, new, value)

        # All models up or down with their mean: one by one they hold each other back.
        shift = rng.standard_normal(mean.shape) @ joint.T
        new = likelihood(logs + shift[:, None], coef)
        before, after = (mean - center) / MEAN_SD, (mean + shift - center) / MEAN_SD
        yes = taken((new - value).sum(axis=1) + 0.5 * (before**2 - after**2).sum(axis=1))[:, None]
        mean, value = np.where(yes, mean + shift, mean), np.where(yes, new, value)
        logs = np.where(yes[:, :, None], logs + shift[:, None], logs)

        precision = models / spread**2 + MEAN_SD**-2.0
        middle = (logs.sum(axis=1) / spread**2 + center / MEAN_SD**2) / precision
        mean = middle + rng.standard_normal(mean.shape) / np.sqrt(precision)

        wider = spread * np.exp(rng.normal(0, 0.7, spread.shape))
        squares = ((logs - mean[:, None]) ** 2).sum(axis=1)

        def width(s: Floats, squares: Floats = squares) -> Floats:
            # In the log of the spread, where the steps are taken.
            return -0.5 * squares / s**2 - (models - 1) * np.log(s) - 0.5 * (s / WIDEST) ** 2

        spread = np.where(taken(width(wider) - width(spread)), wider, spread)

        # The models nearer to their mean or farther from it, with the spread.
        for j in range(2):
            stretch = np.exp(rng.normal(0, 0.6, count))
            trial, wider = logs.copy(), spread.copy()
            trial[:, :, j] = mean[:, None, j] + (logs[:, :, j] - mean[:, None, j]) * stretch[:, None]
            wider[:, j] *= stretch
            new = likelihood(trial, coef)
            gain = (new - value).sum(axis=1) + np.log(stretch)
            yes = taken(gain + 0.5 * (spread[:, j] ** 2 - wider[:, j] ** 2) / WIDEST[j] ** 2)[:, None]
            logs, value = np.where(yes[:, :, None], trial, logs), np.where(yes, new, value)
            spread = np.where(yes, wider, spread)

        past.append((logs, coef, mean, spread))
        if turn in LEARNED_AT:
            recent = past[turn // 2 :]
            pooled = np.concatenate([p[0] for p in recent])
            root = np.stack([_root(pooled[:, g], 2.0) for g in range(models)])
            joint = _root(pooled.mean(axis=1), 2.0)
            coef_root = _root(np.concatenate([p[1] for p in recent]), 2.0)
    kept = [np.concatenate(parts) for parts in zip(*past[LEARNED_AT[-1] :], strict=True)]
    return Posterior(rows, kept[0][:, :, 0], kept[0][:, :, 1], *kept[1:])


def _root(draws: Floats, wide: float) -> Floats:
    return np.linalg.cholesky(np.cov(draws.T) * wide + 1e-6 * np.eye(2))
