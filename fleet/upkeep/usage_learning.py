"""Learning a contractor's usual hours from its ledger: rates by crew, the shape of the season, and the spreads.

Everything is shrunk to the prior (or a crew to its contractor) by counting the prior as so many unit-weeks, so that a
contractor with two entries gets a sane answer and one with three seasons gets its own.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.crew_shares import crew_shares
from fleet.upkeep.days import monday
from fleet.upkeep.histories import Histories
from fleet.upkeep.season import Season
from fleet.upkeep.usage import PRIOR_DAY_RATE, PRIOR_SEASON_CV, PRIOR_UNIT_CV, PRIOR_WEEK_CV, Usage

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

# How many unit-weeks the prior of each figure is worth.
RATE_WEEKS, CREW_WEEKS, MONTH_WEEKS, SPREAD_WEEKS, SPREAD_UNITS = 4.0, 10.0, 12.0, 30.0, 6.0
# Weeks of earlier seasons count this much for rates: crews and sites change over a winter.
EARLIER_SEASON = 0.35
SEASON_DAYS = 250
LONGEST_SPAN = 70
# Entries projected ahead when past projections are judged, and how many stretches the prior (no widening) is worth.
AHEAD, SCALE_STRETCHES = 6, 20.0


@dataclass(frozen=True)
class Spans:
    """Stretches of a unit's days with known hours: a logged week, or the days between two meter readings."""

    unit: Ints
    first: Ints
    days: Ints
    hours: Floats
    own: NDArray[np.bool_]
    metered: NDArray[np.bool_]


def known_spans(h: Histories, burn: Floats) -> Spans:
    """Every stretch of known hours: weeks logged by the unit, shares of crew totals, and gaps between readings."""
    rows = h.hours
    logged = np.nan_to_num(rows["run"]) + np.nan_to_num(rows["litres"]) / burn[rows["unit"]]
    told = np.isnan(rows["meter"])
    key, inverse = np.unique(rows["unit"][told] * (1 << 20) + monday(rows["day"][told]), return_inverse=True)
    week_hours = np.bincount(inverse, weights=logged[told], minlength=len(key)).astype(float)
    shares = crew_shares(h, burn)
    meter = np.flatnonzero(~told)
    unit, day, value = rows["unit"][meter], rows["day"][meter], rows["meter"][meter]
    follows = np.zeros(len(meter), dtype=bool)
    if len(meter):
        follows[1:] = (unit[1:] == unit[:-1]) & (rows["replaced"][meter][1:] == 0) & (day[1:] > day[:-1])
    at = np.flatnonzero(follows)
    gap = day[at] - day[at - 1]
    short = gap <= LONGEST_SPAN
    at, gap = at[short], gap[short]
    parts = (
        (key >> 20, key & ((1 << 20) - 1), np.full(len(key), 7), week_hours, np.ones(len(key), dtype=bool)),
        (
            shares.unit,
            shares.monday,
            np.full(len(shares.unit), 7),
            shares.hours,
            np.zeros(len(shares.unit), dtype=bool),
        ),
        (unit[at], day[at - 1] + 1, gap, value[at] - value[at - 1], np.ones(len(at), dtype=bool)),
    )
    unit, first, days, hours, own = (np.concatenate(c) for c in zip(*parts, strict=True))
    metered = np.zeros(len(unit), dtype=bool)
    metered[len(unit) - len(at) :] = True
    return Spans(
        unit.astype(np.int64), first.astype(np.int64), days.astype(np.int64), hours.astype(float), own, metered
    )


