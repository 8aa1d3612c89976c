"""Posterior of every model on a grid of its own, without taking any likelihood for normal.

Given the spreads between models, a model's share in what is known of the common mean is its likelihood convolved with
the spreads' normal density, and the common mean's share in what is known of the model is the rest of the models'
product, convolved likewise. Both are sums on grids (log shape x log scale), which separate: two small matrix products.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import elementwise
from scipy.special import ndtr

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.model_surface import ModelSurface

#: Grid points (log shape, log scale) of a model and of the common mean, and of the rough first look.
MODEL, MEAN, ROUGH = (41, 49), (31, 37), (21, 25)
#: Reach of the first look in Laplace's standard deviations, and the chance left outside the grid at each end.
REACH, OUTSIDE = 6.0, 3e-6
#: Points so many standard deviations apart still sum a normal density to a few millionths.
APART = 1.2
#: Looks for the grid's ends: a long tail is followed so many times.
LOOKS = 4

#: Where an axis may lie: lowest and highest, (G,) or one for all.
Ends = tuple[FloatArray | float, FloatArray | float]
ANYWHERE: Ends = (-np.inf, np.inf)


@dataclass(frozen=True)
class Axis:
    """Evenly spaced points: ``first`` and ``step``, shapes (...), ``count``."""

    first: FloatArray
    step: FloatArray
    count: int

    @classmethod
    def between(cls, low: FloatArray, high: FloatArray, count: int) -> Axis:
        return cls(low, np.maximum(high - low, 1e-9) / (count - 1), count)

    @property
    def points(self) -> FloatArray:
        """Shape (..., count)."""
        return self.first[..., None] + self.step[..., None] * np.arange(self.count)

    @property
    def last(self) -> FloatArray:
        """Shape (...)."""
        return self.first + self.step * (self.count - 1)


@dataclass(frozen=True)
class GridPosterior:
    """Posterior at M pairs of spreads: ``mass`` (M, G, n, m) sums to 1 over each model's own grid.

    ``axes`` are those of log shape (n) and log scale (m), of shapes (M, G); log ``evidence`` (M,).
    """

    axes: tuple[Axis, Axis]
    mass: FloatArray
    evidence: FloatArray

    def marginal(self, j: int) -> FloatArray:
        """Of log shape (0) or log scale (1), (M, G, points)."""
        return self.mass.sum(axis=3 - j)

    def moments(self) -> tuple[FloatArray, FloatArray]:
        """Means (M, G, 2) and covariances (M, G, 2, 2)."""
        s, t = (axis.points for axis in self.axes)
        mean = np.stack([(self.marginal(0) * s).sum(2), (self.marginal(1) * t).sum(2)], axis=2)
        ds, dt = s - mean[:, :, :1], t - mean[:, :, 1:]
        cross = np.einsum("mgi,mgij,mgj->mg", ds, self.mass, dt)
        covariance = np.empty((*mean.shape, 2))
        covariance[:, :, 0, 0] = (self.marginal(0) * ds**2).sum(2)
        covariance[:, :, 1, 1] = (self.marginal(1) * dt**2).sum(2)
        covariance[:, :, 0, 1] = covariance[:, :, 1, 0] = cross
        return mean, covariance


def grid_posterior(
    surface: ModelSurface,
    spread: FloatArray,
    mean: FloatArray,
    mean_sd: FloatArray,
    laplace: tuple[FloatArray, FloatArray],
    mean_laplace: tuple[FloatArray, FloatArray],
) -> GridPosterior:
    """Posterior of every model's (log shape, log scale) at M pairs of spreads.

    Parameters
    ----------
    surface : ModelSurface
    spread : ndarray, shape (M, 2)
        Standard deviations between models.
    mean, mean_sd : ndarray, shape (2,)
        Normal prior of the models' mean.
    laplace : (ndarray, ndarray), shapes (M, G, 2), (M, G, 2)
        Rough centers and standard deviations of the models, from which the grids are found.
    mean_laplace : (ndarray, ndarray), shapes (M, 2), (M, 2)
        The same of the common mean.
    """
    ends = ((surface.low, surface.high), ANYWHERE)
    own = [_around(laplace[0][..., j], laplace[1][..., j], ROUGH[j], ends[j]) for j in (0, 1)]
    common = [_around(mean_laplace[0][..., j], mean_laplace[1][..., j], ROUGH[j], ANYWHERE) for j in (0, 1)]
    for look in range(LOOKS):
        mass, of_mean, _ = _solve(surface, spread, mean, mean_sd, own, common)
        finer = look == LOOKS - 1
        wide = False
        for j in (0, 1):
            own[j], far = _trimmed(own[j], mass.sum(axis=3 - j), MODEL[j], ends[j])
            common[j], far_mean = _trimmed(common[j], of_mean.sum(axis=2 - j), MEAN[j], ANYWHERE)
            wide |= far or far_mean
        if finer or not wide:
            break
        own = [Axis.between(axis.first, axis.last, ROUGH[j]) for j, axis in enumerate(own)]
        common = [Axis.between(axis.first, axis.last, ROUGH[j]) for j, axis in enumerate(common)]
    mass, _, evidence = _solve(surface, spread, mean, mean_sd, own, common)
    return GridPosterior((own[0], own[1]), mass, evidence)


def _around(center: FloatArray, sd: FloatArray, count: int, ends: Ends) -> Axis:
    return Axis.between(np.maximum(center - REACH * sd, ends[0]), np.minimum(center + REACH * sd, ends[1]), count)


def _trimmed(axis: Axis, mass: FloatArray, count: int, ends: Ends) -> tuple[Axis, bool]:
    """The axis cut to where the mass is; and whether some mass lies so near an end that it must reach on."""
    below = np.cumsum(mass, axis=-1)
    above = np.cumsum(mass[..., ::-1], axis=-1)[..., ::-1]
    inside = (below > OUTSIDE) & (above > OUTSIDE)
    first, last = inside.argmax(axis=-1), axis.count - 1 - inside[..., ::-1].argmax(axis=-1)
    low, high = axis.first + axis.step * (first - 1), axis.first + axis.step * (last + 1)
    span = axis.step * (axis.count - 1)
    on_low = (first == 0) & (axis.first > ends[0] + 1e-9)
    on_high = (last == axis.count - 1) & (axis.last < ends[1] - 1e-9)
    low, high = np.where(on_low, axis.first - 0.6 * span, low), np.where(on_high, axis.last + 0.6 * span, high)
    return Axis.between(np.maximum(low, ends[0]), np.minimum(high, ends[1]), count), bool(on_low.any() or on_high.any())


def _solve(
    surface: ModelSurface,
    spread: FloatArray,
    mean: FloatArray,
    mean_sd: FloatArray,
    own: list[Axis],
    common: list[Axis],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Masses of the models (M, G, n, m) and of the common mean (M, N, O), and the log evidence (M,)."""
    value = surface.values(own[0].points, own[1].points)
    value = np.nan_to_num(value, nan=-1e300, neginf=-1e300)
    top = value.max(axis=(2, 3))
    like = np.exp(value - top[..., None, None])
    wide = spread[:, None, :]
    kernels = [
        _weights(own[j], common[j].points[:, None, :], wide[..., j]) for j in (0, 1)
    ]  # (M, G, points of the mean, points of the model)
    told = kernels[0] @ like @ kernels[1].swapaxes(2, 3)
    told[:, surface.empty] = 1.0
    with np.errstate(divide="ignore"):
        log_told = np.log(told)
    log_told = np.maximum(log_told, -1e5)
    z = [(common[j].points - mean[j]) / mean_sd[j] for j in (0, 1)]
    log_mean = -0.5 * (z[0][:, :, None] ** 2 + z[1][:, None, :] ** 2) + log_told.sum(axis=1)
    best = log_mean.max(axis=(1, 2))
    of_mean = np.exp(log_mean - best[:, None, None])
    cell = common[0].step * common[1].step / (2 * np.pi * mean_sd[0] * mean_sd[1])
    evidence = best + np.log(of_mean.sum(axis=(1, 2)) * cell) + np.where(surface.empty, 0.0, top).sum(axis=1)
    rest = log_mean[:, None] - log_told
    rest = np.exp(rest - rest.max(axis=(2, 3), keepdims=True))
    back = [
        _weights(Axis(common[j].first[:, None], common[j].step[:, None], common[j].count), own[j].points, wide[..., j])
        for j in (0, 1)
    ]  # (M, G, points of the model, points of the mean)
    mass = like * (back[0] @ rest @ back[1].swapaxes(2, 3))
    mass /= mass.sum(axis=(2, 3), keepdims=True)
    return mass, of_mean / of_mean.sum(axis=(1, 2), keepdims=True), evidence


