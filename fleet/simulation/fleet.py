"""Put together: one setting and one seed give one fleet, its files and its truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.simulation.columns import COMPONENTS
from fleet.simulation.history import History
from fleet.simulation.parameters import Parameters
from fleet.simulation.roster import draw_roster
from fleet.simulation.rows import FileWriter, Row
from fleet.simulation.truth import TrueFailures, Truth
from fleet.simulation.usage import SeasonCalendar, draw_usage
from fleet.simulation.wear import WearState, WearTable


@dataclass(frozen=True)
class SimulatedFleet:
    """``files``: rows by file name without its ending (contractors, models, units, moves, hours, guard, services,
    failures), plain Python values, None for an empty cell. ``truth``: what made them."""

    files: dict[str, list[Row]]
    truth: Truth


def simulate(parameters: Parameters, seed: int) -> SimulatedFleet:
    """Simulate a fleet from its first purchases to ``parameters.today``.

    The same parameters and seed give the same fleet. Usage, habits and wear, and paperwork draw from streams of
    their own, so that a change of one leaves the others' draws alone.
    """
    streams = [np.random.default_rng(child) for child in np.random.SeedSequence(seed).spawn(5)]
    calendar = SeasonCalendar.of(parameters)
    roster = draw_roster(parameters, calendar, streams[0])
    usage = draw_usage(calendar, parameters.usage, roster.crew_of, roster.crew, streams[1])
    table = WearTable.of(parameters.models)
    wear = WearState(table, roster.model, streams[2], parameters.frailty_variance)
    history = History(parameters, calendar, roster, usage, wear, streams[3])
    history.run()
    writer = FileWriter(history, streams[4])
    return SimulatedFleet(writer.files(), _truth(history, writer, table))


def _truth(history: History, writer: FileWriter, table: WearTable) -> Truth:
    """Gather the truth, units in the order of units.csv."""
    parameters, roster, units = history.parameters, history.roster, writer.units
    place = np.full(roster.count, -1)
    place[units] = np.arange(len(units))
    failures = history.true_failures.arrays()
    failures["unit"] = place[failures["unit"]]
    return Truth(
        parameters=parameters,
        start=history.calendar.start,
        tags=writer.tags,
        model=roster.model[units],
        crew=roster.crew_of[roster.registered[units], units].astype(np.int64),
        registered=roster.registered[units],
        retired=roster.retired[units],
        start_hours=roster.start_hours[units],
        hours=history.hours[:, units],
        crew_of=roster.crew_of[:, units],
        guard_off=history.guard_off[:, units],
        rates=history.usage.rates[:, units],
        frailty=history.wear.frailty[units],
        reporter_bias=np.array([crew.reporter.bias for crew in parameters.crews]),
        shape=table.shape,
        scale=table.scale,
        since_share=table.since_share,
        guard_off_ratio=np.array([parameters.guard_off_ratio.get(c, 1.0) for c in COMPONENTS]),
        failures=TrueFailures(**failures),
    )
