"""What crews do to guards and line, and what they see of it on their guard walks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fleet.simulation.columns import GUARD, LINE, SAFETY
from fleet.simulation.parameters import Crew, GuardHabit
from fleet.simulation.usage import Bools, Ints, SeasonCalendar

ON, OFF, REFITTED, DAMAGED, NO_CUTTER = (GUARD.index(word) for word in GUARD)
LINE_OK, LINE_LONG, LINE_UNEVEN, LINE_THICK = (LINE.index(word) for word in LINE)
SAFETY_OK = SAFETY.index("ok")

# A working day's chance that the guard's line cutter is lost, and that somebody fits a new one.
CUTTER_LOST, CUTTER_FITTED = 0.0015, 0.03


class GuardState:
    """Each unit's guard day by day: a two-state chain with the rates of the crew that has the unit.

    ``off`` is what wears the engine: guard gone, or cracked through (``damaged``). ``cutter_gone`` is a guard that is
    on without its line cutter.
    """

    def __init__(self, crews: Sequence[Crew], home_crew: NDArray[np.integer], rng: np.random.Generator) -> None:
        def of(name: str) -> NDArray[np.float64]:
            return np.array([getattr(crew.guard, name) for crew in crews], dtype=float)

        self._rng = rng
        share, spell = of("off_share"), of("spell_days")
        self.leave_off = 1.0 / spell
        # Stationary share = on->off / (on->off + off->on).
        self.take_off = np.minimum(1.0, share / np.maximum(1.0 - share, 1e-9) / spell)
        self._damaged_share = of("damaged_share")
        self._line_long, self._refits, self._seen = of("line_long"), of("refits"), of("seen")
        self.off: Bools = rng.random(len(home_crew)) < share[home_crew]
        self.damaged: Bools = self.off & (rng.random(len(home_crew)) < self._damaged_share[home_crew])
        self.cutter_gone: Bools = np.zeros(len(home_crew), dtype=bool)

    def step(self, crew: Ints, runs: Bools) -> None:
        """One working day; only units that run change state."""
        draw = self._rng.random(len(crew))
        goes = runs & ~self.off & (draw < self.take_off[crew])
        comes = runs & self.off & (draw < self.leave_off[crew])
        self.off = (self.off | goes) & ~comes
        self.damaged &= ~comes
        if goes.any():
            self.damaged |= goes & (self._rng.random(len(crew)) < self._damaged_share[crew])
        cutter = self._rng.random(len(crew))
        self.cutter_gone = np.where(self.cutter_gone, ~(runs & (cutter < CUTTER_FITTED)), runs & (cutter < CUTTER_LOST))

    def as_found(self, unit: Ints) -> Ints:
        """Guard word codes as somebody would find these units now."""
        found = np.where(self.off[unit], np.where(self.damaged[unit], DAMAGED, OFF), ON)
        return np.where((found == ON) & self.cutter_gone[unit], NO_CUTTER, found)

    def look(self, unit: Ints, crew: Ints, refits: float | None = None) -> tuple[Ints, Ints]:
        """Look at guard and line of these units; what is refitted stays on. Returns guard and line codes.

        ``refits`` overrides the crew's own chance of refitting (a shop does not hand a unit back without its guard).
        """
        guard = self.as_found(unit)
        chance = self._refits[crew] if refits is None else np.full(len(unit), refits)
        # A cracked guard needs a new one, which a crew seldom has on the trailer; a shop does.
        chance = np.where((guard == DAMAGED) & (refits is None), chance * 0.2, chance)
        fixed = np.isin(guard, (OFF, DAMAGED)) & (self._rng.random(len(unit)) < chance)
        self.off[unit[fixed]] = False
        self.damaged[unit[fixed]] = False
        self.cutter_gone[unit[fixed]] = False
        guard = np.where(fixed, REFITTED, guard)
        if refits is not None:
            self.cutter_gone[unit] = False
        untrimmed = np.isin(guard, (OFF, DAMAGED, NO_CUTTER))
        draw = self._rng.random(len(unit))
        long = np.where(untrimmed, 0.75, self._line_long[crew])
        line = np.select(
            [draw < long, draw < long + 0.05, draw < long + 0.07], [LINE_LONG, LINE_UNEVEN, LINE_THICK], LINE_OK
        )
        return guard, line

    def seen(self, crew: Ints) -> Bools:
        """Which of the units of a walk are there to be seen."""
        return self._rng.random(len(crew)) < self._seen[crew]


def walk_days(calendar: SeasonCalendar, habits: Sequence[GuardHabit], rng: np.random.Generator) -> Bools:
    """(days, crews): whether a crew walks its trailer that day.

    A week is walked with the crew's chance, on one of its working days; every crew has walked within the last
    working week before the end, so that the history ends on something seen.
    """
    walks = np.zeros((calendar.days, len(habits)), dtype=bool)
    chance = np.array([habit.weeks_walked for habit in habits])
    working = np.flatnonzero(calendar.working)
    for days in np.split(working, np.flatnonzero(np.diff(calendar.week[working])) + 1):
        walked = np.flatnonzero(rng.random(len(habits)) < chance)
        if days.size:
            walks[rng.choice(days, len(walked)), walked] = True
    last = working[-5:]
    if last.size:
        unwalked = np.flatnonzero(~walks[last].any(axis=0))
        walks[rng.choice(last, len(unwalked)), unwalked] = True
    return walks