def learn_usage(h: Histories, season: Season, burn: Floats, version: int) -> Usage:
    """What the ledger of one contractor says of its usual hours."""
    spans = known_spans(h, burn)
    if not len(spans.unit):
        return Usage(season=season, version=version)
    base = int(spans.first.min())
    length = int((spans.first + spans.days).max()) - base
    flat = Season(season.opens, season.closes, season.working_days)
    worth = _sums(flat.worth(base, length), spans, base)
    in_season = worth > 0
    spans = _pick(spans, in_season)
    worth = worth[in_season]
    if not len(worth):
        return Usage(season=season, version=version)
    week = max(season.days_per_week, 1)
    crew = _crew_at(h, spans)
    latest = int((spans.first + spans.days).max())
    weight = np.where(latest - spans.first < SEASON_DAYS, 1.0, EARLIER_SEASON)

    prior = RATE_WEEKS * week
    rate = float((np.sum(weight * spans.hours) + prior * PRIOR_DAY_RATE) / (np.sum(weight * worth) + prior))
    profile = _profile(spans, worth, rate, week)
    shaped = Season(season.opens, season.closes, season.working_days, profile)
    worth = _sums(shaped.worth(base, length), spans, base)
    rate = float((np.sum(weight * spans.hours) + prior * PRIOR_DAY_RATE) / (np.sum(weight * worth) + prior))
    crews = np.unique(crew[crew >= 0])
    crew_rates = {}
    for c in crews:
        of_crew = crew == c
        crew_rates[int(c)] = float(
            (np.sum(weight[of_crew] * spans.hours[of_crew]) + CREW_WEEKS * week * rate)
            / (np.sum(weight[of_crew] * worth[of_crew]) + CREW_WEEKS * week)
        )
    crew_rate = np.array([crew_rates.get(int(c), rate) for c in crew])
    expected = np.maximum(crew_rate * worth, 1e-9)
    week_cv, unit_cv, season_cv = _spreads(spans, expected, crew_rate * week)
    return Usage(
        season=shaped,
        day_rate=rate,
        crew_rates=crew_rates,
        week_cv=week_cv,
        unit_cv=unit_cv,
        season_cv=season_cv,
        scale=_scales(spans, expected, crew_rate * week, (week_cv, unit_cv, season_cv)),
        version=version,
    )


def _pick(spans: Spans, mask: NDArray[np.bool_]) -> Spans:
    return Spans(*(getattr(spans, f.name)[mask] for f in fields(Spans)))


def _scales(
    spans: Spans, expected: Floats, usual_week: Floats, spreads: tuple[float, float, float]
) -> dict[str, float]:
    """How much wider each kind's bands must be, judged by its own past: projections made then against what came.

    Every unit's season is cut into stretches of ``AHEAD`` entries; each is projected from the entries before it, just
    as a due date would be, and its standardized error taken. Bands are only ever widened: within one season a
    projection is easier than over a winter, so a small error there is no ground for narrow bands later.
    """
    week_cv, unit_cv, season_cv = spreads
    pseudo = (week_cv / unit_cv) ** 2
    year = spans.first.astype("datetime64[D]").astype("datetime64[Y]").astype(np.int64)
    scales = {}
    for kind, of_kind in (("meter", spans.metered), ("run", spans.own & ~spans.metered)):
        order = np.flatnonzero(of_kind)
        order = order[np.lexsort((spans.first[order], spans.unit[order]))]
        if not len(order):
            continue
        cell = spans.unit[order] * 4096 + year[order]
        start = np.searchsorted(cell, cell, side="left")
        place = np.arange(len(order)) - start
        size = np.searchsorted(cell, cell, side="right") - start
        at = np.flatnonzero((place > 0) & (place % AHEAD == 0) & (place + AHEAD <= size))
        hours, usual = (np.concatenate([[0.0], v[order].cumsum()]) for v in (spans.hours, expected))
        week = usual_week[order][at]
        weeks_before = (usual[at] - usual[start[at]]) / week
        ratio = ((hours[at] - hours[start[at]]) / week + pseudo) / (weeks_before + pseudo)
        ahead = ratio * (usual[at + AHEAD] - usual[at])
        rate_cv2 = unit_cv**2 * pseudo / (pseudo + weeks_before) + season_cv**2
        variance = week_cv**2 * week * ratio * ahead + rate_cv2 * ahead**2
        error2 = (hours[at + AHEAD] - hours[at] - ahead) ** 2 / np.maximum(variance, 1e-9)
        judged = (float(np.sum(error2)) + SCALE_STRETCHES) / (len(at) + SCALE_STRETCHES)
        scales[kind] = round(float(np.clip(np.sqrt(judged), 1.0, 1.6)), 3)
    return scales


