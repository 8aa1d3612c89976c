"""Which units there are: places on the trailers, who stands in them, purchases, meters and moves between crews."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.parameters import Parameters
from fleet.simulation.usage import FRIDAY, Ints, SeasonCalendar

NEVER = -1


@dataclass
class Roster:
    """One entry per unit that may ever be: each place has its first unit and, in reserve, the one that follows it.

    Day codes are the calendar's; ``bought`` may be negative. ``registered`` is NEVER for a unit in reserve, and
    ``retired`` NEVER for a unit still in use; both are filled in as the history runs.
    """

    model: Ints
    crew: Ints
    contractor: Ints
    registered: Ints
    retired: Ints
    retired_why: Ints
    bought: Ints
    start_hours: NDArray[np.float64]
    metered: NDArray[np.bool_]
    meter_changed: Ints
    meter_exchanged: NDArray[np.bool_]
    keeps: NDArray[np.bool_]
    crew_of: NDArray[np.int16]
    places: int

    @property
    def count(self) -> int:
        """Units, those in reserve included."""
        return len(self.model)

    def follower(self, unit: Ints) -> Ints:
        """The unit in reserve for each place; NEVER where the reserve is used up."""
        return np.where(unit < self.places, unit + self.places, NEVER)

    def in_use(self, day: int) -> NDArray[np.bool_]:
        """Registered by the end of ``day`` and not retired by then."""
        return (
            (self.registered != NEVER)
            & (self.registered <= day)
            & ((self.retired == NEVER) | (self.retired > day))
        )  # fmt: skip


def replacement_day(calendar: SeasonCalendar, retired: int, rng: np.random.Generator) -> int:
    """When a lost place is filled: within weeks in the first part of the season, else before the next opening."""
    if calendar.season[retired] >= 0 and calendar.progress[retired] < 0.75:
        day = retired + int(rng.integers(5, 22))
    else:
        coming = [code for code in calendar.openings if code > retired]
        day = coming[0] - int(rng.integers(3, 15)) if coming else calendar.days
        day = max(day, retired + 3)
    # Nobody delivers at the weekend.
    return day + (7 - (calendar.start.weekday() + day) % 7 if (calendar.start.weekday() + day) % 7 > FRIDAY else 0)


def draw_roster(parameters: Parameters, calendar: SeasonCalendar, rng: np.random.Generator) -> Roster:
    """Fill the trailers: models by share of the fleet, old units with hours on them, new ones, late joiners."""
    crews, turnover = parameters.crews, parameters.turnover
    home = np.repeat(np.arange(len(crews)), [crew.units for crew in crews])
    places = len(home)
    share = np.array([model.share_of_fleet for model in parameters.models])
    crew = np.tile(home, 2)
    # Dealt out rather than drawn, so that small fleets hold every model in its share.
    deck = np.concatenate([np.full(int(np.ceil(s / share.sum() * places)), m) for m, s in enumerate(share)])
    model = np.concatenate([rng.permutation(deck)[:places], rng.permutation(deck)[:places]])
    metered = rng.random(2 * places) < np.array([m.metered_share for m in parameters.models])[model]

    opening = calendar.openings[0]
    registered = np.full(2 * places, NEVER)
    registered[:places] = opening - rng.integers(3, 15, places)
    old = rng.random(places) < turnover.old_at_start
    late = ~old & (rng.random(places) < turnover.joined_later / max(1e-9, 1 - turnover.old_at_start))
    later_openings = np.array(calendar.openings[1:] or (opening,))
    registered[:places][late] = rng.choice(later_openings, int(late.sum())) + rng.integers(-10, 60, int(late.sum()))
    registered[:places] = np.clip(registered[:places], 0, calendar.days - 1)
    registered[:places] -= np.maximum(calendar.weekday[registered[:places]] - FRIDAY, 0)
    registered[:places] = np.maximum(registered[:places], 0)

    bought = registered.copy()
    seasons_old = rng.integers(1, 4, places)
    bought[:places][old] -= (seasons_old * 365 - rng.integers(0, 180, places))[old]
    start_hours = np.zeros(2 * places)
    yearly = parameters.usage.hours_per_day * 185
    start_hours[:places][old] = np.round(seasons_old * yearly * rng.lognormal(-0.08, 0.35, places), 1)[old]

    crew_place = np.concatenate([np.arange(c.units) for c in crews])
    by_name = {(crews[c].name, int(p)): i for i, (c, p) in enumerate(zip(home, crew_place, strict=True))}
    staged, keeps = parameters.staged, np.zeros(2 * places, dtype=bool)
    meter_changed, exchanged = np.full(2 * places, NEVER), np.zeros(2 * places, dtype=bool)
    for pairs, had_meter in ((staged.meter_exchanged, True), (staged.meter_fitted_later, False)):
        for unit in (by_name[pair] for pair in pairs if pair in by_name):
            registered[unit] = min(registered[unit], opening - 3)
            metered[unit], exchanged[unit], keeps[unit] = had_meter, had_meter, True
            meter_changed[unit] = _mid_season_day(calendar, rng)
    for unit in (by_name[pair] for pair in staged.no_stop if pair in by_name):
        registered[unit], keeps[unit] = min(registered[unit], opening - 3), True

    roster = Roster(
        model=model,
        crew=crew,
        contractor=np.array(parameters.contractor_of_crew)[crew],
        registered=registered,
        retired=np.full(2 * places, NEVER),
        retired_why=np.full(2 * places, NEVER),
        bought=bought,
        start_hours=start_hours,
        metered=metered,
        meter_changed=meter_changed,
        meter_exchanged=exchanged,
        keeps=keeps,
        crew_of=np.zeros((calendar.days, 2 * places), dtype=np.int16),
        places=places,
    )
    _draw_moves(parameters, calendar, roster, rng)
    return roster


def _mid_season_day(calendar: SeasonCalendar, rng: np.random.Generator) -> int:
    """A Wednesday in the middle of the last full season but one, or as near to that as the calendar has."""
    opening = calendar.openings[max(0, len(calendar.openings) - 2)]
    day = min(opening + int(rng.integers(90, 150)), calendar.days - 2)
    return max(day - int((calendar.weekday[day] - 2) % 7), 1)


def _draw_moves(parameters: Parameters, calendar: SeasonCalendar, roster: Roster, rng: np.random.Generator) -> None:
    """Write ``crew_of``: the home crew, with moves to other crews of the same contractor on working days."""
    roster.crew_of[:] = roster.crew
    working = np.flatnonzero(calendar.working)
    if not working.size:
        return
    contractor_of_crew = np.array(parameters.contractor_of_crew)
    moves = rng.poisson(parameters.turnover.moves * len(calendar.openings), roster.count)
    for unit in np.flatnonzero((moves > 0) & ~roster.keeps):
        fellow = np.flatnonzero(contractor_of_crew == roster.contractor[unit])
        if fellow.size < 2:
            continue
        for day in np.sort(rng.choice(working, min(moves[unit], working.size), replace=False)):
            other = fellow[fellow != roster.crew_of[day, unit]]
            roster.crew_of[day:, unit] = rng.choice(other)


def serial(parameters: Parameters, model: int, bought: dt.date, number: int) -> str:
    """A serial as these invented makers stamp it: two letters, the year, five digits."""
    kind = parameters.models[model]
    return f"{kind.maker[0]}{kind.name[0]}{bought.year % 100:02d}{number:05d}"
