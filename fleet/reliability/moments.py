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
    """Posterior at given spreads: ``mean`` (G, 2), ``covariance`` (G, 2, 2), ``skew`` (G, 2) and log ``evidence``."""

    mean: FloatArray
    covariance: FloatArray
    skew: FloatArray
    evidence: float


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
    """Posterior moments of every model's (log shape, log scale) at given spreads.

    Parameters
    ----------
    likelihood : WeibullLikelihood
    exposed : ndarray of bool, shape (G,)
    spread : ndarray, shape (2,)
        Between models.
    mean, precision : ndarray, shape (2,)
        Normal prior of the models' mean.
    coef : ndarray, shape (p,)
        Coefficients, held.
    mode, width : ndarray, shapes (G, 2), (G, 2, 2)
        Laplace's mode and covariance, about which the nodes are laid.
    """
    nodes, log_weight = _nodes()
    root = np.linalg.cholesky(width * 1.1)
    points = mode[:, None, :] + np.einsum("gij,nj->gni", root, nodes)
    b = np.broadcast_to(coef, (mode.shape[0], coef.size))
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        value = np.stack([likelihood.value(points[:, n, 0], points[:, n, 1], b) for n in range(nodes.shape[0])], axis=1)
    value = np.nan_to_num(value, nan=-1e300, neginf=-1e300)
    log_det = 2 * np.log(np.einsum("gii->gi", root)).sum(axis=1)
    base = value + log_weight[None, :] + 0.5 * log_det[:, None]
    between = np.diag(spread**2)
    groups = mode.shape[0]
    site_precision, site_shift = np.zeros((groups, 2, 2)), np.zeros((groups, 2))
    start = np.linalg.inv(width) - np.linalg.inv(between)[None]
    site_precision[exposed] = _clip(start[exposed])
    site_shift[exposed] = np.einsum("gij,gj->gi", site_precision, mode)[exposed]
    evidence = -np.inf
    tilted_mean, tilted_cov = mode, width
    skew = np.zeros((groups, 2))
    for _ in range(ROUNDS):
        total, shift, push, pull = _to_mean(site_precision, site_shift, between, mean, precision)
        cavity_cov = np.linalg.inv(total[None] - push)
        cavity_mean = np.einsum("gij,gj->gi", cavity_cov, shift[None] - pull)
        prior_cov = cavity_cov + between
        prior_inverse = np.linalg.inv(prior_cov)
        off = points - cavity_mean[:, None, :]
        log_prior = -0.5 * np.einsum("gni,gij,gnj->gn", off, prior_inverse, off)
        log_prior -= 0.5 * np.linalg.slogdet(prior_cov)[1][:, None] + np.log(2 * np.pi)
        logs = base + log_prior
        top = logs.max(axis=1, keepdims=True)
        weight = np.exp(logs - top)
        mass = weight.sum(axis=1)
        weight /= mass[:, None]
        tilted_mean = np.einsum("gn,gni->gi", weight, points)
        dev = points - tilted_mean[:, None, :]
        tilted_cov = np.einsum("gn,gni,gnj->gij", weight, dev, dev)
        sd = np.sqrt(np.einsum("gii->gi", tilted_cov))
        skew = np.einsum("gn,gni->gi", weight, dev**3) / sd**3
        new_evidence = _evidence(
            top[:, 0] + np.log(mass),
            site_precision,
            site_shift,
            cavity_mean,
            prior_cov,
            exposed,
            between,
            mean,
            precision,
        )
        inverse = np.linalg.inv(tilted_cov)
        fresh = _clip(inverse - prior_inverse)
        # Where the precision was clipped the mean must still come out right.
        fresh_shift = np.einsum("gij,gj->gi", fresh + prior_inverse, tilted_mean) - np.einsum(
            "gij,gj->gi", prior_inverse, cavity_mean
        )
        site_precision[exposed] = 0.2 * site_precision[exposed] + 0.8 * fresh[exposed]
        site_shift[exposed] = 0.2 * site_shift[exposed] + 0.8 * fresh_shift[exposed]
        if abs(new_evidence - evidence) < 1e-7:
            evidence = new_evidence
            break
        evidence = new_evidence
    total, shift, _, _ = _to_mean(site_precision, site_shift, between, mean, precision)
    centre_cov = np.linalg.inv(total)
    centre = centre_cov @ shift
    hidden = ~exposed
    tilted_mean[hidden] = centre
    tilted_cov[hidden] = centre_cov + between
    skew[hidden] = 0.0
    return Moments(tilted_mean, tilted_cov, skew, evidence)


def _nodes() -> tuple[FloatArray, FloatArray]:
    x, w = np.polynomial.hermite_e.hermegauss(NODES)
    grid = np.array([(a, c) for a in x for c in x])
    weight = np.array([a * c for a in w for c in w])
    return grid, np.log(weight) + 0.5 * (grid**2).sum(axis=1)


def _clip(matrix: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.transpose(0, 2, 1)))
    return (vectors * np.maximum(values, 0.0)[:, None, :]) @ vectors.transpose(0, 2, 1)


def _to_mean(
    site_precision: FloatArray, site_shift: FloatArray, between: FloatArray, mean: FloatArray, precision: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """What the models' factors say about the mean: total precision and shift, and each model's part."""
    spread = np.linalg.inv(np.eye(2) + site_precision @ between)
    push = spread @ site_precision
    push = 0.5 * (push + push.transpose(0, 2, 1))
    pull = np.einsum("gij,gj->gi", spread, site_shift)
    return np.diag(precision) + push.sum(axis=0), precision * mean + pull.sum(axis=0), push, pull


def _evidence(
    tilted: FloatArray,
    site_precision: FloatArray,
    site_shift: FloatArray,
    cavity_mean: FloatArray,
    prior_cov: FloatArray,
    exposed: np.ndarray,
    between: FloatArray,
    mean: FloatArray,
    precision: FloatArray,
) -> float:
    """Log marginal likelihood: tilted masses over those of the normal factors, times the normal model's own mass."""

    def factor_mass(centre: FloatArray, cov: FloatArray) -> FloatArray:
        # log of the integral of N(x; centre, cov) exp(-x'Px/2 + h'x).
        inner = np.eye(2) + site_precision @ cov
        own = np.linalg.inv(inner)
        joint = cov @ own
        lift = site_shift - np.einsum("gij,gj->gi", site_precision, centre)
        quad = np.einsum("gi,gij,gj->g", lift, joint, lift)
        level = np.einsum("gi,gi->g", site_shift, centre) - 0.5 * np.einsum(
            "gi,gij,gj->g", centre, site_precision, centre
        )
        return level + 0.5 * quad - 0.5 * np.linalg.slogdet(inner)[1]

    ratio = (tilted - factor_mass(cavity_mean, prior_cov))[exposed].sum()
    total, shift, _push, _pull = _to_mean(site_precision, site_shift, between, mean, precision)
    # Normal model: integrate the models out given the mean, then the mean.
    at_zero = factor_mass(np.zeros((site_shift.shape[0], 2)), np.broadcast_to(between, site_precision.shape))
    whole = at_zero[exposed].sum() + 0.5 * shift @ np.linalg.solve(total, shift) - 0.5 * np.linalg.slogdet(total)[1]
    whole -= 0.5 * float((precision * mean**2).sum())
    return float(ratio + whole)
