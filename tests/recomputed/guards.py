"""How probably a unit's guard was off at any hour: a chain of two states, its habit learned crew by crew.

The posterior means of a crew's long-run share and pace are taken by plain summation over a grid of both, every look
with its own hours; between two looks the chance follows from what the one left and the other found.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from tests.recomputed.hours import Line
from tests.recomputed.reading import Party, Unit, day

OFF = {"on": 0, "no_cutter": 0, "off": 1, "damaged": 1, "refitted": 1}
LEFT = {**OFF, "refitted": 0}
SHARE_PRIOR, PACE_PRIOR = (-1.5, 1.5), (math.log(1 / 40), 1.0)
USUAL = (0.255, 0.025)


@dataclass(frozen=True)
class Look:
    """A state found and left at an hour; None: not seen, and nothing known afterwards."""

    hour: float
    crew: str
    found: int | None
    left: int | None


def looks_of(unit: Unit, line: Line) -> list[Look]:
    """What it came with, visits to the shop (nothing known after), and looks; a look of the same hour comes last."""
    marks: list[tuple[float, int, int, dt.date, int | None, int | None]] = [
        (unit.start, 0, 0, unit.registered, None, LEFT[unit.guard])
    ]
    visits = {day(r["date"]) for r in unit.services if r["done_by"] == "shop"}
    visits |= {day(r["date"]) for r in unit.failures}
    marks += [(max(line.on(v), unit.start), 1, n, v, None, None) for n, v in enumerate(sorted(visits))]
    for n, r in enumerate(unit.guards):
        if r["guard"]:
            on = day(r["date"])
            marks.append((max(line.on(on), unit.start), 2, n, on, OFF[r["guard"]], LEFT[r["guard"]]))
    marks.sort(key=lambda m: m[:3])
    return [Look(hour, unit.crew_on(on) or "", found, left) for hour, _kind, _n, on, found, left in marks]


def habits(party: Party, looks: dict[int, list[Look]]) -> dict[str, tuple[float, float]]:
    """Each crew's (share of hours off, changes an hour); crews nobody looked at are left out."""
    steps: dict[str, list[tuple[int, int, float]]] = defaultdict(list)
    alone: dict[str, list[int]] = defaultdict(list)
    for unit in party.units:
        before: Look | None = None
        for look in looks[id(unit)]:
            if look.found is not None:
                if before is not None and before.left is not None:
                    steps[look.crew].append((before.left, look.found, look.hour - before.hour))
                else:
                    alone[look.crew].append(look.found)
            before = look
    found = {}
    logit, pace = np.meshgrid(np.linspace(-7, 4, 111), np.linspace(-8, 1, 91), indexing="ij")
    share, rate = 1 / (1 + np.exp(-logit)), np.exp(pace)
    prior = (
        -0.5 * ((logit - SHARE_PRIOR[0]) / SHARE_PRIOR[1]) ** 2 - 0.5 * ((pace - PACE_PRIOR[0]) / PACE_PRIOR[1]) ** 2
    )
    for crew in {*steps, *alone} - {""}:
        log = prior.copy()
        for start, end, hours in steps[crew]:
            # The shortest step told apart is half an hour: two looks of one day are no contradiction.
            off = np.clip(share + (start - share) * np.exp(-rate * max(hours, 0.5)), 1e-12, 1 - 1e-12)
            log += np.log(off if end else 1 - off)
        for end in alone[crew]:
            log += np.log(share if end else 1 - share)
        weight = np.exp(log - log.max())
        weight /= weight.sum()
        found[crew] = float((weight * share).sum()), float(np.exp((weight * pace).sum()))
    return found


class Guard:
    """One unit's chance of running without a sound guard, at any of its hours."""

    def __init__(self, unit: Unit, line: Line, looks: list[Look], habit: dict[str, tuple[float, float]]) -> None:
        self.looks, self.habit, self.unit = looks, habit, unit
        self.now = max(line.hours, unit.start)
        self._passed: list[float] | None = None

    def mean(self, low: float, high: float) -> float:
        """Mean chance between two hours, from sums hour by hour."""
        if self._passed is None:
            last = max(self.now, max((k.hour for k in self.looks), default=0.0)) + 50
            self._passed = [0.0]
            for k in range(math.ceil(last - self.unit.start)):
                self._passed.append(self._passed[-1] + self.chance(self.unit.start + k + 0.5))
        passed, steps = self._passed, len(self._passed) - 2

        def until(hour: float) -> float:
            x = max(hour - self.unit.start, 0.0)
            k = min(int(x), steps)
            return passed[k] + (x - k) * (passed[k + 1] - passed[k])

        return (until(high) - until(low)) / (high - low)

    def chance(self, hour: float) -> float:
        before = [k for k in self.looks if k.hour <= hour]
        after = next((k for k in self.looks if k.hour > hour), None)
        crew = after.crew if after is not None and after.hour <= self.now else self.unit.crew_now
        share, pace = self.habit.get(crew, USUAL)

        def off(start: float | None, hours: float) -> float:
            state = share if start is None else start
            return share + (state - share) * math.exp(-pace * hours)

        left = before[-1] if before else None
        here = off(None if left is None else left.left, 0.0 if left is None else hour - left.hour)
        if after is None or after.found is None:
            return here
        gap = after.hour - hour
        if_off, if_on = off(1.0, gap), off(0.0, gap)
        if not after.found:
            if_off, if_on = 1 - if_off, 1 - if_on
        total = here * if_off + (1 - here) * if_on
        return here * if_off / total if total > 0 else here
