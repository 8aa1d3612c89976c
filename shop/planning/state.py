"""A plan in the making: where each unit comes, what that leaves free, and what moving a unit would cost."""

from __future__ import annotations

import numpy as np

from shop.planning.problem import Array, Flags, Ints, Problem
from shop.planning.program import Surroundings

_SLACK = 1e-9


class State:
    """Columns of all units (the last one: no place), kept feasible by whoever moves them."""

    def __init__(self, problem: Problem, column: Ints) -> None:
        self.problem = problem
        self.nowhere = problem.day_of.size
        self.column = np.where(column < 0, self.nowhere, column)
        self.members = [np.flatnonzero(problem.crew == g) for g in range(len(problem.crews))]
        self.free = self._free()
        self.moves = np.empty((problem.minutes.size, self.nowhere + 1))
        for g in range(len(self.members)):
            self.refresh(g)

    def _free(self) -> Array:
        """Minutes left on each day."""
        problem = self.problem
        free = problem.free.copy()
        placed = self.column < self.nowhere
        np.subtract.at(free, problem.day_of[self.column[placed]], problem.minutes[placed])
        for j, yard in enumerate(problem.yards):
            column = len(problem.days) + j
            if np.any(self.column == column):
                free[problem.day_of[column]] -= yard.travel_minutes
        return free

    def counts(self, crew: int) -> Array:
        """Units the crew drops off on each day."""
        days = len(self.problem.days)
        columns = self.column[self.members[crew]]
        return np.bincount(columns[columns < days], minlength=days).astype(float)

    def crew_cost(self, crew: int) -> tuple[float, float, float]:
        """Waiting and early service, trips (yard mornings aside), units away beyond the spares."""
        problem, members, counts = self.problem, self.members[crew], self.counts(crew)
        away = counts @ problem.window
        over = problem.away_cost[crew] * np.maximum(away - problem.spare[crew], 0.0)
        units = float(problem.cost[members, self.column[members]].sum())
        return units, float(problem.trip[crew][counts > 0].sum()), float(over.sum())

    def yard_cost(self) -> float:
        first = len(self.problem.days)
        return float(sum(y.cost for j, y in enumerate(self.problem.yards) if np.any(self.column == first + j)))

    def total(self) -> float:
        return sum(sum(self.crew_cost(g)) for g in range(len(self.members))) + self.yard_cost()

    def feasible(self) -> bool:
        """No day over its minutes, no crew over its limit, no unit where it cannot come."""
        problem = self.problem
        first = len(problem.days)
        units = np.arange(self.column.size)
        within = all(
            np.all(self.counts(g) @ problem.window <= problem.limit[g] + _SLACK) for g in range(len(self.members))
        )
        yards = all(np.sum(self.column == first + j) <= y.most_units for j, y in enumerate(problem.yards))
        allowed = np.all(np.isfinite(problem.cost[units, self.column]))
        return bool(within and yards and allowed and np.all(self._free() >= -_SLACK))

    def around(self, units: Ints, open_: Flags | None = None) -> Surroundings:
        """What all other units leave to these, in the columns that are open."""
        problem, first = self.problem, len(self.problem.days)
        kept, others = self.column, self.column.copy()
        others[units] = self.nowhere
        self.column = others
        free = self._free()
        away = np.array([self.counts(g) @ problem.window for g in range(len(self.members))])
        self.column = kept
        held = np.array([np.sum(others == first + j) for j in range(len(problem.yards))], dtype=float)
        room = np.array([y.most_units for y in problem.yards], dtype=float) - held
        return Surroundings(
            free=np.maximum(free, 0.0),
            open=np.ones(self.nowhere, bool) if open_ is None else open_,
            away=away,
            yard_made=held > 0,
            yard_size=room,
        )

    def put(self, units: Ints, columns: Ints) -> None:
        """Move units, and work out anew what moving anyone of their crews would cost."""
        self.column[units] = np.where(columns < 0, self.nowhere, columns)
        self.free = self._free()
        touched = set(self.problem.crew[units].tolist())
        if self.problem.yards:
            touched = set(range(len(self.members)))
        for crew in sorted(touched):
            self.refresh(crew)

    def refresh(self, crew: int) -> None:
        """Cost of moving each unit of the crew to each column, minutes aside; infinite where it cannot go."""
        problem, members = self.problem, self.members[crew]
        if not members.size:
            return
        days, counts = len(problem.days), self.counts(crew)
        base = counts @ problem.window
        price, spare, limit = problem.away_cost[crew], problem.spare[crew], problem.limit[crew]
        before = float(price @ np.maximum(base - spare, 0.0))
        current = self.column[members]
        change = np.zeros((members.size, self.nowhere + 1))
        for column in np.unique(current):
            left = base - problem.window[column] if column < days else base
            saved, remaining = self._closing(crew, int(column), counts)
            then = left[None, :] + problem.window
            away = np.maximum(then - spare[None, :], 0.0) @ price
            row = np.full(self.nowhere + 1, float(np.maximum(left - spare, 0.0) @ price))
            row[:days] = away + np.where(remaining > 0, 0.0, problem.trip[crew])
            row[:days][np.any((then > limit[None, :] + _SLACK) & problem.window, axis=1)] = np.inf
            self._opening_yards(row, int(column), days)
            change[current == column] = row - before - saved
        cost = problem.cost[members]
        moves = cost - cost[np.arange(members.size), current][:, None] + change
        moves[np.arange(members.size), current] = 0.0
        self.moves[members] = moves

    def _closing(self, crew: int, column: int, counts: Array) -> tuple[float, Array]:
        """What is saved when a unit leaves ``column``, and the drop-offs that remain."""
        days, remaining = len(self.problem.days), counts.copy()
        if column < days:
            remaining[column] -= 1
            return float(self.problem.trip[crew][column]) if remaining[column] == 0 else 0.0, remaining
        if column < self.nowhere and np.sum(self.column == column) == 1:
            return self.problem.yards[column - days].cost, remaining
        return 0.0, remaining

    def _opening_yards(self, row: Array, leaving: int, days: int) -> None:
        for j, yard in enumerate(self.problem.yards):
            there = int(np.sum(self.column == days + j)) - (leaving == days + j)
            row[days + j] += yard.cost if there == 0 else 0.0
            if there >= yard.most_units:
                row[days + j] = np.inf

    def room_for(self) -> Array:
        """n x (columns + 1): minutes that would be left after moving the unit there, its own place given up."""
        problem = self.problem
        left = np.full((self.column.size, self.nowhere + 1), np.inf)
        left[:, : self.nowhere] = self.free[problem.day_of][None, :] - problem.minutes[:, None]
        placed = np.flatnonzero(self.column < self.nowhere)
        own = problem.day_of[self.column[placed]]
        for i, day in zip(placed, own, strict=True):
            left[i, : self.nowhere][problem.day_of == day] += problem.minutes[i]
        first = len(problem.days)
        for j, yard in enumerate(problem.yards):
            if not np.any(self.column == first + j):
                left[:, first + j] -= yard.travel_minutes
        return left