def _sums(worth: Floats, spans: Spans, base: int) -> Floats:
    cumulated = np.concatenate([[0.0], worth.cumsum()])
    start = spans.first - base
    return cumulated[start + spans.days] - cumulated[start]


def _crew_at(h: Histories, spans: Spans) -> Ints:
    """The crew each span's unit rode with at its end; -1 for none."""
    span = 1 << 20
    move_key = h.moves["unit"] * span + h.moves["day"]
    place = np.searchsorted(move_key, spans.unit * span + spans.first + spans.days - 1, side="right") - 1
    found = place >= 0
    crew = np.full(len(spans.unit), -1, dtype=np.int64)
    if len(move_key):
        found &= h.moves["unit"][np.maximum(place, 0)] == spans.unit
        crew[found] = h.moves["crew"][place[found]]
    return crew


def _profile(spans: Spans, worth: Floats, rate: float, week: int) -> tuple[float, ...]:
    """Weight of each month against the average of the season, shrunk to 1."""
    short = spans.days <= 21
    middle = (spans.first + spans.days // 2)[short]
    month = middle.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % 12
    hours = np.bincount(month, weights=spans.hours[short], minlength=12)
    expected = np.bincount(month, weights=worth[short] * rate, minlength=12)
    pseudo = MONTH_WEEKS * week * rate
    return tuple(float(v) for v in np.round((hours + pseudo) / (expected + pseudo), 4))


def _spreads(spans: Spans, expected: Floats, usual_week: Floats) -> tuple[float, float, float]:
    """Relative spread of one week, of units within a crew, and of a unit's seasons; each shrunk to its prior."""
    own = spans.own
    if own.sum() < 3:
        return PRIOR_WEEK_CV, PRIOR_UNIT_CV, PRIOR_SEASON_CV
    unit, hours, e = spans.unit[own], spans.hours[own], expected[own]
    weeks = e / np.maximum(usual_week[own], 1e-9)
    year = (spans.first[own].astype("datetime64[D]").astype("datetime64[Y]")).astype(np.int64)
    key, cell = np.unique(unit * 4096 + year, return_inverse=True)
    n = np.bincount(cell)
    cell_hours, cell_weeks = np.bincount(cell, weights=hours), np.bincount(cell, weights=weeks)
    ratio = cell_hours / np.maximum(np.bincount(cell, weights=e), 1e-9)
    # Noise within a unit's season: hours of a span vary about ratio * expected, in step with its length.
    mean = ratio[cell] * e
    residual = np.where(mean > 0, (hours - mean) ** 2 / np.maximum(mean, 1e-9) / np.maximum(mean / weeks, 1e-9), 0.0)
    freedom = float(np.sum(n - 1))
    within = (np.sum(residual) + SPREAD_WEEKS * PRIOR_WEEK_CV**2) / (freedom + SPREAD_WEEKS)
    # Units of one year about the crew's rate, less what noise alone would give.
    enough = cell_weeks >= 4
    noise = within / np.maximum(cell_weeks, 1e-9)
    between_raw = np.sum(((ratio - 1) ** 2 - noise)[enough])
    between = (max(float(between_raw), 0.0) + SPREAD_UNITS * PRIOR_UNIT_CV**2) / (enough.sum() + SPREAD_UNITS)
    # One unit in two seasons running: half the squared difference is a season's own share.
    same = np.flatnonzero(enough[1:] & enough[:-1] & (key[1:] == key[:-1] + 1)) + 1
    change = (ratio[same] - ratio[same - 1]) ** 2 / 2 - (noise[same] + noise[same - 1]) / 2
    season = (max(float(np.sum(change)), 0.0) + SPREAD_UNITS * PRIOR_SEASON_CV**2) / (len(same) + SPREAD_UNITS)
    return (
        float(np.clip(np.sqrt(within), 0.1, 2.0)),
        float(np.clip(np.sqrt(between), 0.05, 1.0)),
        float(np.clip(np.sqrt(season), 0.03, 0.6)),
    )
