"""Keep or replace: what a unit's next season costs against starting again with a new one."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import nbinom, poisson

from fleet.reliability.lifetimes import FloatArray
from fleet.reliability.seasons import LEAST_SPREAD, SeasonCosts, new_unit_value, unit_value

#: Smallest discount rate a year: nearer to 0 the value of all future seasons loses its digits.
LEAST_RATE = 1e-6


@dataclass(frozen=True)
class Replacement:
    """Advice of :func:`keep_or_replace`; money in one currency at the start of the season.

    Attributes
    ----------
    margin : float
        Cost of replacing less cost of keeping, averaged over the draws: above 0 keeping is cheaper.
    margins : ndarray, shape (D,)
    probability_keep : float
        Share of the draws in which keeping is no dearer.
    advice : {"keep", "replace", "look_closer"}
    spend_limit, next_limit : float
        Most that a repair waiting now is worth, and one that were to come now on top of those counted.
    keep_cost_next_season : float
        Expected repairs, downtime and service of the next season and the fall of the resale value.
    replace_cost_per_season : float
        Level cost per season of new units replaced at the best time.
    new_unit_values : ndarray, shape (D,)
        Cost to go of a unit just bought, price left out.
    best_age_seasons : int
        Fixed replacement age of least cost.
    cost_per_season_by_age, cost_per_hour_by_age : ndarray, shape (N,)
        Level cost of replacing every 1, 2, ... seasons (per hour: NaN without the season's hours).
    """

    margin: float
    margins: FloatArray
    probability_keep: float
    advice: str
    spend_limit: float
    keep_cost_next_season: float
    replace_cost_per_season: float
    new_unit_values: FloatArray
    best_age_seasons: int
    cost_per_season_by_age: FloatArray
    cost_per_hour_by_age: FloatArray
    next_limit: float = 0.0
    raw_limit: float = field(repr=False, default=0.0)

    def decide(self, estimate: float) -> str:
        """What to do with a unit that needs a repair of that price now.

        Returns "repair_and_keep", "repair_and_sell" or "replace".
        """
        if estimate > self.spend_limit or self.raw_limit < 0:
            return "replace"
        return "repair_and_keep" if self.margin >= 0 else "repair_and_sell"


def keep_or_replace(
    *,
    price: float,
    resale: ArrayLike,
    repairs_per_season: ArrayLike,
    repair_cost: ArrayLike,
    downtime_cost: ArrayLike = 0.0,
    season_cost: ArrayLike = 0.0,
    discount_rate: float = 0.08,
    spread: float = 0.0,
    age: int = 0,
    repairs: int = 0,
    expected_so_far: ArrayLike | None = None,
    unit_repairs_per_season: ArrayLike | None = None,
    resale_loss_per_repair: float = 0.0,
    broken_resale: float | None = None,
    replacement_downtime: float = 0.0,
    warranty_share: ArrayLike = 0.0,
    hours_per_season: float | None = None,
    most_repairs: int | None = None,
    new_value: ArrayLike | None = None,
    bill_shares: ArrayLike = (),
    goes_on: bool = False,
) -> Replacement:
    """Decide whether a unit is worth keeping, and the most to spend on the repair it needs now.

    Parameters
    ----------
    price : float
        Of a new unit.
    resale : array_like, shape (N + 1,)
        What a working unit without repairs sells for at the start of season 0 (just bought), 1, ..., N.
    repairs_per_season : array_like, shape (N,) or (D, N)
        Expected repairs of an average unit in its 1st, 2nd, ... season; D draws of them where they are uncertain. A
        unit must be replaced after N seasons unless it ``goes_on``.
    repair_cost, downtime_cost : array_like, scalar or shape (N,)
        Per repair; the parts and labor, and the days without the unit.
    season_cost : array_like, scalar or shape (N,)
        Planned service per season.
    discount_rate : float
        Per season (year); values below 1e-6 are taken as 1e-6.
    spread : float
        Variance 1/a of the unit factor (``fit_power_law(..., factors=True).dispersion``); 0: units are alike.
    age : int
        Seasons the unit has behind it, 0..N; at N it must go.
    repairs : int
        Repairs it has had, the one waiting now included.
    expected_so_far : array_like, scalar or shape (D,), optional
        Repairs an average unit would have had at its hours; by default the sum of ``repairs_per_season`` up to ``age``.
    unit_repairs_per_season : array_like, shape (N,) or (D, N), optional
        The unit's own expected repairs at factor 1 where its use differs from an average unit's.
    resale_loss_per_repair : float
        Share of the resale value lost with each repair, as with age.
    broken_resale : float, optional
        What the unit sells for unrepaired; 0 by default.
    replacement_downtime : float
        Cost of the days without a unit when it is replaced.
    warranty_share : array_like, scalar or shape (N,)
        Share of each season's repairs paid by warranty: they cost downtime only. Leave out for misused units.
    hours_per_season : float, optional
        For the cost per hour.
    new_value : array_like, shape (D,), optional
        ``new_unit_values`` of an earlier answer with the same prices, costs and ``repairs_per_season``, to save time.
    most_repairs : int, optional
        Repairs beyond which a unit's record is not told apart; chosen so that hardly any unit gets there.
    bill_shares : array_like, shape (B,), optional
        Equally likely bills as shares of ``repair_cost``, their mean 1. With them a repair that costs more than going
        on is worth is not made: the unit is given up for a new one, which is in the middle of a season on average.
        Without them every repair to come is made, whatever it costs.
    goes_on : bool
        A unit may be kept after N seasons, each further season costing as much as the Nth.

    Returns
    -------
    Replacement

    Raises
    ------
    ValueError
        For arrays that do not fit each other, negative costs or rates, or an age beyond N.

    Notes
    -----
    K(n, k) = c(n, k) + d E V(n + 1, k'), Rep(n, k) = price - R(n, k) + v0, V = min(K, Rep); next season's repairs are
    negative binomial given k through the unit's gamma factor; v0 = K(0, 0) is solved by policy iteration (Howard 1960).
    With ``bill_shares`` the season's i-th repair is given up where its bill exceeds sqrt(d) (price + v0) - R_broken +
    replacement downtime - c_planned / 2 - downtime - d V(n + 1, i) - half a season's repairs; costs are those of that
    policy, the unit being given up when a steady rate of such repairs has it given up on average.
    Margin M = Rep - K; keep iff M >= 0. Spend limit = max(0, max(M, 0) + R - R_broken - (repair downtime - replacement
    downtime)): below it, repair and keep if M >= 0, repair and sell if not.

    Examples
    --------
    >>> answer = keep_or_replace(price=400, resale=[300, 200, 120, 60, 0], repairs_per_season=[0.2, 0.5, 1.0, 1.8],
    ...                          repair_cost=90, age=2, repairs=1)
    >>> answer.advice, round(answer.spend_limit, 2), answer.decide(60.0)
    ('keep', 141.32, 'repair_and_keep')
    """
    mean = np.atleast_2d(np.asarray(repairs_per_season, dtype=float))
    seasons = mean.shape[1]
    own = mean if unit_repairs_per_season is None else np.atleast_2d(np.asarray(unit_repairs_per_season, dtype=float))
    own, mean = np.broadcast_arrays(own, mean)
    value = np.asarray(resale, dtype=float)
    _check(value, mean, own, seasons, price, spread, age, repairs, discount_rate)
    d = 1.0 / (1.0 + max(discount_rate, LEAST_RATE))
    covered = np.broadcast_to(np.asarray(warranty_share, dtype=float), (seasons,))
    bill = np.broadcast_to(np.asarray(repair_cost, dtype=float), (seasons,))
    down = np.broadcast_to(np.asarray(downtime_cost, dtype=float), (seasons,))
    fixed = np.broadcast_to(np.asarray(season_cost, dtype=float), (seasons,))
    shares = np.asarray(bill_shares, dtype=float)
    if min(bill.min(), down.min(), fixed.min(), shares.min(initial=0.0)) < 0:
        raise ValueError("costs must not be negative")
    passed = own[:, :age].sum(axis=1)
    if expected_so_far is not None:
        passed = np.broadcast_to(np.asarray(expected_so_far, dtype=float), passed.shape)
    top = most_repairs if most_repairs is not None else _most_repairs(mean, own, passed, spread, repairs, age)
    sold = value[:, None] * (1.0 - resale_loss_per_repair) ** np.arange(top + 1)
    broken = 0.0 if broken_resale is None else float(broken_resale)
    costs = SeasonCosts(
        bill=bill,
        down=down,
        fixed=fixed,
        covered=covered,
        resale=sold,
        price=price,
        discount=d,
        spread=spread,
        shares=shares,
        given_up=replacement_downtime - broken,
        goes_on=goes_on,
    )
    new = (
        new_unit_value(costs, mean)
        if new_value is None
        else np.broadcast_to(np.asarray(new_value, float), passed.shape)
    )
    keep, next_cost, next_resale = unit_value(costs, own, passed, new, age, repairs)
    replace = price - sold[age] + new[:, None]
    all_margins = replace - keep
    margins = all_margins[:, min(repairs, top)]
    margin = float(margins.mean())
    probability = float((margins >= 0).mean())
    repair_down = float(down[min(age, seasons - 1)])
    raw, raw_next = (
        max(float(all_margins[:, k].mean()), 0.0) + sold[age, k] - broken - (repair_down - replacement_downtime)
        for k in (min(repairs, top), min(repairs + 1, top))
    )
    by_age = np.stack([replacement_ages(price, costs.each * row + fixed, value, discount_rate) for row in mean]).mean(
        axis=0
    )
    hours = np.nan if hours_per_season is None else float(hours_per_season)
    return Replacement(
        margin=margin,
        margins=margins,
        probability_keep=probability,
        advice=_advice(probability, margin),
        spend_limit=max(0.0, float(raw)),
        keep_cost_next_season=float(next_cost.mean() + sold[age, min(repairs, top)] - d * next_resale.mean()),
        replace_cost_per_season=float((1 - d) * (price + new.mean())),
        new_unit_values=new,
        best_age_seasons=int(np.argmin(by_age)) + 1,
        cost_per_season_by_age=by_age,
        cost_per_hour_by_age=by_age / hours,
        next_limit=max(0.0, float(raw_next)),
        raw_limit=float(raw),
    )


def _advice(probability: float, margin: float) -> str:
    """Clear only where the draws agree and the mean that the spend limit rests on says the same."""
    if probability >= 0.8 and margin >= 0:
        return "keep"
    return "replace" if probability <= 0.2 and margin < 0 else "look_closer"


def _most_repairs(mean: FloatArray, own: FloatArray, passed: FloatArray, spread: float, repairs: int, age: int) -> int:
    """A count that a unit passes with a probability too small to matter."""
    # Draws are themselves uncertain to far more than this.
    tail = 1e-12 if mean.shape[0] == 1 else 1e-6
    new = float(mean.sum(axis=1).max())
    left = float(own[:, age:].sum(axis=1).max()) if age < own.shape[1] else 0.0
    if spread <= LEAST_SPREAD:
        return repairs + int(poisson.isf(tail, max(new, left) + 1e-9)) + 1
    a = 1.0 / spread
    first = nbinom.isf(tail, a, a / (a + new))
    more = nbinom.isf(tail, a + repairs, (a + passed.min()) / (a + passed.min() + left + 1e-12))
    return int(min(max(first, repairs + more) + 1, repairs + 400))


def _check(
    value: FloatArray,
    mean: FloatArray,
    own: FloatArray,
    seasons: int,
    price: float,
    spread: float,
    age: int,
    repairs: int,
    discount_rate: float,
) -> None:
    if value.shape != (seasons + 1,):
        raise ValueError(f"resale has shape {value.shape}, expected ({seasons + 1},): one more than the seasons")
    for name, array in (("resale", value), ("repairs_per_season", mean), ("unit_repairs_per_season", own)):
        if not np.isfinite(array).all() or (array < 0).any():
            raise ValueError(f"{name} must be finite and not negative")
    if not price > 0 or discount_rate < 0 or spread < 0 or repairs < 0:
        raise ValueError("price must be above 0; discount_rate, spread and repairs must not be negative")
    if not 0 <= age <= seasons:
        raise ValueError(f"age {age} lies outside 0..{seasons} seasons")


def replacement_ages(
    price: float, season_costs: ArrayLike, resale: ArrayLike, discount_rate: float, *, costs_at: str = "start"
) -> FloatArray:
    """Level cost per season of replacing every 1, 2, ..., N seasons.

    Parameters
    ----------
    price : float
    season_costs : array_like, shape (N,)
        Expected running cost of each season.
    resale : array_like, shape (N,) or (N + 1,)
        At the end of each season (a leading value, at purchase, is ignored).
    discount_rate : float
    costs_at : {"start", "end"}
        Whether a season's costs fall at its start, the level cost being due at the start too, or both at its end (the
        convention of engineering economy).

    Returns
    -------
    ndarray, shape (N,)

    Notes
    -----
    Equivalent uniform cost (Sullivan, Wicks & Koelling, Engineering Economy, ch. 9).

    Examples
    --------
    >>> replacement_ages(30000, [3000, 4500, 7000, 10000, 13000], [22500, 16875, 12750, 9750, 7125], 0.1,
    ...                  costs_at="end").round().tolist()
    [13500.0, 12964.0, 12918.0, 13211.0, 13766.0]
    """
    cost = np.asarray(season_costs, dtype=float)
    n = np.arange(1, cost.size + 1)
    sold = np.asarray(resale, dtype=float)[-cost.size :]
    d = 1.0 / (1.0 + max(discount_rate, LEAST_RATE))
    late = 1 if costs_at == "end" else 0
    total = price + np.cumsum(d ** (n - 1 + late) * cost) - d**n * sold
    level = total * (1 - d) / -np.expm1(n * np.log(d))
    return level / d if costs_at == "end" else level
