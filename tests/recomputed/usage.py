"""A contractor's usual hours: rates by crew, the shape of the season, and how much weeks, units and seasons differ.

An estimate whose method is a choice; this follows its description: everything is shrunk to a prior that counts as so
many unit-weeks, earlier seasons count 0.35, and past projections are judged to widen the bands.
"""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections import defaultdict
from dataclasses import dataclass, field

from tests.recomputed.reading import Party, Row, Unit, day, monday, number
from tests.recomputed.season import Calendar

ONE = dt.timedelta(days=1)
PRIOR_RATE, PRIOR_WEEK, PRIOR_UNIT, PRIOR_SEASON = 0.75, 0.6, 0.35, 0.2


@dataclass(frozen=True)
class Share:
    """What a crew's total of a week leaves to one unit."""

    unit: Unit
    week: dt.date
    hours: float


@dataclass(frozen=True)
class Span:
    """A stretch of a unit's days with known hours."""

    unit: Unit
    first: dt.date
    days: int
    hours: float
    own: bool
    metered: bool

    @property
    def after(self) -> dt.date:
        return self.first + self.days * ONE


@dataclass
class Usual:
    """What was learned; the prior where nothing was."""

    calendar: Calendar
    rate: float = PRIOR_RATE
    crews: dict[str, float] = field(default_factory=dict)
    week_cv: float = PRIOR_WEEK
    unit_cv: float = PRIOR_UNIT
    season_cv: float = PRIOR_SEASON
    scale: dict[str, float] = field(default_factory=dict)

    def rate_of(self, crew: str | None) -> float:
        return self.crews.get(crew or "", self.rate)


def told_hours(unit: Unit, row: Row) -> float | None:
    """Hours run, or fuel at the model's burn rate; None for a meter's reading."""
    if number(row["meter_hours"]) is not None:
        return None
    return (number(row["hours_run"]) or 0.0) + (number(row["litres"]) or 0.0) / unit.burn


def own_weeks(unit: Unit) -> dict[dt.date, float]:
    """Hours of every week that has an entry of the unit's own; of a meter's gain, the days in the reading's week."""
    weeks: dict[dt.date, float] = defaultdict(float)
    before, before_on = unit.start, unit.registered
    for row in unit.hours:
        date = day(row["date"])
        hours = told_hours(unit, row)
        if hours is None:
            reads = float(row["meter_hours"])
            gap = max((date - before_on).days, 1)
            gained = 0.0 if row["meter_replaced"] == "yes" else max(reads - before, 0.0)
            hours = gained * min(date.weekday() + 1, gap) / gap
            before, before_on = reads, date
        weeks[monday(date)] += hours
    return weeks


def crew_shares(party: Party) -> list[Share]:
    """Each total, less its units' own entries of that week, equally over its other units."""
    shares = []
    logged = {id(unit): own_weeks(unit) for unit in party.units}
    for total in party.totals:
        week = monday(day(total["week_of"]))
        riders = []
        for unit in party.units:
            # On the week's Sunday, or on its last day where it retired in that week.
            on = week + 6 * ONE
            if unit.retired is not None and week <= unit.retired <= on:
                on = unit.retired
            gone = unit.retired is not None and unit.retired < on
            if not gone and unit.registered <= on and unit.crew_on(on) == total["crew"]:
                riders.append(unit)
        if not riders:
            continue
        burn = sum(u.burn for u in riders) / len(riders)
        share = number(total["trimmer_share"])
        litres = (number(total["crew_litres"]) or 0.0) * (1.0 if share is None else share)
        left = (number(total["crew_hours"]) or 0.0) + litres / burn
        left = max(left - sum(logged[id(u)].get(week, 0.0) for u in riders), 0.0)
        others = [u for u in riders if week not in logged[id(u)]]
        shares += [Share(u, week, left / len(others)) for u in others]
    return shares


def spans_of(party: Party, shares: list[Share]) -> list[Span]:
    found = []
    for unit in party.units:
        weeks: dict[dt.date, float] = defaultdict(float)
        meter: list[tuple[dt.date, float, bool]] = []
        for row in unit.hours:
            hours = told_hours(unit, row)
            if hours is None:
                meter.append((day(row["date"]), float(row["meter_hours"]), row["meter_replaced"] == "yes"))
            else:
                weeks[monday(day(row["date"]))] += hours
        found += [Span(unit, week, 7, hours, True, False) for week, hours in sorted(weeks.items())]
        for (d0, v0, _r), (d1, v1, replaced) in itertools.pairwise(meter):
            if not replaced and 0 < (d1 - d0).days <= 70:
                found.append(Span(unit, d0 + ONE, (d1 - d0).days, v1 - v0, True, True))
    return found + [Span(s.unit, s.week, 7, s.hours, False, False) for s in shares]


def worth_of(calendar: Calendar, span: Span) -> float:
    return sum(calendar.worth(span.first + k * ONE) for k in range(span.days))


