"""The Ready list as people read it: one line a unit, its jobs, what was put off, and how many need nothing."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from fleet.models import Contractor, Postponement
from fleet.upkeep.behind import with_records
from fleet.upkeep.fit_store import latest_fits
from fleet.upkeep.lists import stored_rows
from fleet.upkeep.put_off import standing_postponements, stands_aside
from fleet.upkeep.ready import Job, UnitHours, by_unit, jobs_on, sort_key
from fleet.upkeep.refresh import latest_usages
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop, stops_for
from fleet.vocabulary import DUE_BY, DUE_NOW, HOLD, OWNER, PAST_DUE, STATE_ORDER


@dataclass(frozen=True)
class UnitLine:
    """A unit with what is due on it, worst first, and what else stops it; a stopped unit may have no job due."""

    unit: UnitHours
    jobs: list[Job]
    stops: list[Stop] = field(default_factory=list)

    @property
    def state(self) -> str:
        return HOLD if self.stops else self.jobs[0].state


@dataclass(frozen=True)
class PutOff:
    """A job somebody put off, and what they said."""

    job: Job
    said: Postponement


@dataclass(frozen=True)
class ReadyList:
    """Lines of units with something due by the day asked for; the rest as counts."""

    lines: list[UnitLine]
    put_off: list[PutOff]
    units: int

    def _count(self, *states: str) -> int:
        found = Counter(line.state for line in self.lines)
        return sum(found[state] for state in states)

    @property
    def on_hold(self) -> int:
        return self._count(HOLD)

    @property
    def recalled(self) -> int:
        """How many of those on hold stand under a recall notice."""
        return sum(any(stop.is_recall for stop in line.stops) for line in self.lines)

    def recalls(self) -> list[tuple[Stop, list[UnitHours]]]:
        """Each notice once, with the units on the list that it stops."""
        found: dict[Stop, list[UnitHours]] = {}
        for line in self.lines:
            for stop in line.stops:
                if stop.is_recall:
                    found.setdefault(stop, []).append(line.unit)
        return sorted(found.items(), key=lambda pair: (pair[0].kind, -pair[0].on.toordinal(), pair[0].key))

    @property
    def due_or_past(self) -> int:
        return self._count(PAST_DUE, DUE_NOW)

    @property
    def due_by(self) -> int:
        return self._count(DUE_BY)

    @property
    def need_nothing(self) -> int:
        return self.units - len(self.lines) - self.only_put_off

    @property
    def only_put_off(self) -> int:
        """Units with nothing due but jobs somebody put off."""
        return len({p.job.unit.unit for p in self.put_off} - {line.unit.unit for line in self.lines})


def _as_read(job: Job) -> tuple:
    """Worst first, and of two alike the one done on the unit before the one done at the owner's desk."""
    return (STATE_ORDER[job.state], job.place == OWNER, *sort_key(job))


def _worst_first(line: UnitLine) -> tuple:
    if line.jobs:
        return (STATE_ORDER[line.state], *sort_key(line.jobs[0])[1:])
    return (STATE_ORDER[line.state], dt.date.max, line.unit.contractor_name, line.unit.tag, "")


def seasons_of(contractors: Sequence[Contractor]) -> dict[int, Season]:
    """Each contractor's season as it was last learned, in one query."""
    return {pk: usage.season for pk, usage in latest_usages([c.pk for c in contractors]).items()}


def with_reasons(lines: Sequence[UnitLine]) -> list[UnitLine]:
    """The lines with what stands behind each job's interval; two queries at most."""
    told = iter(with_records([(job.unit, job.flag) for line in lines for job in line.jobs], latest_fits()))
    return [replace(line, jobs=[replace(job, flag=next(told)[1]) for job in line.jobs]) for line in lines]


def ready_list(
    contractors: Sequence[Contractor],
    seasons: Mapping[int, Season],
    *,
    as_of: dt.date,
    before: dt.date,
    crew_id: int | None = None,
    unit_id: int | None = None,
    place: str | None = None,
    reasons: bool = True,
) -> ReadyList:
    """What must be done for these contractors' units (or one crew's, or one unit) to last until ``before``.

    Works from stored answers in a few queries, whatever the number of units. With a ``place``, only jobs done
    there; who must rest is shown all the same, since nobody may start a unit on hold or under a recall, with a job due
    or without. Unless ``reasons``, what stands behind the jobs is left to ``with_reasons`` on the lines to be shown.
    """
    rows = stored_rows([c.pk for c in contractors], crew_id, unit_id, told=False)
    units = {unit.unit: unit for unit, _flag in rows}
    jobs = [
        job
        for job in jobs_on(rows, seasons, as_of, before, later=False)
        if place is None or job.place == place or job.state == HOLD
    ]
    said = standing_postponements({job.unit.unit for job in jobs}, as_of) if jobs else {}
    stops = stops_for(((u.unit, u.model) for u in units.values()), as_of)
    aside, due = [], []
    for job in jobs:
        postponement = said.get((job.unit.unit, job.task))
        if postponement is not None and stands_aside(job, postponement):
            aside.append(PutOff(job, postponement))
        else:
            due.append(job)
    lines = [
        UnitLine(line.unit, sorted(line.jobs, key=_as_read), stops.get(line.unit.unit, [])) for line in by_unit(due)
    ]
    listed = {line.unit.unit for line in lines}
    lines += [UnitLine(units[pk], [], found) for pk, found in stops.items() if pk not in listed]
    lines.sort(key=_worst_first)
    lines = with_reasons(lines) if reasons else lines
    aside.sort(key=lambda p: (p.said.until, p.job.unit.tag, p.job.task))
    return ReadyList(lines, aside, len(units))
