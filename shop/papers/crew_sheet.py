"""The crew sheet: which units go to the shop, why, and room to say what is wrong with each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from fleet.charts.svg import Svg
from fleet.charts.words import rail_words
from fleet.models import RecallNotice
from fleet.upkeep.job_words import job_label, place_of, state_words
from fleet.upkeep.lines import ReadyList, UnitLine
from fleet.upkeep.rails import job_rail
from fleet.upkeep.ready import Job
from fleet.upkeep.season import Season
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
    notices: list[RecallNotice]
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
    recalled: list[tuple[RecallNotice, list[str]]]

    def count(self, *states: str) -> int:
        """Units whose worst bench job is in one of these states."""
        return sum(_worst(line).state in states for line in self.lines)

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


def _worst(line: UnitLine) -> Job:
    return _at_bench(line)[0]


def crew_sheet(found: ReadyList) -> CrewSheet:
    """The part of the Ready list that goes to the shop, worst first."""
    lines = [line for line in found.lines if _at_bench(line)]
    stay = [
        StayLine(line.unit.tag, job_label(line.jobs[0]))
        for line in found.lines
        if not _at_bench(line) and line.state == HOLD
    ]
    by_notice: dict[int, tuple[RecallNotice, list[str]]] = {}
    for unit, notices in found.recalled:
        for notice in notices:
            by_notice.setdefault(notice.pk, (notice, []))[1].append(unit.tag)
    return CrewSheet(lines, stay, list(by_notice.values()))


def bring_lines(lines: Sequence[UnitLine], seasons: Mapping[int, Season]) -> list[BringLine]:
    """The lines as they are printed, in the reader's language."""
    words = rail_words()
    shown = []
    for line in lines:
        jobs = _at_bench(line)
        # A hold has no rail: the unit rests, whatever its hours.
        drawn = next((job for job in jobs if job.state != HOLD), None) if jobs[0].state != HOLD else None
        shown.append(
            BringLine(
                tag=line.unit.tag,
                model=line.unit.model_name,
                state=jobs[0].state,
                words=state_words(jobs[0]),
                jobs=[job_label(job) for job in jobs],
                notices=line.notices,
                rail=None if drawn is None else job_rail(drawn, seasons, words, f"r{line.unit.unit}", RAIL_WIDTH),
            )
        )
    return shown