def _weights(axis: Axis, at: FloatArray, spread: FloatArray) -> FloatArray:
    """Integrals of a function given on the axis against normal densities centered ``at`` (M, G, a): (M, G, a, points).

    ``spread`` (M, 1) is that of the density. Where it is no narrower than the points are apart, their sum is exact
    enough.
    """
    z = (axis.points[..., None, :] - at[..., :, None]) / spread[..., None, None]
    height = axis.step[..., None, None] / (spread[..., None, None] * np.sqrt(2 * np.pi))
    found = np.exp(-0.5 * z * z) * height
    narrow = np.flatnonzero((axis.step > APART * spread).any(axis=1))
    if narrow.size:
        part = Axis(axis.first[narrow], axis.step[narrow], axis.count)
        at = np.broadcast_to(at, (spread.shape[0], *at.shape[1:]))
        found[narrow] = _straight(part, at[narrow], spread[narrow])
    return np.asarray(found)


def _straight(axis: Axis, at: FloatArray, spread: FloatArray) -> FloatArray:
    """As :func:`_weights`, the function straight between its points and exactly integrated, however narrow the density.

    What straight pieces add to its width, a sixth of the step squared, is taken off the density's.
    """
    step = axis.step[..., None, None]
    sd = np.sqrt(np.maximum(spread[..., None, None] ** 2 - step**2 / 6, 0.25 * spread[..., None, None] ** 2))
    grid = axis.first[..., None] + axis.step[..., None] * np.arange(-1, axis.count + 1)
    z = (grid[..., None, :] - at[..., :, None]) / sd
    second = z * ndtr(z) + np.exp(-0.5 * z * z) / np.sqrt(2 * np.pi)
    found = (second[..., 2:] - 2 * second[..., 1:-1] + second[..., :-2]) * (sd / step)
    return np.asarray(np.maximum(found, 0.0))


