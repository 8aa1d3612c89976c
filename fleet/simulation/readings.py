"""How running hours reach the books: meters, weekly entries, crew totals, fuel; each with its reporter's ways."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.parameters import Parameters, Reporter
from fleet.simulation.roster import NEVER, Roster
from fleet.simulation.usage import FRIDAY, Bools, Floats, Ints, SeasonCalendar

# No paper has more than this for one week of one unit.
MOST_A_WEEK = 23.5
CAN_NOISE = 0.06


@dataclass(frozen=True)
class Reading:
    """One row of hours.csv before it is worded: a unit's (``unit`` >= 0) or a crew's, for a day or the week of it."""

    day: int
    kind: str
    value: float
    unit: int = NEVER
    crew: int = NEVER
    share: float | None = None


@dataclass
class Readings:
    """All readings in order of day, and by unit what its own entries add up to (day, hours)."""

    rows: list[Reading] = field(default_factory=list)
    own: dict[int, list[tuple[int, float]]] = field(default_factory=dict)

    def add(self, reading: Reading, hours: float | None = None) -> None:
        self.rows.append(reading)
        if hours is not None:
            self.own.setdefault(reading.unit, []).append((reading.day, hours))


def tenths_down(hours: NDArray[np.floating] | float) -> NDArray[np.float64]:
    """What a meter shows: whole tenths, rounded down."""
    return np.round(np.floor(np.asarray(hours) * 10 + 1e-6) / 10, 1)


def metered_on(roster: Roster, day: int) -> Bools:
    """Units that carry a working meter at the end of ``day``."""
    changed = (roster.meter_changed != NEVER) & (roster.meter_changed <= day)
    return roster.metered | changed


def draw_readings(
    parameters: Parameters,
    calendar: SeasonCalendar,
    roster: Roster,
    hours: NDArray[np.float32],
    total: Floats,
    rng: np.random.Generator,
) -> Readings:
    """Log a history week by week.

    Parameters
    ----------
    hours : (days, units) true hours run
    total : (days, units) true engine hours at each day's end
    """
    readings = Readings()
    burn = np.array([model.burn_litres_per_hour for model in parameters.models])[roster.model]
    working = np.flatnonzero(calendar.working)
    changes = _meter_changes(calendar, roster, total)
    for days in np.split(working, np.flatnonzero(np.diff(calendar.week[working])) + 1):
        if not days.size or not _week_is_over(calendar, int(days[-1])):
            continue
        entry = int(days[-1])
        own = hours[days].sum(axis=0, dtype=float)
        here = roster.in_use(entry) & (roster.registered < entry)
        crew = roster.crew_of[entry]
        metered = metered_on(roster, entry)
        for code, who in enumerate(parameters.crews):
            reporter = who.reporter
            units = np.flatnonzero(here & (crew == code))
            if not units.size or rng.random() >= reporter.weeks_logged:
                continue
            by_meter = units[metered[units]]
            for unit in by_meter[rng.random(by_meter.size) < 0.85]:
                if (int(unit), entry) not in changes:
                    readings.add(Reading(entry, "meter_hours", _meter(roster, total, int(unit), entry), int(unit)))
            ran = hours[days] * (roster.crew_of[days] == code)
            if reporter.way == "can":
                readings.rows.append(_can(entry, code, reporter, float((ran * burn).sum()), rng))
            elif rng.random() < reporter.crew_total_share:
                told = float(ran.sum()) * reporter.bias * rng.lognormal(0, reporter.noise_sd)
                least = 1.02 * float(ran[:, metered].sum())
                readings.rows.append(Reading(entry, "crew_hours", round(max(told, least) * 2) / 2, crew=code))
            else:
                _unit_entries(readings, entry, reporter, units[~metered[units]], own, burn, rng)
    for (unit, day), (kind, value) in changes.items():
        readings.rows.append(Reading(day, kind, value, unit))
    readings.rows.sort(key=lambda row: row.day)
    return readings


def _week_is_over(calendar: SeasonCalendar, last: int) -> bool:
    """Nobody writes up a week before its last working day."""
    return bool(calendar.weekday[last] == FRIDAY or last in calendar.closings)


def _unit_entries(
    readings: Readings, day: int, reporter: Reporter, units: Ints, own: Floats, burn: Floats, rng: np.random.Generator
) -> None:
    """Hours run (to the half hour) or fuel drawn by each unit this week; some are left out."""
    written = units[rng.random(units.size) >= reporter.unit_missed]
    factor = reporter.bias * rng.lognormal(0, reporter.noise_sd, written.size)
    nothing_said = rng.random(written.size) < 0.5
    for unit, told, silent in zip(written.tolist(), own[written] * factor, nothing_said, strict=True):
        if told <= 0 and (silent or reporter.way == "litres"):
            continue
        if reporter.way == "litres":
            litres = round(float(max(0.1, min(told, MOST_A_WEEK) * burn[unit])), 1)
            readings.add(Reading(day, "litres", litres, unit), litres / float(burn[unit]))
        else:
            run = 0.0 if told <= 0 else min(MOST_A_WEEK, max(0.5, round(told * 2) / 2))
            readings.add(Reading(day, "hours_run", run, unit), run)


def _can(day: int, crew: int, reporter: Reporter, litres: float, rng: np.random.Generator) -> Reading:
    """A can that the blowers drink from too: the share is the reporter's belief, the truth wanders about it."""
    share = float(np.clip(reporter.trimmer_share + rng.normal(0, 0.05), 0.2, 1.0))
    drawn = max(1.0, litres / share * reporter.bias * rng.lognormal(0, CAN_NOISE))
    return Reading(day, "crew_litres", round(float(drawn), 1), crew=crew, share=reporter.trimmer_share)


