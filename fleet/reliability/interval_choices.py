"""Service intervals for many owners from one fit: their manuals, costs and conditions differ, the wear does not."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import expit

from fleet.reliability.interval_costs import IntervalLives, interval_lives
from fleet.reliability.intervals import DRAWS, _age_clock, _crew_shares, _decide, _draws, candidate_shares
from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.wear import WearFit, fit_wear
from fleet.reliability.wear_cells import cut_cells


@dataclass(frozen=True)
class ChosenInterval:
    """One answer of :meth:`WearStudy.choose`.

    Attributes
    ----------
    interval : float, engine hours
        Never above the manual's.
    cheaper : float
        Probability that ``interval`` costs less than the manual's; where that one stands, that the least-cost one does.
    probability, probability_manual : float
        Posterior mean probability of a failure between two services at ``interval`` and at the manual's.
    limited_by_risk : bool
    candidates, costs : ndarray, shape (m,)
        Intervals compared and their posterior mean cost per hour.
    costs_low, costs_high : ndarray, shape (m,)
        Central 90 % of the draws of it.
    """

    interval: float
    cheaper: float
    probability: float
    probability_manual: float
    limited_by_risk: bool
    candidates: FloatArray
    costs: FloatArray
    costs_low: FloatArray
    costs_high: FloatArray


@dataclass(frozen=True)
class WearStudy:
    """The wear of one component on all models, from :func:`study_wear`.

    Attributes
    ----------
    reference : ndarray, shape (G,)
        Hours in which each model's clocks are measured.
    failures : ndarray of int, shape (G,)
    crew_shares : ndarray, shape (G, C)
        Each crew's share of a model's hours.
    neglect_weight : float
        Posterior probability of the model in which past neglect leaves damage.
    converged : bool
    """

    reference: FloatArray
    failures: IntArray
    neglect_weight: float
    converged: bool
    fits: tuple[WearFit, WearFit]
    crew_shares: FloatArray
    # Lives under the candidates of the model asked for last, whatever the owner's prices: by conditions and hours.
    _lives: dict[tuple, IntervalLives] = field(default_factory=dict, repr=False, compare=False)

    def draws(self, group: int, x: ArrayLike) -> FloatArray:
        """Posterior draws of one model's wear under conditions ``x``, as :func:`.intervals.interval_costs` takes."""
        at = np.asarray(x, dtype=float)
        second = round(DRAWS * self.neglect_weight)
        crews = self.crew_shares[group]
        return np.concatenate(
            [
                _draws(fit, fit.layout.reading(group, at, crews), count)
                for fit, count in zip(self.fits, (DRAWS - second, second), strict=True)
                if count
            ]
        )

    def choose(
        self,
        group: int,
        *,
        manual: float,
        planned_cost: float,
        failure_cost: float,
        horizon: float,
        risk_limit: float | None = None,
        gate: float = 0.65,
        x: ArrayLike,
    ) -> ChosenInterval:
        """The rule of :func:`.intervals.service_interval` for one model at one owner's figures.

        Parameters
        ----------
        group : int
            The model.
        manual, horizon : float, engine hours
        planned_cost, failure_cost : float
        risk_limit, gate : float
        x : array_like, shape (p,)

        Raises
        ------
        ValueError
            For hours or costs that are not above 0.
        """
        if not min(manual, planned_cost, failure_cost, horizon, gate) > 0:
            raise ValueError("manual, costs, horizon and gate must be above 0")
        shares = candidate_shares(np.array([manual]), horizon)[0]
        lives = self._lives_of(group, manual, shares, horizon, np.asarray(x, dtype=float))
        rates, risks = lives.rates(planned_cost, failure_cost), lives.risks()
        interval, cheaper, _rate, _rate_manual, risk, limited, costs = _decide(
            rates, risks, shares, manual, risk_limit, gate
        )
        low, high = np.quantile(rates, [0.05, 0.95], axis=0)
        return ChosenInterval(
            interval=interval,
            cheaper=cheaper,
            probability=risk,
            probability_manual=float(risks[:, -1].mean()),
            limited_by_risk=limited,
            candidates=manual * shares,
            costs=costs,
            costs_low=low,
            costs_high=high,
        )

    def _lives_of(self, group: int, manual: float, shares: FloatArray, horizon: float, x: FloatArray) -> IntervalLives:
        """Prices differ between owners, what a life comes to does not."""
        key = (group, manual, horizon, *x.tolist())
        if key not in self._lives:
            if self._lives and next(iter(self._lives))[0] != group:
                self._lives.clear()
            unit = float(self.reference[group])
            self._lives[key] = interval_lives(self.draws(group, x), unit, shares * manual / unit, horizon)
        return self._lives[key]


def study_wear(lifetimes: Lifetimes, *, reference: ArrayLike, crew: ArrayLike | None = None) -> WearStudy:
    """Fit the wear of a component once, to choose intervals from it at any owner's figures.

    Parameters
    ----------
    lifetimes : Lifetimes
        As for :func:`.intervals.service_interval`.
    reference : float or array_like, shape (G,), engine hours
        The longest manual's interval of each model.
    crew : array_like of int, shape (n,), optional

    Returns
    -------
    WearStudy

    Raises
    ------
    ValueError
        If no model has an event: then every manual's interval stands.

    Examples
    --------
    >>> rows = Lifetimes(lower=[25.0, 50.0, 75.0], upper=[float("inf"), 50.0, float("inf")], entry=[0.0, 25.0, 50.0],
    ...                  since=[0.0, 0.0, 0.0], unit=[1, 1, 1])
    >>> study = study_wear(rows, reference=25.0)
    >>> answer = study.choose(0, manual=25.0, planned_cost=10, failure_cost=200, horizon=600, x=[])
    >>> bool(2.5 <= answer.interval <= 25.0)
    True
    """
    events = lifetimes.event_counts()
    if not events.any():
        raise ValueError("no event in any group: every manual's interval stands")
    limit = np.broadcast_to(np.asarray(reference, dtype=float), (int(lifetimes.groups),)).copy()
    rows = lifetimes if lifetimes.since is not None else _age_clock(lifetimes)
    codes = np.zeros(rows.size, dtype=np.int64) if crew is None else np.unique(np.asarray(crew), return_inverse=True)[1]
    cells = cut_cells(rows, limit, codes)
    crews = int(codes.max()) + 1
    plain = fit_wear(cells, limit, crews, neglect=False)
    neglect = fit_wear(cells, limit, crews, neglect=True, start=plain.mean)
    return WearStudy(
        reference=limit,
        failures=events,
        neglect_weight=float(expit(neglect.evidence - plain.evidence)),
        converged=plain.converged and neglect.converged,
        fits=(plain, neglect),
        crew_shares=_crew_shares(cells, int(lifetimes.groups), crews),
    )
