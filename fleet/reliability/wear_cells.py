"""Exposure cut into short cells with two clocks and the component's past neglect (for :mod:`.intervals`)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fleet.reliability.lifetimes import FloatArray, IntArray, Lifetimes

#: Longest cell in hours; the hazard is taken as constant over a cell.
LONGEST = 10.0
#: Clocks shorter than this many hours count as this: logs of zero help nobody.
SHORTEST = 0.5
#: More cells than this are put together by their rounded clocks and conditions.
MANY = 40_000


@dataclass(frozen=True)
class Cells:
    """Cells of exposure and where the events are.

    Attributes
    ----------
    hours : ndarray, shape (c,)
        Width of each cell.
    age, since : ndarray, shape (c,)
        Both clocks at its middle, hours.
    neglect : ndarray, shape (c,)
        log((3 Q + manual) / (age + manual)), Q the integral of (since / manual)^2 over the component's life: 0 for a
        new
        component and near 0 for one always served at the manual's interval.
    group, crew : ndarray of int, shape (c,)
    covariates : ndarray, shape (c, p)
    events : ndarray, shape (c,)
        Exact events, in cells of their own without width at the hour they happened.
    looked : ndarray of int, shape (c,)
        Number of the event interval that the cell belongs to, -1 for plain exposure.
    """

    hours: FloatArray
    age: FloatArray
    since: FloatArray
    neglect: FloatArray
    group: IntArray
    crew: IntArray
    covariates: FloatArray
    events: FloatArray
    looked: IntArray


def cut_cells(rows: Lifetimes, manual: FloatArray, crew: IntArray) -> Cells:
    """Cut every row into cells.

    Parameters
    ----------
    rows : Lifetimes
        With ``since``; a unit's rows that follow each other end to start are one component's history.
    manual : ndarray, shape (G,)
        The manual's interval of each model, hours.
    crew : ndarray of int, shape (n,)
    """
    limit = manual[rows.group]
    longest = np.minimum(LONGEST, limit / 8)
    finite = np.where(rows.exact | np.isinf(rows.upper), rows.lower, rows.upper)
    before = _past_neglect(rows, limit, finite)
    parts = []
    # Survival part of each row, then the part within its event interval.
    for first, last, looked in ((rows.entry, rows.lower, False), (rows.lower, finite, True)):
        chosen = np.flatnonzero((last > first) & (rows.interval if looked else True))
        width = last[chosen] - first[chosen]
        number = np.maximum(1, np.ceil(width / longest[chosen])).astype(np.int64)
        row = np.repeat(chosen, number)
        step = np.repeat(width / number, number)
        place = np.arange(row.size) - np.repeat(np.cumsum(number) - number, number)
        age = first[row] + (place + 0.5) * step
        parts.append((row, step, age, np.zeros(row.size), np.full(row.size, looked)))
    # An event counts at its own hour: at the middle of a cell it would look earlier, and wear slower, than it was.
    hit = np.flatnonzero(rows.exact)
    parts.append((hit, np.zeros(hit.size), rows.lower[hit], np.ones(hit.size), np.zeros(hit.size, dtype=bool)))
    row, step, age, event, inside = (np.concatenate(columns) for columns in zip(*parts, strict=True))
    start = rows.since[row]
    since = start + age - rows.entry[row]
    past = before[row] + (since**3 - start**3) / (3 * limit[row] ** 2)
    cells = Cells(
        hours=step,
        age=np.maximum(age, SHORTEST),
        since=np.maximum(since, SHORTEST),
        neglect=np.log((3 * past + limit[row]) / (age + limit[row])),
        group=rows.group[row],
        crew=crew[row],
        covariates=rows.covariates[row],
        events=event,
        looked=_event_numbers(rows, row, inside),
    )
    return cells if cells.hours.size <= MANY else _together(cells)


def _event_numbers(rows: Lifetimes, row: IntArray, looked: np.ndarray) -> IntArray:
    name = row if rows.spell is None else rows.spell[row]
    numbers = np.full(row.size, -1, dtype=np.int64)
    if looked.any():
        numbers[looked] = np.unique(name[looked], return_inverse=True)[1]
    return numbers


def _past_neglect(rows: Lifetimes, limit: FloatArray, end: FloatArray) -> FloatArray:
    """Q at each row's entry. A component seen from birth starts at 0; one with an unknown past counts as well kept."""
    order = np.lexsort((rows.entry, rows.group, rows.unit))
    gain = ((rows.since + end - rows.entry) ** 3 - rows.since**3) / (3 * limit**2)
    before = rows.entry / 3
    # Rows of one component hang together: a chain starts wherever a row does not begin where the one before ended.
    same = (rows.unit[order][1:] == rows.unit[order][:-1]) & (rows.group[order][1:] == rows.group[order][:-1])
    touch = np.abs(rows.entry[order][1:] - end[order][:-1]) < 1e-6 * (1 + end[order][:-1])
    follows = np.concatenate([[False], same & touch & (rows.entry[order][1:] > 0)])
    total = np.concatenate([[0.0], np.cumsum(gain[order])[:-1]])
    head = np.maximum.accumulate(np.where(follows, 0, np.arange(order.size)))
    result = np.empty(order.size)
    result[order] = before[order][head] + total - total[head]
    return result


def _one_number(keys: list[FloatArray | IntArray]) -> IntArray:
    """Rows of whole numbers as one number each, alike where all of them are."""
    number = np.zeros(keys[0].size, dtype=np.int64)
    most = 1
    for key in keys:
        code = key.astype(np.int64) - int(key.min())
        span = int(code.max()) + 1
        if most * span >= 2**62:
            number = np.unique(number, return_inverse=True)[1]
            most = int(number.max()) + 1
        number, most = number * span + code, most * span
    return number


def _together(cells: Cells) -> Cells:
    """Put alike cells together: clocks within 6 %, neglect within 0.1, covariates within 0.05."""
    plain = cells.looked < 0
    keys = [
        cells.group,
        cells.crew,
        np.round(np.log(cells.age) / 0.06),
        np.round(np.log(cells.since) / 0.06),
        np.round(cells.neglect / 0.1),
        *np.round(cells.covariates.T / 0.05),
        np.where(plain & (cells.hours > 0), -1, np.arange(cells.hours.size)),
    ]
    _, first, code = np.unique(_one_number(keys), return_index=True, return_inverse=True)
    weight = np.where(cells.hours > 0, cells.hours, 1.0)
    total = np.bincount(code, weights=weight)

    def mean(values: FloatArray) -> FloatArray:
        return np.bincount(code, weights=values * weight) / total

    covariates = [mean(column) for column in cells.covariates.T]
    return Cells(
        hours=np.bincount(code, weights=cells.hours).astype(float),
        age=np.exp(mean(np.log(cells.age))),
        since=np.exp(mean(np.log(cells.since))),
        neglect=mean(cells.neglect),
        group=cells.group[first],
        crew=cells.crew[first],
        covariates=np.stack(covariates, axis=1) if covariates else np.empty((total.size, 0)),
        events=np.bincount(code, weights=cells.events).astype(float),
        looked=cells.looked[first],
    )
