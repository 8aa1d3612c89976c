"""The crew sheet: which units go to the shop, why, and room to say what is wrong with each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.charts.svg import Svg
from fleet.charts.words import rail_words
from fleet.upkeep.job_words import job_label, place_of, state_words
from fleet.upkeep.lines import ReadyList, UnitLine
from fleet.upkeep.rails import job_rail
from fleet.upkeep.ready import Job
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop
from fleet.vocabulary import BENCH, DUE_BY, DUE_NOW, HOLD, PAST_DUE

# Units on one file; more are made in parts.
MOST_UNITS = 60
# As wide as the drawing stands on the page, so that its type comes out at the size of the page's small type.
RAIL_WIDTH = 300


@dataclass(frozen=True)
class BringLine:
    """One unit to load: its sign and words, what the bench will do, and its rail."""

    tag: str
    model: str
    state: str
    words: str
    jobs: list[str]
    stops: list[Stop]
    rail: Svg | None

    @property
    def held(self) -> bool:
        return self.state == HOLD


@dataclass(frozen=True)
class StayLine:
    """A unit on hold that its crew puts right in the yard."""

    tag: str
    label: str


@dataclass(frozen=True)
class CrewSheet:
    """What goes to the shop, what is put right at home first, and who else has a recall notice."""

    lines: list[UnitLine]
    stay: list[StayLine]
    recalled: list[tuple[Stop, list[str]]]

    def count(self, *states: str) -> int:
        """Units that are stopped, or whose worst bench job is, in one of these states."""
        return sum(_state(line) in states for line in self.lines)

    @property
    def on_hold(self) -> int:
        return self.count(HOLD)

    @property
    def due_or_past(self) -> int:
        return self.count(PAST_DUE, DUE_NOW)

    @property
    def due_by(self) -> int:
        return self.count(DUE_BY)


def _at_bench(line: UnitLine) -> list[Job]:
    return [job for job in line.jobs if place_of(job) == BENCH]


def _faults(line: UnitLine) -> list[Stop]:
    return [stop for stop in line.stops if not stop.is_recall]


def _goes(line: UnitLine) -> bool:
    """A recall alone sends nothing to the bench: the notice says what is done, and by whom."""
    return bool(_at_bench(line) or _faults(line))


def _state(line: UnitLine) -> str:
    return HOLD if line.stops else _at_bench(line)[0].state


def crew_sheet(found: ReadyList) -> CrewSheet:
    """The part of the Ready list that goes to the shop, worst first."""
    lines = [line for line in found.lines if _goes(line)]
    stay = [
        StayLine(line.unit.tag, job_label(line.jobs[0]))
        for line in found.lines
        if not _goes(line) and line.jobs and line.jobs[0].state == HOLD
    ]
    recalled = [(stop, [unit.tag for unit in units]) for stop, units in found.recalls()]
    return CrewSheet(lines, stay, recalled)


def bring_lines(lines: Sequence[UnitLine], seasons: Mapping[int, Season]) -> list[BringLine]:
    """The lines as they are printed, in the reader's language."""
    words = rail_words()
    shown = []
    for line in lines:
        jobs = _at_bench(line)
        state = _state(line)
        # A hold has no rail: the unit rests, whatever its hours.
        drawn = jobs[0] if state != HOLD else None
        shown.append(
            BringLine(
                tag=line.unit.tag,
                model=line.unit.model_name,
                state=state,
                words=line.stops[0].sign if line.stops else state_words(jobs[0]),
                jobs=[stop.text for stop in _faults(line)] + [job_label(job) for job in jobs],
                stops=line.stops,
                rail=None if drawn is None else job_rail(drawn, seasons, words, f"r{line.unit.unit}", RAIL_WIDTH),
            )
        )
    return shown