def mixture_quantile(weights: FloatArray, axis: Axis, mass: FloatArray, probability: float) -> FloatArray:
    """Quantile (G,) of a mixture over M pairs of spreads of masses (M, G, points) on an axis (M, G)."""
    node = np.cumsum(mass, axis=2) - 0.5 * mass
    slope = mass

    def short(x: FloatArray, index: FloatArray) -> FloatArray:
        g = index.astype(int)
        at = np.clip((x[None, :] - axis.first[:, g]) / axis.step[:, g], 0.0, axis.count - 1.0)
        i = np.minimum(at.astype(int), axis.count - 2)
        t = at - i
        m = np.arange(mass.shape[0])[:, None]
        low, high, rise, fall = node[m, g, i], node[m, g, i + 1], slope[m, g, i], slope[m, g, i + 1]
        # Cubic between points, with the density as its slope.
        chance = low + (high - low) * t * t * (3 - 2 * t) + t * (1 - t) * (rise * (1 - t) - fall * t)
        return (weights[:, None] * chance).sum(axis=0) - probability

    every = np.arange(mass.shape[1], dtype=float)
    found = elementwise.find_root(short, (axis.first.min(axis=0), axis.last.max(axis=0)), args=(every,))
    return np.asarray(found.x)


def draw(grids: GridPosterior, part: int, chance: FloatArray) -> FloatArray:
    """(log shape, log scale) of every model at one pair of spreads: ``chance`` (size, 2) gives (size, G, 2)."""
    mass = grids.mass[part]
    s, t = (Axis(axis.first[part], axis.step[part], axis.count) for axis in grids.axes)
    of_shape = mass.sum(axis=2)
    i, off = _place(of_shape[:, None, :], chance[None, :, 0])
    rows = mass[np.arange(mass.shape[0])[:, None], i]
    j, off_t = _place(rows / rows.sum(axis=2, keepdims=True), chance[None, :, 1])
    found = np.empty((chance.shape[0], mass.shape[0], 2))
    found[:, :, 0] = (s.first[:, None] + s.step[:, None] * (i + off)).T
    found[:, :, 1] = (t.first[:, None] + t.step[:, None] * (j + off_t)).T
    return found


def _place(mass: FloatArray, chance: FloatArray) -> tuple[np.ndarray, FloatArray]:
    """Cell (..., n) in which the summed mass (..., n, points) reaches the chance, and how far past its middle."""
    total = np.cumsum(mass, axis=-1)
    i = np.minimum((total <= chance[..., None] * total[..., -1:]).sum(axis=-1), mass.shape[-1] - 1)
    here = np.take_along_axis(np.broadcast_to(mass, (*i.shape, mass.shape[-1])), i[..., None], -1)[..., 0]
    upto = np.take_along_axis(np.broadcast_to(total, (*i.shape, mass.shape[-1])), i[..., None], -1)[..., 0]
    off = 0.5 - (upto - chance * total[..., -1]) / np.where(here > 0, here, 1.0)
    return i, np.clip(off, -0.5, 0.5)
