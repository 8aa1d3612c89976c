"""Better moments than Laplace's for models with few failures: expectation propagation over the models.

Each model's likelihood is replaced by a normal factor that has the right mean and covariance beside what all other
models
say about it (Minka 2001). The integrals are Gauss-Hermite sums about Laplace's mode.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.likelihood import WeibullLikelihood

NODES = 7
ROUNDS = 30


@dataclass(frozen=True)
class Moments:
    """Posterior at M pairs of spreads: ``mean`` (M, G, 2), ``covariance`` (M, G, 2, 2), log ``evidence`` (M,)."""

    mean: FloatArray
    covariance: FloatArray
    evidence: FloatArray


def propagate(
    likelihood: WeibullLikelihood,
    exposed: np.ndarray,
    spread: FloatArray,
    mean: FloatArray,
    precision: FloatArray,
    coef: FloatArray,
    mode: FloatArray,
    width: FloatArray,
) -> Moments:
    """Posterior moments of every model's (log shape, log scale) at M pairs of spreads, all at once.

    Parameters
    ----------
    likelihood : WeibullLikelihood
    exposed : ndarray of bool, shape (G,)
    spread : ndarray, shape (M, 2)
        Between models.
    mean : ndarray, shape (M, 2)
    precision : ndarray, shape (2,)
        Normal prior of the models' mean.
    coef : ndarray, shape (M, p)
        Coefficients, held.
    mode, width : ndarray, shapes (M, G, 2), (M, G, 2, 2)
        Laplace's mode and covariance, about which the nodes are laid.

    Raises
    ------
    numpy.linalg.LinAlgError
        Where a covariance is too narrow to be inverted.
    """
    nodes, log_weight = _nodes()
    root = np.linalg.cholesky(width * 1.1)
    points = mode[:, :, None, :] + np.einsum("mgij,nj->mgni", root, nodes)
    flat = points.transpose(0, 2, 1, 3).reshape(-1, points.shape[1], 2)
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        value = likelihood.values(flat[:, :, 0], flat[:, :, 1], np.repeat(coef, nodes.shape[0], axis=0))
    value = value.reshape(points.shape[0], nodes.shape[0], -1).transpose(0, 2, 1)
    value = np.nan_to_num(value, nan=-1e300, neginf=-1e300)
    log_det = 2 * np.log(np.einsum("mgii->mgi", root)).sum(axis=2)
    base = value + log_weight + 0.5 * log_det[:, :, None]
    between = spread[:, :, None] ** 2 * np.eye(2)
    own = between[:, None]
    site_precision, site_shift = np.zeros_like(width), np.zeros_like(mode)
    start = np.linalg.inv(width) - np.linalg.inv(own)
    site_precision[:, exposed] = _clip(start[:, exposed])
    site_shift[:, exposed] = np.einsum("mgij,mgj->mgi", site_precision, mode)[:, exposed]
    evidence = np.full(spread.shape[0], -np.inf)
    tilted_mean, tilted_cov = mode, width
    for _ in range(ROUNDS):
        total, shift, push, pull = _to_mean(site_precision, site_shift, own, mean, precision)
        cavity_cov = np.linalg.inv(total[:, None] - push)
        cavity_mean = np.einsum("mgij,mgj->mgi", cavity_cov, shift[:, None] - pull)
        prior_cov = cavity_cov + own
        prior_inverse = np.linalg.inv(prior_cov)
        off = points - cavity_mean[:, :, None, :]
        log_prior = -0.5 * (np.matmul(off, prior_inverse) * off).sum(axis=3)
        log_prior -= 0.5 * np.linalg.slogdet(prior_cov)[1][:, :, None] + np.log(2 * np.pi)
        logs = base + log_prior
        top = logs.max(axis=2, keepdims=True)
        weight = np.exp(logs - top)
        mass = weight.sum(axis=2)
        weight /= mass[:, :, None]
        tilted_mean = np.matmul(weight[:, :, None, :], points)[:, :, 0]
        dev = points - tilted_mean[:, :, None, :]
        tilted_cov = np.matmul((weight[:, :, :, None] * dev).transpose(0, 1, 3, 2), dev)
        tilted = top[:, :, 0] + np.log(mass)
        new_evidence = _evidence(
            tilted, site_precision, site_shift, cavity_mean, prior_cov, exposed, own, mean, precision
        )
        fresh = _clip(np.linalg.inv(tilted_cov) - prior_inverse)
        # Where the precision was clipped the mean must still come out right.
        fresh_shift = np.einsum("mgij,mgj->mgi", fresh + prior_inverse, tilted_mean)
        fresh_shift -= np.einsum("mgij,mgj->mgi", prior_inverse, cavity_mean)
        site_precision[:, exposed] = 0.2 * site_precision[:, exposed] + 0.8 * fresh[:, exposed]
        site_shift[:, exposed] = 0.2 * site_shift[:, exposed] + 0.8 * fresh_shift[:, exposed]
        settled = np.abs(new_evidence - evidence).max() < 1e-7
        evidence = new_evidence
        if settled:
            break
    total, shift, _, _ = _to_mean(site_precision, site_shift, own, mean, precision)
    centre_cov = np.linalg.inv(total)
    centre = np.einsum("mij,mj->mi", centre_cov, shift)
    hidden = ~exposed
    tilted_mean[:, hidden] = centre[:, None]
    tilted_cov[:, hidden] = (centre_cov + between)[:, None]
    return Moments(tilted_mean, tilted_cov, evidence)


def _nodes() -> tuple[FloatArray, FloatArray]:
    x, w = np.polynomial.hermite_e.hermegauss(NODES)
    grid = np.array([(a, c) for a in x for c in x])
    weight = np.array([a * c for a in w for c in w])
    return grid, np.log(weight) + 0.5 * (grid**2).sum(axis=1)


def _clip(matrix: FloatArray) -> FloatArray:
    """The nearest matrices without negative eigenvalues, (..., 2, 2)."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.swapaxes(-1, -2)))
    return np.asarray((vectors * np.maximum(values, 0.0)[..., None, :]) @ vectors.swapaxes(-1, -2))