def _meter(roster: Roster, total: Floats, unit: int, day: int) -> float:
    """What the unit's meter shows: total hours, or hours since the meter was changed."""
    changed = int(roster.meter_changed[unit])
    since = total[changed, unit] if changed != NEVER and changed <= day else 0.0
    return float(tenths_down(total[day, unit] - since))


def _meter_changes(calendar: SeasonCalendar, roster: Roster, total: Floats) -> dict[tuple[int, int], tuple[str, float]]:
    """The day a meter is fitted or exchanged, and, for an exchange, the old one read the day before."""
    changes: dict[tuple[int, int], tuple[str, float]] = {}
    for unit in np.flatnonzero(roster.meter_changed != NEVER).tolist():
        day = int(roster.meter_changed[unit])
        if day >= calendar.days or not roster.in_use(day)[unit]:
            continue
        changes[unit, day] = ("meter_replaced", 0.0)
        if roster.meter_exchanged[unit] and roster.registered[unit] < day - 1:
            changes[unit, day - 1] = ("meter_hours", float(tenths_down(total[day - 1, unit])))
    return changes


def paper_hours(
    parameters: Parameters,
    roster: Roster,
    total: Floats,
    readings: Readings,
    unit: Ints,
    day: Ints,
    at_shop: Bools,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Total hours as written on services and failures; NaN where the paper has none.

    Metered units carry their meter's total until the meter is changed. An unmetered unit now and then carries a
    figure off the books: never below what its own entries since the last one add up to.
    """
    changed = roster.meter_changed[unit]
    by_meter = roster.metered[unit] & ((changed == NEVER) | (day < changed))
    written = np.where(by_meter, tenths_down(total[day, unit]), np.nan)
    bias = np.array([crew.reporter.bias for crew in parameters.crews])
    # Where a reporter's hours are far off, the books are no source for a total.
    honest = (np.abs(np.log(bias)) < 0.3)[roster.crew_of].all(axis=0)
    may = ~roster.metered[unit] & (changed == NEVER) & at_shop & honest[unit]
    chosen: dict[int, set[int]] = {}
    for u, d in sorted({(int(u), int(d)) for u, d in zip(unit[may], day[may], strict=True)}):
        if rng.random() < parameters.hours_on_paper:
            chosen.setdefault(u, set()).add(d)
    figure: dict[tuple[int, int], float] = {}
    for u, days in chosen.items():
        entries, book, since = readings.own.get(u, []), float(roster.start_hours[u]), int(roster.registered[u])
        for d in sorted(days):
            book += sum(run for entered, run in entries if since < entered <= d)
            book = round(np.ceil(max(book, float(total[d, u])) * 10 - 1e-6) / 10, 1)
            figure[u, d] = book
            since = d
    for row in np.flatnonzero(may):
        written[row] = figure.get((int(unit[row]), int(day[row])), np.nan)
    return written


def week_of(calendar: SeasonCalendar, day: int) -> dt.date:
    """The Monday of a day's week."""
    return calendar.date(day - int(calendar.weekday[day]))
