"""The plan as a mixed-integer program for HiGHS, whole or for some units with the others held where they are.

Binary x says that a unit comes in a column, y that a visit is made, z that a unit finds no place; o counts units away
beyond a crew's spares. What makes the relaxation tight, so that its bound is worth something: x <= y for every unit
rather than a sum, a visit's units bounded by the crew's limit times y, and spares granted to a day only if a visit is
made on it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import coo_matrix, csr_matrix

from shop.planning.problem import Array, Flags, Ints, Problem


@dataclass(frozen=True)
class Surroundings:
    """What units held in place leave to the others: minutes, yard mornings made anyway and the room in these, and how
    many of each crew are away. A held unit never shares a drop-off with one that is planned."""

    free: Array  # D
    open: Flags  # D + Y: columns that may be used
    away: Array  # G x T
    yard_made: Flags  # Y
    yard_size: Array  # Y

    @classmethod
    def empty(cls, problem: Problem) -> Surroundings:
        size = np.array([y.most_units for y in problem.yards], dtype=float)
        return cls(
            free=problem.free,
            open=np.ones(problem.day_of.size, bool),
            away=np.zeros(problem.limit.shape),
            yard_made=np.zeros(size.size, bool),
            yard_size=size,
        )


@dataclass(frozen=True)
class Program:
    """Columns x, y, z, o; rows ``low <= matrix @ columns <= high``. The first rows are units, then days."""

    units: Ints
    pair_unit: Ints  # position in units
    pair_column: Ints
    objective: Array
    matrix: csr_matrix
    low: Array
    high: Array
    upper: Array
    integral: Array

    def choice(self, solution: Array) -> Ints:
        """The chosen column of each unit; the last column stands for no place."""
        chosen = np.full(self.units.size, -1, dtype=np.intp)
        taken = solution[: self.pair_unit.size] > 0.5
        chosen[self.pair_unit[taken]] = self.pair_column[taken]
        return chosen


class _Rows:
    """Sparse rows gathered block by block."""

    def __init__(self) -> None:
        self.rows: list[Ints] = []
        self.columns: list[Ints] = []
        self.values: list[Array] = []
        self.low: list[Array] = []
        self.high: list[Array] = []
        self.count = 0

    def block(
        self, size: int, low: float | Array, high: float | Array, *parts: tuple[Ints, Ints, float | Array]
    ) -> None:
        for row, column, value in parts:
            self.rows.append(np.asarray(row, dtype=np.intp) + self.count)
            self.columns.append(np.asarray(column, dtype=np.intp))
            self.values.append(np.broadcast_to(np.asarray(value, dtype=float), np.shape(row)))
        self.low.append(np.broadcast_to(np.asarray(low, dtype=float), (size,)))
        self.high.append(np.broadcast_to(np.asarray(high, dtype=float), (size,)))
        self.count += size

    def matrix(self, columns: int) -> csr_matrix:
        at = (np.concatenate(self.rows), np.concatenate(self.columns))
        return coo_matrix((np.concatenate(self.values), at), shape=(self.count, columns)).tocsr()


def write_program(problem: Problem, units: Ints, around: Surroundings) -> Program:
    """The program for ``units`` within what the others leave."""
    days, columns = len(problem.days), problem.day_of.size
    minutes, crew = problem.minutes[units], problem.crew[units]
    cost = problem.cost[units]
    fits = (
        np.isfinite(cost[:, :columns])
        & around.open[None, :]
        & (minutes[:, None] <= around.free[problem.day_of][None, :] + 1e-9)
    )
    pair_unit, pair_column = np.nonzero(fits)
    pair_day = problem.day_of[pair_column]
    # A visit of a crew is numbered crew x days + day; yard mornings come after them all.
    number = np.where(
        pair_column < days, crew[pair_unit] * days + pair_column, len(problem.crews) * days + pair_column - days
    )
    visits, pair_visit = np.unique(number, return_inverse=True)
    visit_cost, visit_minutes, visit_size = _visits(problem, visits, around)
    is_yard = visits >= len(problem.crews) * days
    visit_day = problem.day_of[np.where(is_yard, visits - (len(problem.crews) - 1) * days, 0)]
    pairs, count, n = pair_unit.size, visits.size, units.size
    x = np.arange(pairs)
    rows = _Rows()
    rows.block(n, 1.0, 1.0, (pair_unit, x, 1.0), (np.arange(n), pairs + count + np.arange(n), 1.0))
    yards = np.flatnonzero(is_yard)
    rows.block(
        days, -np.inf, reachable(around.free, minutes, visit_minutes[yards]),
        (pair_day, x, minutes[pair_unit]), (visit_day[yards], pairs + yards, visit_minutes[yards]),
    )  # fmt: skip
    rows.block(pairs, -np.inf, 0.0, (x, x, 1.0), (x, pairs + pair_visit, -1.0))
    every = np.arange(count)
    rows.block(count, -np.inf, 0.0, (pair_visit, x, 1.0), (every, pairs + every, -visit_size))
    away_cost = _away_rows(problem, around, rows, visits, pair_visit, is_yard, pairs + count + n)
    objective = np.concatenate([cost[pair_unit, pair_column], visit_cost, cost[:, -1], away_cost])
    binary = pairs + count
    return Program(
        units=units,
        pair_unit=pair_unit,
        pair_column=pair_column,
        objective=objective,
        matrix=rows.matrix(objective.size),
        low=np.concatenate(rows.low),
        high=np.concatenate(rows.high),
        upper=np.concatenate([np.ones(binary + n), np.full(away_cost.size, np.inf)]),
        integral=np.concatenate([np.ones(binary), np.zeros(n + away_cost.size)]),
    )


def reachable(free: Array, *minutes: Array) -> Array:
    """Whole multiples of the common divisor: jobs of 15 and 20 minutes never fill more than 280 of 283."""
    every = np.concatenate(minutes)
    if not every.size or np.any(every != np.rint(every)):
        return free
    step = float(max(np.gcd.reduce(every.astype(np.int64)), 1))
    return np.floor(free / step + 1e-9) * step


def _visits(problem: Problem, visits: Ints, around: Surroundings) -> tuple[Array, Array, Array]:
    """Cost, travel minutes and room of each visit."""
    yard_cost = np.array([y.cost for y in problem.yards], dtype=float) * ~around.yard_made
    yard_minutes = np.array([y.travel_minutes for y in problem.yards], dtype=float) * ~around.yard_made
    cost = np.concatenate([problem.trip.ravel(), yard_cost])
    minutes = np.concatenate([np.zeros(problem.trip.size), yard_minutes])
    size = np.concatenate([problem.size.ravel(), around.yard_size])
    return cost[visits], minutes[visits], size[visits]


def _away_rows(
    problem: Problem,
    around: Surroundings,
    rows: _Rows,
    visits: Ints,
    pair_visit: Ints,
    is_yard: NDArray[np.bool_],
    first: int,
) -> Array:
    """Rows for units away per crew and date; returns the cost of each *beyond spares* column, from ``first`` on."""
    days, dates = len(problem.days), problem.window.shape[1]
    pairs = pair_visit.size
    drop = np.flatnonzero(~is_yard)
    visit_crew, visit_day = visits[drop] // days, visits[drop] % days
    at_visit, at_date = np.nonzero(problem.window[visit_day])  # visit x date it keeps units away
    cell = visit_crew[at_visit] * dates + at_date
    cells, cell_of = np.unique(cell, return_inverse=True)
    # Pairs of a visit, repeated for each date of its window.
    order = np.argsort(pair_visit, kind="stable")
    start = np.searchsorted(pair_visit[order], np.arange(visits.size + 1))
    length = (start[1:] - start[:-1])[drop[at_visit]]
    entry = np.repeat(np.arange(at_visit.size), length)
    within = np.arange(entry.size) - np.repeat(np.cumsum(length) - length, length)
    pair = order[np.repeat(start[drop[at_visit]], length) + within]
    held = around.away.ravel()[cells]
    limit, spare = problem.limit.ravel()[cells] - held, problem.spare.ravel()[cells] - held
    cost = problem.away_cost.ravel()[cells]
    rows.block(cells.size, -np.inf, limit, (cell_of[entry], pair, 1.0))
    priced = np.flatnonzero(cost > 0)
    position = np.full(cells.size, -1)
    position[priced] = np.arange(priced.size)
    keep = position[cell_of[entry]] >= 0
    row = position[cell_of[entry[keep]]]
    over = np.arange(priced.size)
    rows.block(priced.size, -np.inf, spare[priced], (row, pair[keep], 1.0), (over, first + over, -1.0))
    # One visit alone: spares count only if it is made.
    tight = np.flatnonzero((position[cell_of] >= 0) & (spare[cell_of] > 0))
    row_of = np.full(at_visit.size, -1)
    row_of[tight] = np.arange(tight.size)
    keep = row_of[entry] >= 0
    rows.block(
        tight.size, -np.inf, 0.0,
        (row_of[entry[keep]], pair[keep], 1.0),
        (np.arange(tight.size), pairs + drop[at_visit[tight]], -spare[cell_of[tight]]),
        (np.arange(tight.size), first + position[cell_of[tight]], -1.0),
    )  # fmt: skip
    return cost[priced]


def relax_within(program: Program, low: Array, high: Array, seconds: float) -> Array | None:
    """Columns of the relaxation between bounds; None where the clock ran out."""
    open_ = high > 0
    equal = program.low == program.high
    matrix = program.matrix[:, open_]
    done = linprog(
        program.objective[open_],
        A_ub=matrix[~equal], b_ub=program.high[~equal], A_eq=matrix[equal], b_eq=program.high[equal],
        bounds=np.column_stack([low[open_], high[open_]]),
        method="highs", options={"time_limit": max(seconds, 0.01)},
    )  # fmt: skip
    if done.status != 0:
        return None
    columns = np.zeros(high.size)
    columns[open_] = done.x
    return columns


def lower_bound(program: Program, seconds: float) -> float:
    """Cost of the relaxation: nothing costs less. Nought where the clock ran out (no cost is negative)."""
    columns = relax_within(program, np.zeros(program.upper.size), program.upper, seconds)
    return 0.0 if columns is None else float(program.objective @ columns)


def solve(program: Program, *, seconds: float, gap: float, nodes: int | None = None) -> tuple[Ints | None, float]:
    """The best choice HiGHS finds (None if it finds none in time) and the bound it proves."""
    options: dict[str, float] = {"time_limit": max(seconds, 0.01), "mip_rel_gap": gap}
    if nodes is not None:
        options["node_limit"] = nodes
    done = milp(
        program.objective,
        integrality=program.integral,
        bounds=Bounds(np.zeros(program.upper.size), program.upper),
        constraints=LinearConstraint(program.matrix, program.low, program.high),
        options=options,
    )
    bound = done.mip_dual_bound
    proven = float(bound) if bound is not None and np.isfinite(bound) else -np.inf
    return (None if done.x is None else program.choice(done.x)), proven