def learn(party: Party, shares: list[Share]) -> Usual:
    flat = Calendar(party)
    spans = [s for s in spans_of(party, shares) if worth_of(flat, s) > 0]
    if not spans:
        return Usual(flat)
    week = flat.week
    latest = max(s.after for s in spans)
    weight = [1.0 if (latest - s.first).days < 250 else 0.35 for s in spans]

    def pooled(worth: list[float], prior_rate: float, weeks: float, chosen: list[int]) -> float:
        hours = sum(weight[i] * spans[i].hours for i in chosen) + weeks * week * prior_rate
        return hours / (sum(weight[i] * worth[i] for i in chosen) + weeks * week)

    everything = list(range(len(spans)))
    worth = [worth_of(flat, s) for s in spans]
    rate = pooled(worth, PRIOR_RATE, 4, everything)
    seen, usual = [0.0] * 12, [0.0] * 12
    for s, w in zip(spans, worth, strict=True):
        if s.days <= 21:
            month = (s.first + (s.days // 2) * ONE).month - 1
            seen[month] += s.hours
            usual[month] += w * rate
    pseudo = 12 * week * rate
    profile = tuple(round((a + pseudo) / (b + pseudo), 4) for a, b in zip(seen, usual, strict=True))
    shaped = Calendar(party, profile)
    worth = [worth_of(shaped, s) for s in spans]
    rate = pooled(worth, PRIOR_RATE, 4, everything)
    crew_of = [s.unit.crew_on(s.after - ONE) or "" for s in spans]
    crews = {
        crew: pooled(worth, rate, 10, [i for i in everything if crew_of[i] == crew])
        for crew in sorted(set(crew_of))
        if crew
    }
    crew_rate = [crews.get(c, rate) for c in crew_of]
    expected = [max(r * w, 1e-9) for r, w in zip(crew_rate, worth, strict=True)]
    spreads = _spreads(spans, expected, [r * week for r in crew_rate])
    return Usual(
        calendar=shaped,
        rate=round(rate, 5),
        crews={crew: round(r, 5) for crew, r in crews.items()},
        week_cv=round(spreads[0], 4),
        unit_cv=round(spreads[1], 4),
        season_cv=round(spreads[2], 4),
        scale=_scales(spans, expected, [r * week for r in crew_rate], spreads),
    )


def _spreads(spans: list[Span], expected: list[float], usual_week: list[float]) -> tuple[float, float, float]:
    own = [i for i, s in enumerate(spans) if s.own]
    if len(own) < 3:
        return PRIOR_WEEK, PRIOR_UNIT, PRIOR_SEASON
    cells: dict[tuple[int, int], list[int]] = defaultdict(list)
    for i in own:
        cells[id(spans[i].unit), spans[i].first.year].append(i)
    weeks = {i: expected[i] / max(usual_week[i], 1e-9) for i in own}
    ratio, long_enough, noise_of = {}, {}, {}
    squares, freedom = 0.0, 0
    for cell, rows in cells.items():
        ratio[cell] = sum(spans[i].hours for i in rows) / max(sum(expected[i] for i in rows), 1e-9)
        long_enough[cell] = sum(weeks[i] for i in rows)
        freedom += len(rows) - 1
        for i in rows:
            mean = ratio[cell] * expected[i]
            if mean > 0:
                squares += (spans[i].hours - mean) ** 2 / mean / max(mean / weeks[i], 1e-9)
    within = (squares + 30 * PRIOR_WEEK**2) / (freedom + 30)
    between, units = 0.0, 0
    for cell in cells:
        noise_of[cell] = within / max(long_enough[cell], 1e-9)
        if long_enough[cell] >= 4:
            between += (ratio[cell] - 1) ** 2 - noise_of[cell]
            units += 1
    between = (max(between, 0.0) + 6 * PRIOR_UNIT**2) / (units + 6)
    change, pairs = 0.0, 0
    for unit, year in cells:
        one, two = (unit, year), (unit, year + 1)
        if two in cells and long_enough[one] >= 4 and long_enough[two] >= 4:
            change += (ratio[two] - ratio[one]) ** 2 / 2 - (noise_of[one] + noise_of[two]) / 2
            pairs += 1
    season = (max(change, 0.0) + 6 * PRIOR_SEASON**2) / (pairs + 6)
    return (
        min(max(math.sqrt(within), 0.1), 2.0),
        min(max(math.sqrt(between), 0.05), 1.0),
        min(max(math.sqrt(season), 0.03), 0.6),
    )


def _scales(
    spans: list[Span], expected: list[float], usual_week: list[float], spreads: tuple[float, float, float]
) -> dict[str, float]:
    """Projections of six entries ahead against what came; bands are only widened, at most 1.6 times."""
    week_cv, unit_cv, season_cv = spreads
    pseudo = (week_cv / unit_cv) ** 2
    scales = {}
    for kind in ("meter", "run"):
        cells: dict[tuple[int, int], list[int]] = defaultdict(list)
        for i, s in enumerate(spans):
            if s.metered if kind == "meter" else s.own and not s.metered:
                cells[id(s.unit), s.first.year].append(i)
        if not cells:
            continue
        errors, count = 0.0, 0
        for rows in cells.values():
            rows.sort(key=lambda i: spans[i].first)
            for at in range(6, len(rows) - 5, 6):
                week = usual_week[rows[at]]
                weeks_before = sum(expected[i] for i in rows[:at]) / week
                ratio = (sum(spans[i].hours for i in rows[:at]) / week + pseudo) / (weeks_before + pseudo)
                ahead = ratio * sum(expected[i] for i in rows[at : at + 6])
                rate_cv2 = unit_cv**2 * pseudo / (pseudo + weeks_before) + season_cv**2
                variance = week_cv**2 * week * ratio * ahead + rate_cv2 * ahead**2
                came = sum(spans[i].hours for i in rows[at : at + 6])
                errors += (came - ahead) ** 2 / max(variance, 1e-9)
                count += 1
        judged = (errors + 20) / (count + 20)
        scales[kind] = round(min(max(math.sqrt(judged), 1.0), 1.6), 3)
    return scales
