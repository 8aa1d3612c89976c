"""How often to look at what blocks, from what earlier looks found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes
from fleet.reliability.pooling import pool_models

#: Candidate intervals as shares of the manual's.
SHARES = np.linspace(0.05, 1.0, 96)


@dataclass(frozen=True)
class LookInterval:
    """Answer of :func:`look_interval`, arrays over the G models.

    Attributes
    ----------
    interval : ndarray, shape (G,), engine hours
    probability : ndarray, shape (G,)
        Posterior mean probability of being blocked by then (NaN where nothing was ever found blocked).
    probability_manual : ndarray, shape (G,)
        The same at the manual's interval.
    failures : ndarray of int, shape (G,)
    """

    interval: FloatArray
    probability: FloatArray
    probability_manual: FloatArray
    failures: IntArray


def look_interval(
    lifetimes: Lifetimes, *, manual: ArrayLike, risk_limit: float, x: ArrayLike | None = None
) -> LookInterval:
    """Longest interval, not above the manual's, at which a look finds the thing blocked no more often than allowed.

    Parameters
    ----------
    lifetimes : Lifetimes
        Hours since the last cleaning; looks that found it blocked are event intervals. ``group`` is the model.
    manual : float or array_like, shape (G,), engine hours
    risk_limit : float
        Allowed probability, between 0 and 1.
    x : array_like, shape (p,), optional
        Conditions to decide for; covariates 0 by default.

    Returns
    -------
    LookInterval
        The manual's interval where nothing was ever found blocked, on any model.

    Raises
    ------
    ValueError
        For an interval or a limit outside its range.

    Notes
    -----
    The probability is averaged over the pooled posterior (:func:`fleet.reliability.pooling.pool_models`). If even the
    shortest candidate (a twentieth of the manual's) is above the limit, that one is given.

    Examples
    --------
    >>> rows = Lifetimes(lower=[0, 0, 0, 50, 50, 50, 50, 50], upper=[50, 50, 50, *[float("inf")] * 5])
    >>> answer = look_interval(rows, manual=50.0, risk_limit=0.1)
    >>> bool(10 < answer.interval[0] < 40), bool(answer.probability_manual[0] > 0.2)
    (True, True)
    """
    limit = np.broadcast_to(np.asarray(manual, dtype=float), (int(lifetimes.groups),)).copy()
    if not (limit > 0).all() or not np.isfinite(limit).all() or not 0 < risk_limit < 1:
        raise ValueError("manual must be above 0 and risk_limit between 0 and 1")
    events = lifetimes.event_counts()
    if not events.any():
        unknown = np.full(limit.size, np.nan)
        return LookInterval(limit, unknown, unknown, events)
    pooled = pool_models(lifetimes)
    chance = np.stack([1.0 - pooled.survival(limit * share, x) for share in SHARES])
    allowed = np.maximum((chance <= risk_limit).sum(axis=0) - 1, 0)
    models = np.arange(limit.size)
    interval = np.where(allowed == SHARES.size - 1, limit, limit * SHARES[allowed])
    return LookInterval(interval, chance[allowed, models], chance[-1], events)
