"""Season-by-season values of a unit whose repair record tells how good it is (for :mod:`.replacement`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from fleet.reliability.lifetimes import FloatArray

#: Below this variance of the unit factor the negative binomial is Poisson to the last digit that matters.
LEAST_SPREAD = 1e-10


@dataclass(frozen=True)
class SeasonCosts:
    """What every season costs and what the unit sells for.

    Attributes
    ----------
    each, fixed : ndarray, shape (N,)
        Cost per repair and planned cost of each season.
    resale : ndarray, shape (N + 1, K + 1)
        By age and repairs so far.
    price, discount, spread : float
    """

    each: FloatArray
    fixed: FloatArray
    resale: FloatArray
    price: float
    discount: float
    spread: float


def season_chances(mean: FloatArray, passed: FloatArray, spread: float, top: int) -> tuple[FloatArray, FloatArray]:
    """Repairs of one season given k so far.

    Parameters
    ----------
    mean, passed : ndarray, shape (D,)
        Expected repairs of the season and before it, at factor 1.
    spread : float
        Variance of the unit factor.
    top : int
        k runs over 0..top; counts beyond are put at top.

    Returns
    -------
    chances : ndarray, shape (D, top + 1, top + 1)
        From k to k', negative binomial (Poisson at spread 0).
    expected : ndarray, shape (D, top + 1)
    """
    k = np.arange(top + 1)
    if spread > LEAST_SPREAD:
        a = 1.0 / spread
        size = a + k
        expected = (a + k) / (a + passed[:, None]) * mean[:, None]
        log_stay = -np.log1p(mean / (a + passed))[:, None, None]
        with np.errstate(divide="ignore"):
            log_more = np.log(mean / (a + passed + mean))[:, None, None]
        # Gamma(size + j) / Gamma(size) as a product keeps its digits where a is large.
        rising = np.concatenate([[0.0], np.cumsum(np.log(a + np.arange(2 * top)))])
        factor = rising[k[:, None] + k] - rising[k][:, None] - gammaln(k + 1.0)
        grown = np.where(k == 0, 0.0, k * np.where(np.isfinite(log_more), log_more, -1e6))
        log_p = factor + size[:, None] * log_stay + grown
    else:
        expected = np.repeat(mean[:, None], top + 1, axis=1)
        with np.errstate(divide="ignore"):
            log_mean = np.log(mean)[:, None, None]
        grown = np.where(k == 0, 0.0, k * np.where(np.isfinite(log_mean), log_mean, -1e6))
        log_p = np.broadcast_to(grown - mean[:, None, None] - gammaln(k + 1.0), (mean.size, top + 1, top + 1))
    more = np.exp(log_p)
    # From k the season's count j leads to k + j: shift each row to the right.
    chances = np.zeros_like(more)
    for row in range(top + 1):
        chances[:, row, row:] = more[:, row, : top + 1 - row]
    chances[:, :, top] += np.maximum(1.0 - chances.sum(axis=2), 0.0)
    return chances, expected


Table = list[tuple[FloatArray, FloatArray]]


def chance_table(costs: SeasonCosts, mean: FloatArray, passed: FloatArray, first: int) -> Table:
    """:func:`season_chances` of season ``first`` to the last; ``passed`` (D,) counts up to ``first``."""
    before = passed[:, None] + np.cumsum(mean[:, first:], axis=1) - mean[:, first:]
    top = costs.resale.shape[1] - 1
    return [season_chances(mean[:, n], before[:, n - first], costs.spread, top) for n in range(first, mean.shape[1])]


def cost_to_go(
    costs: SeasonCosts, table: Table, new: FloatArray, first: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Backward induction from the last season to ``first``, a new unit's value being given.

    Parameters
    ----------
    costs : SeasonCosts
    table : list
        Of :func:`chance_table` from ``first`` on.
    new : ndarray, shape (D,)
    first : int

    Returns
    -------
    keep, season : ndarray, shape (D, K + 1)
        Cost of keeping at season ``first`` by repairs so far, and that season's expected cost.
    sold : ndarray, shape (D, K + 1)
        Expected resale value a season later.
    again : ndarray, shape (D, K + 1)
        Discounted weight of ``new`` in ``keep`` under the best policy.
    """
    draws, seasons = new.size, first + len(table)
    top = costs.resale.shape[1] - 1
    value = costs.price - costs.resale[seasons][None, :] + new[:, None]
    weight = np.ones((draws, top + 1))
    keep = np.full((draws, top + 1), np.inf)
    season = sold = again = np.zeros((draws, top + 1))
    for n in range(seasons - 1, first - 1, -1):
        chances, expected = table[n - first]
        season = costs.fixed[n] + costs.each[n] * expected
        keep = season + costs.discount * (chances @ value[:, :, None])[:, :, 0]
        again = costs.discount * (chances @ weight[:, :, None])[:, :, 0]
        sold = (chances @ costs.resale[n + 1][None, :, None])[:, :, 0]
        replace = costs.price - costs.resale[n][None, :] + new[:, None]
        better = replace < keep
        value, weight = np.where(better, replace, keep), np.where(better, 1.0, again)
    return keep, season, sold, again


def new_unit_value(costs: SeasonCosts, mean: FloatArray) -> FloatArray:
    """Cost to go of a unit just bought, price left out, shape (D,), by policy iteration.

    A policy's value is linear in itself: v = alpha + gamma v, gamma the discounted chance weight of the next purchase.
    Solving that exactly for each policy ends after few rounds at any discount rate.
    """
    value = np.zeros(mean.shape[0])
    table = chance_table(costs, mean, value, 0)
    for _ in range(200):
        keep, _, _, again = cost_to_go(costs, table, value, 0)
        alpha = keep[:, 0] - again[:, 0] * value
        # 1 - gamma keeps its digits because gamma <= discount < 1.
        new = alpha / (1.0 - again[:, 0])
        if np.all(np.abs(new - value) <= 1e-13 * np.maximum(np.abs(new), 1.0)):
            return new
        value = new
    return value


def unit_value(
    costs: SeasonCosts, mean: FloatArray, passed: FloatArray, new: FloatArray, age: int, repairs: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cost of keeping a unit of that age and record, its next season's cost and resale after it, each (D,)."""
    seasons = mean.shape[1]
    if age >= seasons:
        # Past the last season it has to go: keeping costs at least one more replacement.
        draws = mean.shape[0]
        return np.full(draws, np.inf), np.full(draws, np.inf), np.zeros(draws)
    keep, season, sold, _ = cost_to_go(costs, chance_table(costs, mean, passed, age), new, age)
    k = min(repairs, costs.resale.shape[1] - 1)
    return keep[:, k], season[:, k], sold[:, k]
