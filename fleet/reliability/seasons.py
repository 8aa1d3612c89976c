"""Season-by-season values of a unit whose repair record tells how good it is (for :mod:`.replacement`)."""

from __future__ import annotations

from collections.abc import Callable
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
    bill, down, fixed : ndarray, shape (N,)
        Mean bill of a repair, what the days down for it cost, and planned cost of each season.
    covered : ndarray, shape (N,)
        Share of the season's bills that warranty pays.
    resale : ndarray, shape (N + 1, K + 1)
        By age and repairs so far.
    price, discount, spread : float
    shares : ndarray, shape (B,)
        Equally likely bills as shares of the mean one; empty where every repair is made, whatever it costs.
    given_up : float
        What replacing a broken unit costs besides a new one: days without, less what it brings unrepaired.
    goes_on : bool
        Whether a unit may be kept after the last season, each further season costing as much as that one.
    """

    bill: FloatArray
    down: FloatArray
    fixed: FloatArray
    covered: FloatArray
    resale: FloatArray
    price: float
    discount: float
    spread: float
    shares: FloatArray
    given_up: float = 0.0
    goes_on: bool = False

    @property
    def each(self) -> FloatArray:
        """Mean cost of a repair that is made, shape (N,)."""
        return (1 - self.covered) * self.bill + self.down


@dataclass(frozen=True)
class Repairs:
    """What becomes of each repair of a season, by the number that it is: shapes (D, K + 1).

    ``cost`` is the mean cost of whatever is done, made or given up; ``quit`` the chance that the unit is given up, and
    ``weight`` that of a new unit's value where it is.
    """

    cost: FloatArray
    quit: FloatArray
    weight: FloatArray


def _given_up_at(rate: FloatArray) -> FloatArray:
    """Mean share of the season gone when a unit is given up in it, where that comes at a steady rate a season."""
    low = rate < 1e-4
    some = np.where(low, 1.0, rate)
    return np.where(low, 0.5 - rate / 12, 1 / some + np.exp(-some) / np.expm1(-some))


def made_or_given_up(costs: SeasonCosts, n: int, expected: FloatArray, after: FloatArray, new: FloatArray) -> Repairs:
    """A repair is made up to the limit at which giving the unit up in the middle of the season costs no more.

    Parameters
    ----------
    costs : SeasonCosts
    n : int
    expected : ndarray, shape (D, K + 1)
        Repairs of such a season, of which half are still to come.
    after : ndarray, shape (D, K + 1)
        Cost to go at the season's end, discounted.
    new : ndarray, shape (D,)

    Notes
    -----
    What warranty pays is always made. A unit given up is replaced at once: the sooner, the more of the season is the
    new one's, and the old one's service falls away. A chance of giving up is kept so far from 1 that its powers can be
    told from 0.
    """
    bought = costs.price + new[:, None]
    middle = np.sqrt(costs.discount) * bought + costs.given_up - costs.fixed[n] / 2
    limit = middle - costs.down[n] - after - expected * costs.each[n] / 2
    bills = np.sort(costs.bill[n] * costs.shares)
    paid = np.searchsorted(bills, limit, side="right")
    own = 1 - costs.covered[n]
    chance = own * (1 - paid / bills.size)
    chance = np.minimum(chance, 1 - 10.0 ** max(-280.0 / chance.shape[1], -12.0))
    at = _given_up_at(expected * chance)
    weight = costs.discount**at
    quits = weight * bought + costs.given_up - (1 - at) * costs.fixed[n]
    made = own * np.concatenate([[0.0], np.cumsum(bills)])[paid] / bills.size
    return Repairs(made + (1 - chance) * costs.down[n] + chance * quits, chance, weight)


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


def chance_table(costs: SeasonCosts, mean: FloatArray, passed: FloatArray, first: int) -> tuple[Table, FloatArray]:
    """:func:`season_chances` of season ``first`` to the last; ``passed`` (D,) counts up to ``first``.

    Beside it, shape (D, K + 1), the repairs of a season like the last one once that is over.
    """
    before = passed[:, None] + np.cumsum(mean[:, first:], axis=1) - mean[:, first:]
    top = costs.resale.shape[1] - 1
    table = [season_chances(mean[:, n], before[:, n - first], costs.spread, top) for n in range(first, mean.shape[1])]
    over = passed + mean[:, first:].sum(axis=1)
    factor = 1.0 + np.zeros((mean.shape[0], top + 1))
    if costs.spread > LEAST_SPREAD:
        factor = (1 + costs.spread * np.arange(top + 1)) / (1 + costs.spread * over[:, None])
    return table, mean[:, -1:] * factor


def _until_given_up(
    repairs: Repairs, chances: FloatArray
) -> tuple[FloatArray, FloatArray, Callable[[FloatArray], FloatArray]]:
    """Over a season's repairs as far as they are made, by repairs before it, each (D, K + 1).

    Returns the expected cost, the expected weight of giving up, and a function that gives the expectation of what
    stands at the season's end (D, K + 1) where the unit is still there.
    """
    left = np.cumprod(1 - repairs.quit, axis=1)
    # The first column would be a repair before any.
    left = left / left[:, :1]
    before = np.concatenate([np.ones((left.shape[0], 1)), left[:, :-1]], axis=1)

    def summed(each: FloatArray) -> FloatArray:
        steps = before * each
        # Added up from behind, for its digits where hardly anything is left.
        behind = np.zeros_like(steps)
        behind[:, :-1] = np.cumsum(steps[:, :0:-1], axis=1)[:, ::-1]
        return np.asarray((behind - (chances @ behind[:, :, None])[:, :, 0]) / left)

    def at_end(value: FloatArray) -> FloatArray:
        return np.asarray((chances @ (left * value)[:, :, None])[:, :, 0] / left)

    return summed(repairs.cost), summed(repairs.quit * repairs.weight), at_end


def going_on(costs: SeasonCosts, expected: FloatArray, new: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cost to go of never replacing but for a dear repair, every season like the last, and the weight of ``new``.

    ``expected`` (D, K + 1) are repairs a season, taken as Poisson. Each round gives up at the limits that the round
    before leads to; the best of all rounds stands.
    """
    n, d = len(costs.fixed) - 1, costs.discount
    stay = (costs.fixed[n] + costs.each[n] * expected) / (1 - d)
    weight = np.zeros_like(stay)
    if not costs.shares.size:
        return stay, weight
    found = stay
    for _ in range(8):
        repairs = made_or_given_up(costs, n, expected, d * found, new)
        gone = -np.expm1(-expected * repairs.quit)
        reached = np.where(repairs.quit > 0, gone / np.maximum(repairs.quit, 1e-300), expected)
        found = (costs.fixed[n] + reached * repairs.cost) / (1 - d * (1 - gone))
        better = found < stay
        stay = np.where(better, found, stay)
        weight = np.where(better, gone * repairs.weight / (1 - d * (1 - gone)), weight)
    return stay, weight


