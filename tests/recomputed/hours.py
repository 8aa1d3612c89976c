"""One unit's engine hours day by day, through its readings, and how sure the last of them are."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from dataclasses import dataclass

from tests.recomputed.reading import Row, Unit, day, monday, number
from tests.recomputed.usage import ONE, Share, Usual, told_hours

READING_SD = {"none": 0.5, "meter": 0.3, "service": 1.0}
BIAS_CV = {"meter": 0.0, "run": 0.10, "fuel": 0.18, "crew": 0.12, "service": 0.05, "none": 0.15}
LOGGED_CV = {"run": 0.15, "fuel": 0.25, "crew": 0.35}


@dataclass(frozen=True)
class Reading:
    """A total (or a meter's figure, counted by exchanges of the meter) on a day."""

    on: dt.date
    value: float
    kind: str
    exchange: int


@dataclass(frozen=True)
class Line:
    """Total at the end of each day from the evening before registration on."""

    first: dt.date
    total: list[float]
    known_until: dt.date
    basis: str
    hours: float
    variance: float
    since_reading: float
    day_rate: float
    bias_cv: float
    rate_cv: float
    week_cv: float
    guessed: float  # share of the hours known that usual weeks alone speak for, since the last reading

    def on(self, date: dt.date) -> float:
        return self.total[min(max((date - self.first).days, 0), len(self.total) - 1)]

    def passed_on(self, target: float) -> dt.date | None:
        """The first day whose total is above the target, where entries already say so."""
        if not self.hours > target + 1e-9:
            return None
        return self.first + ONE * next(i for i, total in enumerate(self.total) if total > target + 1e-9)


def _known_until(unit: Unit, shares: list[Share]) -> tuple[dt.date, str]:
    """Until when entries speak, and the kind of the latest; of the same day a meter goes first, then hours run."""
    told: list[tuple[dt.date, int, str]] = [(unit.registered - ONE, 0, "none")]
    told += [(day(r["date"]), 1, "service") for r in (*unit.services, *unit.failures) if r["hours"]]
    told += [(s.week + 6 * ONE, 2, "crew") for s in shares]
    for row in unit.hours:
        date = day(row["date"])
        if number(row["meter_hours"]) is not None:
            told.append((date, 5, "meter"))
        else:
            kind = (4, "run") if number(row["hours_run"]) is not None else (3, "fuel")
            told.append((monday(date) + 6 * ONE, *kind))
    latest, _rank, basis = max(told)
    if unit.retired is not None:
        latest = min(latest, max(unit.retired, unit.registered - ONE))
    return latest, basis


def _spread_over(
    amount: dict[dt.date, float], unit: Unit, usual: Usual, first: dt.date, last: dt.date, hours: float
) -> None:
    """Evenly over the working days from first to last, at most a week; with none of them, on the last day."""
    first = max(first, unit.registered, last - 6 * ONE)
    days = [last - k * ONE for k in range(7) if last - k * ONE >= first]
    worked = [d for d in days if d.weekday() in usual.calendar.party.working_days] or [last]
    for date in worked:
        amount[date] = amount.get(date, 0.0) + hours / len(worked)


def line_of(unit: Unit, usual: Usual, shares: list[Share]) -> Line:
    """Hours of the unit; ``shares`` are its own shares of crew totals."""
    known, basis = _known_until(unit, shares)
    first = unit.registered - ONE
    last = max([known, *(day(r["date"]) for r in (*unit.hours, *unit.services, *unit.failures))])
    last = max([last, *(s.week + 6 * ONE for s in shares)])
    days = [first + k * ONE for k in range((last - first).days + 1)]

    def usual_on(date: dt.date) -> float:
        there = unit.registered <= date and (unit.retired is None or date <= unit.retired)
        return usual.rate_of(unit.crew_on(date)) * usual.calendar.worth(date) if there else 0.0

    base = {date: usual_on(date) for date in days}
    rate_now = usual.rate_of(unit.crew_now)
    factor, weeks = _factor(unit, usual, base, known, rate_now)
    amount = {date: hours * factor for date, hours in base.items()}
    kind = dict.fromkeys(days, "guess")

    own = [(day(r["date"]), told, r) for r in unit.hours if (told := told_hours(unit, r)) is not None]
    for week, code in [*((s.week, "crew") for s in shares), *((monday(d), "run") for d, _h, _r in own)]:
        for k in range(7):
            if week + k * ONE in amount:
                amount[week + k * ONE], kind[week + k * ONE] = 0.0, code
    for s in shares:
        end = s.week + 6 * ONE
        _spread_over(amount, unit, usual, s.week, end if unit.retired is None else min(end, unit.retired), s.hours)
    before: dt.date | None = None
    for date, hours, _row in own:
        start = monday(date)
        if before is not None and monday(before) == start:
            start = min(before + ONE, date)
        _spread_over(amount, unit, usual, start, date, hours)
        before = date
    for date, _hours, row in own:
        if number(row["hours_run"]) is None:
            for k in range(7):
                if date - k * ONE in kind:
                    kind[date - k * ONE] = "fuel"

    week_now = max(rate_now * factor * usual.calendar.week, 0.1)
    per_hour = {"guess": usual.week_cv**2 * week_now, **{k: cv**2 * week_now for k, cv in LOGGED_CV.items()}}
    readings = _readings(unit)
    total = _through(unit, days, amount, kind, per_hour, [r for r in readings if r.exchange <= 0])
    used = [r for r in readings if r.exchange <= 0]
    for exchange in range(1, max(r.exchange for r in readings) + 1):
        # A new meter's figures go on from what the old ones and the entries say of the day it was fitted.
        of_meter = [r for r in readings if r.exchange == exchange]
        offset = total[(of_meter[0].on - first).days] - of_meter[0].value
        used += [Reading(r.on, r.value + offset, r.kind, 0) for r in of_meter]
        total = _through(unit, days, amount, kind, per_hour, sorted(used, key=lambda r: (r.on, r.value)))
    at = (known - first).days
    last_read = min((readings[-1].on - first).days, len(total) - 1)
    scale = usual.scale.get(basis, 1.0)
    noise = sum(amount[d] * per_hour[kind[d]] for d in days[min(last_read, at) + 1 : at + 1])
    guessed = sum(amount[d] for d in days[min(last_read, at) + 1 : at + 1] if kind[d] == "guess")
    pseudo = (usual.week_cv / max(usual.unit_cv, 0.05)) ** 2
    own_doubt = usual.unit_cv**2 * pseudo / (pseudo + weeks)
    return Line(
        first=first,
        total=total,
        known_until=known,
        basis=basis,
        hours=total[at],
        variance=READING_SD[readings[-1].kind] ** 2 + max(noise, 0.0) * scale**2,
        since_reading=max(total[at] - total[last_read], 0.0),
        day_rate=rate_now * factor,
        bias_cv=BIAS_CV[basis],
        rate_cv=math.sqrt(own_doubt + usual.season_cv**2) * scale,
        week_cv=usual.week_cv * scale,
        guessed=min(max(guessed, 0.0) / max(total[at] - unit.start, 1e-9), 1.0),
    )


def _factor(
    unit: Unit, usual: Usual, base: dict[dt.date, float], known: dt.date, rate_now: float
) -> tuple[float, float]:
    """How much more than its crew's usual week the unit runs, shrunk to 1, and the weeks that rests on."""
    logged = expected = 0.0

    def count(hours: float, first: dt.date, days: int, on: dt.date) -> None:
        nonlocal logged, expected
        normal = sum(base.get(first + k * ONE, 0.0) for k in range(days))
        if normal > 0:
            weight = 1.0 if (known - on).days < 250 else 0.35
            logged += hours * weight
            expected += normal * weight

    weeks: dict[dt.date, float] = {}
    meter: tuple[dt.date, float] | None = None
    for row in unit.hours:
        date, hours = day(row["date"]), told_hours(unit, row)
        if hours is not None:
            weeks[monday(date)] = weeks.get(monday(date), 0.0) + hours
            continue
        reads = float(row["meter_hours"])
        if meter is not None and row["meter_replaced"] != "yes":
            count(max(reads - meter[1], 0.0), meter[0] + ONE, (date - meter[0]).days, date)
        meter = (date, reads)
    for week, hours in weeks.items():
        count(hours, week, 7, week)
    usual_week = max(rate_now * usual.calendar.week, 1e-6)
    pseudo = (usual.week_cv / max(usual.unit_cv, 0.05)) ** 2
    return (logged / usual_week + pseudo) / (expected / usual_week + pseudo), expected / usual_week


def _readings(unit: Unit) -> list[Reading]:
    found = [Reading(unit.registered - ONE, unit.start, "none", -1)]
    exchanges = 0
    for row in unit.hours:
        if number(row["meter_hours"]) is not None:
            exchanges += row["meter_replaced"] == "yes"
            found.append(Reading(day(row["date"]), float(row["meter_hours"]), "meter", exchanges))
    rows: list[Row] = [*unit.services, *unit.failures]
    found += [Reading(day(r["date"]), float(r["hours"]), "service", -1) for r in rows if r["hours"]]
    return sorted(found, key=lambda r: (r.on, r.value))


def _through(
    unit: Unit,
    days: list[dt.date],
    amount: dict[dt.date, float],
    kind: dict[dt.date, str],
    per_hour: dict[str, float],
    readings: list[Reading],
) -> list[float]:
    """Totals that pass through the readings: between two of them guesses give way before entries."""
    daily = [amount[d] for d in days]
    last_of_day: dict[int, float] = {}
    for r in readings:
        last_of_day[(r.on - days[0]).days] = r.value
    columns = sorted(last_of_day)
    most = max(*per_hour.values(), 1.0)
    for i, j in itertools.pairwise(columns):
        traced = [amount[d] + 1e-9 for d in days[i + 1 : j + 1]]
        weight = [t * per_hour[kind[d]] for t, d in zip(traced, days[i + 1 : j + 1], strict=True)]
        gain, said = max(last_of_day[j] - last_of_day[i], 0.0), sum(traced)
        tilt = (gain - said) / sum(weight)
        for k, (t, w) in enumerate(zip(traced, weight, strict=True)):
            daily[i + 1 + k] = t * gain / said if tilt * most < -1.0 else t + w * tilt
    total, running = [], unit.start
    for hours in daily:
        running += hours
        total.append(running)
    return total