def _to_mean(
    site_precision: FloatArray, site_shift: FloatArray, own: FloatArray, mean: FloatArray, precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What the models' factors say about the mean: total precision and shift, and each model's part."""
    spread = np.linalg.inv(np.eye(2) + site_precision @ own)
    push = spread @ site_precision
    push = 0.5 * (push + push.swapaxes(-1, -2))
    pull = np.einsum("mgij,mgj->mgi", spread, site_shift)
    return np.diag(precision) + push.sum(axis=1), precision * mean + pull.sum(axis=1), push, pull


def _evidence(
    tilted: FloatArray,
    site_precision: FloatArray,
    site_shift: FloatArray,
    cavity_mean: FloatArray,
    prior_cov: FloatArray,
    exposed: np.ndarray,
    own: FloatArray,
    mean: FloatArray,
    precision: FloatArray,
) -> FloatArray:
    """Log marginal likelihood (M,): tilted masses over those of the normal factors, times the normal model's own."""

    def factor_mass(centre: FloatArray, cov: FloatArray) -> FloatArray:
        # log of the integral of N(x; centre, cov) exp(-x'Px/2 + h'x).
        inner = np.eye(2) + site_precision @ cov
        joint = cov @ np.linalg.inv(inner)
        pressed = np.einsum("mgij,mgj->mgi", site_precision, centre)
        lift = site_shift - pressed
        quad = (np.einsum("mgij,mgj->mgi", joint, lift) * lift).sum(axis=2)
        level = (site_shift * centre).sum(axis=2) - 0.5 * (centre * pressed).sum(axis=2)
        return np.asarray(level + 0.5 * quad - 0.5 * np.linalg.slogdet(inner)[1])

    ratio = (tilted - factor_mass(cavity_mean, prior_cov))[:, exposed].sum(axis=1)
    total, shift, _push, _pull = _to_mean(site_precision, site_shift, own, mean, precision)
    # Normal model: integrate the models out given the mean, then the mean.
    at_zero = factor_mass(np.zeros_like(site_shift), np.broadcast_to(own, site_precision.shape))
    pulled = (shift * np.linalg.solve(total, shift[:, :, None])[:, :, 0]).sum(axis=1)
    whole = at_zero[:, exposed].sum(axis=1) + 0.5 * pulled - 0.5 * np.linalg.slogdet(total)[1]
    whole -= 0.5 * (precision * mean**2).sum(axis=1)
    return np.asarray(ratio + whole)
