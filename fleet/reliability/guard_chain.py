"""How probably the guard was off at any hour between two looks: a two-state Markov chain per crew."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize

from fleet.reliability.lifetimes import FloatArray, IntArray

#: Priors of a crew's habit: logit of the long-run share off, log of the changes per hour.
SHARE_PRIOR = (-1.5, 1.5)
PACE_PRIOR = (float(np.log(1 / 40.0)), 1.0)


@dataclass(frozen=True)
class GuardLooks:
    """Looks at guards, sorted by unit and hour.

    Attributes
    ----------
    unit, crew : ndarray of int, shape (l,)
    hour : ndarray, shape (l,), engine hours
    found, left : ndarray, shape (l,)
        1 off, 0 on, NaN not seen. ``left`` NaN: nothing is known after it (a shop visit without a check).
    """

    unit: IntArray
    crew: IntArray
    hour: FloatArray
    found: FloatArray
    left: FloatArray

    @classmethod
    def build(
        cls, unit: ArrayLike, crew: ArrayLike, hour: ArrayLike, found: ArrayLike, left: ArrayLike | None = None
    ) -> GuardLooks:
        """Check and sort; raises ValueError for states other than 0, 1 or NaN."""
        hours, seen = np.atleast_1d(np.asarray(hour, float)), np.atleast_1d(np.asarray(found, float))
        after = seen if left is None else np.atleast_1d(np.asarray(left, float))
        units, crews = np.atleast_1d(np.asarray(unit)), np.atleast_1d(np.asarray(crew))
        for name, values in (("found", seen), ("left", after)):
            bad = ~(np.isnan(values) | (values == 0) | (values == 1))
            if bad.any():
                raise ValueError(f"look {int(np.argmax(bad))}: {name} must be 0, 1 or NaN")
        if not np.isfinite(hours).all():
            raise ValueError(f"look {int(np.argmax(~np.isfinite(hours)))}: hour is not finite")
        order = np.lexsort((hours, units))
        return cls(
            units[order].astype(np.int64), crews[order].astype(np.int64), hours[order], seen[order], after[order]
        )


def off_after(share: FloatArray, pace: FloatArray, state: FloatArray, hours: FloatArray) -> FloatArray:
    """P(off) some hours after a known state (NaN: the long-run share)."""
    start = np.where(np.isnan(state), share, state)
    return share + (start - share) * np.exp(-pace * hours)


def fit_chains(looks: GuardLooks, crews: int) -> tuple[FloatArray, FloatArray]:
    """Long-run share off and changes per hour of every crew, each of shape (crews,): posterior modes.

    Every pair of looks that follow each other at one unit tells of a step from the state left to the state found.
    """
    same = looks.unit[1:] == looks.unit[:-1]
    known = same & ~np.isnan(looks.left[:-1]) & ~np.isnan(looks.found[1:])
    lone = np.concatenate([[True], ~same | np.isnan(looks.left[:-1])]) & ~np.isnan(looks.found)
    before = np.where(known, looks.left[:-1], 0.0)[known]
    after, gap, who = looks.found[1:][known], np.diff(looks.hour)[known], looks.crew[1:][known]
    share, pace = np.empty(crews), np.empty(crews)
    for c in range(crews):
        mine, alone = who == c, lone & (looks.crew == c)
        start, end, hours, first = before[mine], after[mine], gap[mine], looks.found[alone]

        def cost(
            theta: FloatArray,
            start: FloatArray = start,
            end: FloatArray = end,
            hours: FloatArray = hours,
            first: FloatArray = first,
        ) -> float:
            p, rate = 1 / (1 + np.exp(-theta[0])), np.exp(theta[1])
            off = np.clip(off_after(p, rate, start, hours), 1e-12, 1 - 1e-12)
            value = np.log(np.where(end == 1, off, 1 - off)).sum()
            value += np.log(np.where(first == 1, p, 1 - p)).sum()
            value -= 0.5 * ((theta[0] - SHARE_PRIOR[0]) / SHARE_PRIOR[1]) ** 2
            return float(0.5 * ((theta[1] - PACE_PRIOR[0]) / PACE_PRIOR[1]) ** 2 - value)

        best = minimize(cost, [SHARE_PRIOR[0], PACE_PRIOR[0]], method="Nelder-Mead", options={"xatol": 1e-4})
        share[c], pace[c] = 1 / (1 + np.exp(-best.x[0])), np.exp(best.x[1])
    return share, pace


def smoothed_off(
    looks: GuardLooks,
    share: FloatArray,
    pace: FloatArray,
    unit: IntArray,
    crew: IntArray,
    hour: FloatArray,
    *,
    just_before: bool = False,
) -> FloatArray:
    """P(off) at given units' hours, from the looks before and after, shape of ``hour`` (k,).

    Before a unit's first look and after its last the chain runs from its long-run share, or from that look alone. A
    look
    at that very hour counts as before it, or with ``just_before`` as after it (a failure comes before its repair).
    """
    if not looks.hour.size:
        return share[crew]
    # One sortable number for (unit, hour).
    wide = 1.0 + max(float(looks.hour.max()), float(np.max(hour, initial=0.0)))
    rank = np.searchsorted(looks.unit * wide + looks.hour, unit * wide + hour, side="left" if just_before else "right")
    previous, following = rank - 1, rank
    has_before = (previous >= 0) & (looks.unit[np.maximum(previous, 0)] == unit)
    last = looks.hour.size - 1
    has_after = (following <= last) & (looks.unit[np.minimum(following, last)] == unit)
    p, rate = share[crew], pace[crew]
    state = np.where(has_before, looks.left[np.maximum(previous, 0)], np.nan)
    since = np.where(has_before, hour - looks.hour[np.maximum(previous, 0)], 0.0)
    off = off_after(p, rate, state, since)
    found = np.where(has_after, looks.found[np.minimum(following, last)], np.nan)
    ahead = np.where(has_after, looks.hour[np.minimum(following, last)] - hour, 0.0)
    to_off = off_after(p, rate, np.ones_like(p), ahead)
    to_on = off_after(p, rate, np.zeros_like(p), ahead)
    from_off = np.where(found == 1, to_off, 1 - to_off)
    from_on = np.where(found == 1, to_on, 1 - to_on)
    joint = off * from_off
    total = joint + (1 - off) * from_on
    return np.where(np.isnan(found) | (total <= 0), off, joint / np.where(total > 0, total, 1.0))
