"""What running without guards costs, crew by crew, compared within crews."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fleet.reliability.guard_chain import GuardLooks, fit_chains, smoothed_off
from fleet.reliability.lifetimes import FloatArray, IntArray
from fleet.reliability.misuse_posterior import CrewTotals, posterior_draws

#: A crew's excess counts as such above this share of what is spent on it.
MATTERS = 0.05
SURE = 0.95


@dataclass(frozen=True)
class ExcessFailures:
    """Answer of :func:`excess_failures`; arrays over the C crews.

    Attributes
    ----------
    ratio, ratio_low, ratio_high : float
        Hazard ratio of guard off against on: posterior median and limits.
    hours, guard_off_hours : ndarray, shape (C,)
        Engine hours, and the expected part of them with the guard off.
    failures : ndarray of int, shape (C,)
    spent : ndarray, shape (C,)
    excess, excess_low, excess_high : ndarray, shape (C,)
        Failures that would not have happened with guards on: posterior mean and limits.
    excess_cost, excess_cost_low, excess_cost_high : ndarray, shape (C,)
    verdict : list of str
        "costs_more", "no_excess" or "cannot_tell".
    hours_needed : ndarray, shape (C,)
        Rough hours of all crews after which a verdict can be expected; NaN where there is one.
    share_off, changes_per_hour : ndarray, shape (C,)
        Each crew's chain.
    """

    ratio: float
    ratio_low: float
    ratio_high: float
    hours: FloatArray
    guard_off_hours: FloatArray
    failures: IntArray
    spent: FloatArray
    excess: FloatArray
    excess_low: FloatArray
    excess_high: FloatArray
    excess_cost: FloatArray
    excess_cost_low: FloatArray
    excess_cost_high: FloatArray
    verdict: list[str]
    hours_needed: FloatArray
    share_off: FloatArray
    changes_per_hour: FloatArray


def excess_failures(
    *,
    unit: ArrayLike,
    crew: ArrayLike,
    entry: ArrayLike,
    end: ArrayLike,
    look_unit: ArrayLike,
    look_hour: ArrayLike,
    look_found: ArrayLike,
    look_left: ArrayLike | None = None,
    failure_unit: ArrayLike,
    failure_hour: ArrayLike,
    failure_off: ArrayLike,
    failure_cost: ArrayLike,
    expected: ArrayLike | None = None,
    spent: ArrayLike | None = None,
    crews: int | None = None,
    level: float = 0.9,
) -> ExcessFailures:
    """Failures and money that guards left off have cost each crew.

    Parameters
    ----------
    unit, crew, entry, end : array_like, shape (n,)
        Exposure: a unit's engine hours (entry, end] with one crew, 0..C-1. Spans of a unit do not overlap.
    look_unit, look_hour, look_found : array_like, shape (l,)
        Guard walks and leaving-shop checks: 1 off, 0 on, NaN not seen.
    look_left : array_like, shape (l,), optional
        State left behind (refitted: found 1, left 0); NaN where nothing is known after (a shop visit breaks the chain).
    failure_unit, failure_hour, failure_off : array_like, shape (e,)
        Failures of the parts that missing guards can hurt (gearbox, shaft, clutch, exhaust), pooled, with the state
        found
        (NaN unknown). It is used for that failure alone, never for exposure.
    failure_cost : float or array_like, shape (C,)
        Mean cost of a failure.
    expected : array_like, shape (n,), optional
        Failures expected in each span from age and model alone; the hours by default.
    spent : array_like, shape (C,), optional
        What was spent on each crew; failures times cost by default.
    crews : int, optional
        Number of crews, where the last ones have no exposure.
    level : float
        Of the limits.

    Returns
    -------
    ExcessFailures

    Raises
    ------
    ValueError
        For a bad span, look or failure, named by its number, or without any failure.

    Notes
    -----
    Exposure is P(off) of a two-state Markov chain per crew, smoothed between looks. The hazard is the expected one
    times
    exp(crew) (1 + p (ratio - 1)), log ratio ~ N(0, 4); the crew effect is normal with its spread integrated, plus a
    term in
    the crew's mean share off, so that crews are compared with themselves: a crew on bad ground is not accused for its
    ground. If guards come off only on the rough sites, the ground's part stays in this figure; no method here
    removes that.

    Examples
    --------
    One crew of four units, watched for 100 h each, two of them without guards throughout:

    >>> answer = excess_failures(
    ...     unit=[0, 1, 2, 3], crew=[0, 0, 0, 0], entry=[0] * 4, end=[100] * 4,
    ...     look_unit=[0, 0, 1, 1, 2, 2, 3, 3], look_hour=[1, 99] * 4, look_found=[1, 1, 1, 1, 0, 0, 0, 0],
    ...     failure_unit=[0, 0, 1, 1, 1, 2], failure_hour=[20, 60, 30, 50, 90, 40], failure_off=[1, 1, 1, 1, 1, 0],
    ...     failure_cost=150)
    >>> answer.verdict, bool(answer.ratio > 1), bool(150 < answer.guard_off_hours[0] < 250)
    (['cannot_tell'], True, True)
    """
    units, unit_codes = np.unique(np.atleast_1d(np.asarray(unit)), return_inverse=True)
    crew_of = np.atleast_1d(np.asarray(crew)).astype(np.int64)
    start = np.broadcast_to(np.asarray(entry, float), crew_of.shape)
    stop = np.broadcast_to(np.asarray(end, float), crew_of.shape)
    bad = ~(stop >= start) | ~(start >= 0) | ~np.isfinite(stop) | (crew_of < 0)
    if bad.any():
        raise ValueError(f"span {int(np.argmax(bad))}: hours or crew are not valid")
    count = int(crew_of.max()) + 1 if crews is None else int(crews)
    base = stop - start if expected is None else np.broadcast_to(np.asarray(expected, float), crew_of.shape)
    if (base < 0).any() or not np.isfinite(base).all():
        raise ValueError(f"span {int(np.argmax(~(base >= 0)))}: expected must not be negative")
    spans = _Spans(unit_codes, crew_of, start, stop)
    seen = _codes(units, look_unit, "look")
    look_hours = np.atleast_1d(np.asarray(look_hour, float))
    looks = GuardLooks.build(
        seen, crew_of[spans.holding(seen, look_hours, nearest=True)], look_hours, look_found, look_left
    )
    share, pace = fit_chains(looks, count)
    off, doubt_of_off = _span_shares(looks, share, pace, spans)
    failed = _codes(units, failure_unit, "failure")
    when = np.atleast_1d(np.asarray(failure_hour, float))
    if not failed.size:
        raise ValueError("no failure: there is nothing to compare")
    held = spans.holding(failed, when)
    if (held < 0).any():
        raise ValueError(f"failure {int(np.argmax(held < 0))}: outside its unit's spans")
    state = np.broadcast_to(np.asarray(failure_off, float), when.shape)
    guess = smoothed_off(looks, share, pace, failed, crew_of[held], when, just_before=True)

    def total(values: FloatArray) -> FloatArray:
        return np.bincount(crew_of, weights=values, minlength=count).astype(float)

    hours, off_hours = total(stop - start), total(off * (stop - start))
    totals = CrewTotals(
        expected=total(base),
        expected_off=total(base * off),
        expected_off_sd=np.sqrt(total(base**2 * doubt_of_off)),
        share=np.divide(off_hours, hours, out=np.zeros(count), where=hours > 0),
        failures=np.bincount(crew_of[held], minlength=count).astype(float),
        failures_off=np.bincount(crew_of[held], weights=(state == 1).astype(float), minlength=count).astype(float),
        unknown_crew=crew_of[held][np.isnan(state)],
        unknown_off=guess[np.isnan(state)],
    )
    log_ratio, level_draws, off_draws = posterior_draws(totals)
    excess = np.exp(level_draws) * off_draws * np.expm1(log_ratio)[:, None]
    price = np.broadcast_to(np.asarray(failure_cost, float), (count,))
    paid = totals.failures * price if spent is None else np.broadcast_to(np.asarray(spent, float), (count,))
    money = excess * price
    tails = [(1 - level) / 2, (1 + level) / 2]
    low, high = np.quantile(excess, tails, axis=0)
    ratio = np.exp(np.quantile(log_ratio, [tails[0], 0.5, tails[1]]))
    verdict = [_verdict(money[:, c], float(paid[c])) for c in range(count)]
    centre, doubt = float(log_ratio.mean()), float(log_ratio.std())
    needed = float(hours.sum()) * ((1.645 + 0.84) * doubt / max(abs(centre), 1e-3)) ** 2
    return ExcessFailures(
        ratio=float(ratio[1]),
        ratio_low=float(ratio[0]),
        ratio_high=float(ratio[2]),
        hours=hours,
        guard_off_hours=off_hours,
        failures=totals.failures.astype(np.int64),
        spent=paid,
        excess=excess.mean(axis=0),
        excess_low=low,
        excess_high=high,
        excess_cost=money.mean(axis=0),
        excess_cost_low=low * price,
        excess_cost_high=high * price,
        verdict=verdict,
        hours_needed=np.array([needed if word == "cannot_tell" else np.nan for word in verdict]),
        share_off=share,
        changes_per_hour=pace,
    )


def _verdict(money: FloatArray, paid: float) -> str:
    above = float((money > MATTERS * paid).mean())
    if above >= SURE:
        return "costs_more"
    return "no_excess" if 1 - above >= SURE else "cannot_tell"


@dataclass(frozen=True)
class _Spans:
    """Exposure spans, searched by unit and hour."""

    unit: IntArray
    crew: IntArray
    start: FloatArray
    stop: FloatArray

    def holding(self, unit: IntArray, hour: FloatArray, *, nearest: bool = False) -> IntArray:
        """Number of the span that holds each hour, -1 for none (``nearest``: the closest one of the unit)."""
        order = np.lexsort((self.start, self.unit))
        wide = 1.0 + float(max(self.stop.max(initial=0.0), np.max(hour, initial=0.0)))
        rank = np.searchsorted(self.unit[order] * wide + self.start[order], unit * wide + hour, side="left") - 1
        found = order[np.maximum(rank, 0)]
        mine = (rank >= 0) & (self.unit[found] == unit)
        if nearest:
            after = order[np.minimum(rank + 1, order.size - 1)]
            return np.where(mine, found, after)
        inside = mine & (hour > self.start[found]) & (hour <= self.stop[found] + 1e-9)
        return np.where(inside, found, -1)


def _codes(units: np.ndarray, names: ArrayLike, what: str) -> IntArray:
    wanted = np.atleast_1d(np.asarray(names))
    if not wanted.size:
        return np.zeros(0, dtype=np.int64)
    code = np.minimum(np.searchsorted(units, wanted), units.size - 1)
    strange = units[code] != wanted
    if strange.any():
        one = int(np.argmax(strange))
        raise ValueError(f"{what} {one}: unit {wanted[one]} has no exposure")
    return code.astype(np.int64)


def _span_shares(
    looks: GuardLooks, share: FloatArray, pace: FloatArray, spans: _Spans
) -> tuple[FloatArray, FloatArray]:
    """Mean and variance of each span's share off, by Gauss-Legendre between its looks, each of shape (n,)."""
    cut_unit = np.concatenate([spans.unit, looks.unit])
    cut_hour = np.concatenate([spans.start, looks.hour])
    row = np.concatenate([np.arange(spans.unit.size), spans.holding(looks.unit, looks.hour)])
    kept = row >= 0
    cut_unit, cut_hour, row = cut_unit[kept], cut_hour[kept], row[kept]
    order = np.lexsort((cut_hour, row))
    row, low = row[order], cut_hour[order]
    last = np.concatenate([row[1:] != row[:-1], [True]])
    high = np.where(last, spans.stop[row], np.concatenate([low[1:], [0.0]]))
    width = np.maximum(high - low, 0.0)
    nodes, weights = np.polynomial.legendre.leggauss(5)
    mass, unsure = np.zeros(row.size), np.zeros(row.size)
    for node, weight in zip(nodes, weights, strict=True):
        at = low + 0.5 * (1 + node) * width
        p = smoothed_off(looks, share, pace, spans.unit[row], spans.crew[row], at)
        mass += 0.5 * weight * p
        unsure += 0.5 * weight * p * (1 - p)
    total = np.bincount(row, weights=mass * width, minlength=spans.unit.size)
    # What is not known between two looks is one state for about as long as the chain remembers.
    alike = np.minimum(1.0, 2.0 / np.maximum(pace[spans.crew[row]] * width, 1e-12))
    variance = np.bincount(row, weights=unsure * alike * width**2, minlength=spans.unit.size)
    hours = np.maximum(spans.stop - spans.start, 1e-12)
    return total / hours, variance / hours**2