def cost_to_go(
    costs: SeasonCosts, table: Table, last: FloatArray, new: FloatArray, first: int
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Backward induction from the last season to ``first``, a new unit's value being given.

    Parameters
    ----------
    costs : SeasonCosts
    table, last
        Of :func:`chance_table` from ``first`` on.
    new : ndarray, shape (D,)
    first : int

    Returns
    -------
    keep, season : ndarray, shape (D, K + 1)
        Cost of keeping at season ``first`` by repairs so far, and that season's expected cost were every repair made.
    sold : ndarray, shape (D, K + 1)
        Expected resale value a season later.
    again : ndarray, shape (D, K + 1)
        Discounted weight of ``new`` in ``keep`` under the best policy.
    """
    draws, seasons = new.size, first + len(table)
    top = costs.resale.shape[1] - 1
    value = costs.price - costs.resale[seasons][None, :] + new[:, None]
    weight = np.ones((draws, top + 1))
    if costs.goes_on:
        stay, kept = going_on(costs, last, new)
        better = stay < value
        value, weight = np.where(better, stay, value), np.where(better, kept, weight)
    keep = np.full((draws, top + 1), np.inf)
    season = sold = again = np.zeros((draws, top + 1))
    for n in range(seasons - 1, first - 1, -1):
        chances, expected = table[n - first]
        season = costs.fixed[n] + costs.each[n] * expected
        if costs.shares.size:
            repairs = made_or_given_up(costs, n, expected, costs.discount * value, new)
            spent, of_new, at_end = _until_given_up(repairs, chances)
            keep = costs.fixed[n] + spent + costs.discount * at_end(value)
            again = of_new + costs.discount * at_end(weight)
        else:
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
    Solving that exactly for each policy ends after few rounds at any discount rate. Where repairs may be given up, the
    limits are near the best, not at it: rounds then end within a hundred thousandth of each other.
    """
    near = 1e-5 if costs.shares.size else 1e-13
    table, last = chance_table(costs, mean, np.zeros(mean.shape[0]), 0)
    value = _replaced_by_age(costs, mean)
    for _ in range(60):
        keep, _, _, again = cost_to_go(costs, table, last, value, 0)
        alpha = keep[:, 0] - again[:, 0] * value
        # 1 - gamma keeps its digits because gamma <= discount < 1.
        new = alpha / (1.0 - again[:, 0])
        if np.all(np.abs(new - value) <= near * np.maximum(np.abs(new), 1.0)):
            return new
        value = new
    return value


def _replaced_by_age(costs: SeasonCosts, mean: FloatArray) -> FloatArray:
    """The same, shape (D,), were average units replaced at the best fixed age: where to begin."""
    d = costs.discount ** np.arange(mean.shape[1] + 1)
    run = np.cumsum(d[:-1] * (costs.fixed + costs.each * mean), axis=1)
    ages = (run + d[1:] * (costs.price - costs.resale[1:, 0])) / -np.expm1(
        np.log(costs.discount) * np.arange(1, d.size)
    )
    return np.asarray(ages.min(axis=1))


def unit_value(
    costs: SeasonCosts, mean: FloatArray, passed: FloatArray, new: FloatArray, age: int, repairs: int
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Cost of keeping a unit of that age by record, (D, K + 1); its next season's cost and resale after it, (D,)."""
    seasons, top = mean.shape[1], costs.resale.shape[1] - 1
    if age >= seasons:
        # Past the last season it has to go: keeping costs at least one more replacement.
        draws = mean.shape[0]
        return np.full((draws, top + 1), np.inf), np.full(draws, np.inf), np.zeros(draws)
    keep, season, sold, _ = cost_to_go(costs, *chance_table(costs, mean, passed, age), new, age)
    k = min(repairs, top)
    return keep, season[:, k], sold[:, k]
