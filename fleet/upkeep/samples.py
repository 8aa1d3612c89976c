"""Ledger to lifetimes: what every component of every unit lived through, as rows for the fits.

A component's life is cut where it is served by its task, where it fails, and where it is replaced; looks that found
nothing wrong only narrow down when a later finding came about. Everything works on whole arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fleet.upkeep.guard_exposure import crew_on
from fleet.upkeep.histories import (
    AS_FOUND_CODE,
    COMPONENT_CODE,
    FAILURE_DONE_CODE,
    FOUND_CODE,
    SERVICE_DONE_CODE,
    TASK_CODE,
    Histories,
)
from fleet.upkeep.timelines import Timelines
from fleet.vocabulary import AS_FOUND_EVENTS, COMPONENT_OF_TASK, TASK_KEYS, TASKS

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

# Streams of marks: one for each component, and one for the exhaust port, which is looked at by a task of its own.
PORT = len(COMPONENT_CODE)
N_STREAMS = PORT + 1
# Components whose shape and scale are on hours since the task; the rest are on the component's own hours.
ON_TASK_CLOCK = frozenset({"gearbox", "exhaust"})
# Shorter stretches observe nothing.
TRACE = 0.01
_BIG = float(1 << 20)

_STREAM_OF_TASK = np.full(len(TASK_KEYS), -1, dtype=np.int64)
for _task, _component in COMPONENT_OF_TASK.items():
    _STREAM_OF_TASK[TASK_CODE[_task]] = COMPONENT_CODE[_component]
_STREAM_OF_TASK[TASK_CODE["port"]] = PORT
_SERVED = np.zeros(N_STREAMS, dtype=bool)
_SERVED[_STREAM_OF_TASK[_STREAM_OF_TASK >= 0]] = True
_BY_LOOK = np.array([TASKS[k].renewed_by_look for k in TASK_KEYS])
_EVENT = np.isin(np.arange(len(AS_FOUND_CODE)), [AS_FOUND_CODE[word] for word in AS_FOUND_EVENTS])


@dataclass(frozen=True)
class Spells:
    """Rows of exposure, sorted by unit, stream and age.

    ``unit`` is the unit's id in the portal, ``row`` its row in ``Timelines``; ``entry``, ``lower``, ``upper`` are the
    component's own hours as in ``Lifetimes``; ``since`` the hours since its task at entry, NaN where nobody knows or
    there is none; ``at`` the unit's total hours at entry.
    """

    unit: Ints
    row: Ints
    model: Ints
    crew: Ints
    stream: Ints
    entry: Floats
    lower: Floats
    upper: Floats
    since: Floats
    at: Floats


@dataclass(frozen=True)
class _Marks:
    """What happened to streams on days: one mark a stream and day, sorted."""

    stream: Ints
    day: Ints
    hours: Floats
    exact: Bools
    found: Bools
    looked: Bools
    mends: Bools
    renews: Bools
    replaced: Bools
    part: Floats
    scraps: Bools


@dataclass(frozen=True)
class _Walk:
    """Every stream of every core unit from its registration (``rank`` 0) over its marks (1) to its last hours (2).

    ``base`` is the unit's total at which the component in it was new, ``last_served`` that of its task's last time.
    ``down``: failed and not mended from here on; ``gone``: scrapped; ``look``: total at the latest look before.
    ``look_day`` is its day (that of registration where there was none).
    """

    row: Ints
    code: Ints
    rank: Ints
    day: Ints
    hours: Floats
    event: Bools
    exact: Bools
    renews: Bools
    replaced: Bools
    down: Bools
    down_before: Bools
    mends: Bools
    gone: Bools
    look: Floats
    look_day: Ints
    base: Floats
    last_served: Floats


def _walk(h: Histories, lines: Timelines) -> _Walk:
    marks = _merged(_marks(h, lines))
    n = len(lines.unit)
    every = np.arange(n * N_STREAMS)
    start = np.repeat(h.units["hours_at_registration"][lines.unit], N_STREAMS)
    registered = np.repeat(h.units["registered"][lines.unit], N_STREAMS)
    end = np.maximum(np.repeat(lines.hours, N_STREAMS), start)
    stream = np.concatenate([every, marks.stream, every])
    rank = np.repeat([0, 1, 2], [len(every), len(marks.stream), len(every)])
    order = np.lexsort((np.concatenate([registered, marks.day, registered]), rank, stream))
    stream, rank = stream[order], rank[order]

    def column(values: NDArray, first: float | bool = False, last: float | bool = False) -> NDArray:
        ends = np.full(len(every), first, dtype=values.dtype), np.full(len(every), last, dtype=values.dtype)
        return np.concatenate([ends[0], values, ends[1]])[order]

    hours = np.concatenate([start, marks.hours, end])[order]
    # Hours never go back within a stream, whatever was written.
    hours = np.maximum.accumulate(hours + stream * _BIG) - stream * _BIG
    day = np.concatenate([registered, marks.day, registered])[order]
    head = np.searchsorted(stream, stream)
    code = stream % N_STREAMS
    event = column(marks.exact) | column(marks.found)
    mends, replaced = column(marks.mends), column(marks.replaced)
    renews = column(marks.renews) & _SERVED[code]
    before = _Latest(head)
    state = before.latest(event | mends)
    down = (state >= 0) & (event & ~mends)[np.maximum(state, 0)]
    down_before = before.shifted(down)
    looked = column(marks.looked) | column(marks.found)
    fitted = before.latest(replaced)
    served = before.latest(renews)
    unknown = np.where(hours[head] > 0, np.nan, 0.0)
    return _Walk(
        row=stream // N_STREAMS,
        code=code,
        rank=rank,
        day=day,
        hours=hours,
        event=event & ~down_before,
        exact=column(marks.exact),
        renews=renews,
        replaced=replaced,
        down=down,
        down_before=down_before,
        mends=mends,
        gone=before.latest(column(marks.scraps)) >= 0,
        look=before.earlier(looked, hours, -np.inf),
        look_day=before.earlier(looked, day, day[head]),
        base=np.where(fitted >= 0, (hours - column(marks.part))[np.maximum(fitted, 0)], 0.0),
        last_served=np.where(_SERVED[code], np.where(served >= 0, hours[np.maximum(served, 0)], unknown), np.nan),
    )


def _hundredths(hours: Floats) -> Floats:
    """To hundredths of an hour: half of one goes the same way in whatever batch the hours were added up."""
    return np.asarray(np.round(np.round(hours, 6), 2), dtype=np.float64)


def take_samples(h: Histories, lines: Timelines) -> Spells:
    """Rows of every component of every core unit.

    A fault that stopped the job is exact; one that a look found lies between the look before and this one. A finding
    and a failure written up for the same unit, component and day are one. What was found failed and left so is not
    at risk until it is mended. Repairing does not make a component younger; a replaced one starts at 0 or at the hours
    of the part fitted.
    """
    w = _walk(h, lines)
    cut = (w.rank != 1) | w.event | w.renews | w.replaced | (w.mends & w.down_before)
    kept = np.flatnonzero(cut)
    i, j = kept[:-1], kept[1:]
    same = (w.row[i] == w.row[j]) & (w.code[i] == w.code[j])
    use = same & ~w.down[i] & ~w.gone[i] & (w.hours[j] - w.hours[i] > TRACE)
    i, j = i[use], j[use]
    entry, last = w.hours[i] - w.base[i], w.hours[j] - w.base[i]
    lower = np.where(w.event[j] & ~w.exact[j], np.clip(w.look[j] - w.base[i], entry, last), last)
    upper = np.where(w.event[j], last, np.inf)
    row = w.row[i]
    unit = lines.unit[row]
    return Spells(
        unit=h.units["id"][unit],
        row=row,
        model=h.units["model"][unit],
        crew=crew_on(h, unit, np.maximum(w.day[i], h.units["registered"][unit])),
        stream=w.code[i],
        entry=_hundredths(entry),
        lower=_hundredths(lower),
        upper=_hundredths(upper),
        since=_hundredths(w.hours[i] - w.last_served[i]),
        at=_hundredths(w.hours[i]),
    )


@dataclass(frozen=True)
class Standing:
    """Components that are at work at the end of the ledger, sorted by ``row`` (of ``Timelines``) and component.

    ``age`` is the component's own hours, ``since`` those since its task (NaN: nobody knows, or it has none).
    """

    row: Ints
    stream: Ints
    age: Floats
    since: Floats


def standing(h: Histories, lines: Timelines) -> Standing:
    """Where every component of the core units stands, less those that are failed or scrapped."""
    w = _walk(h, lines)
    at = np.flatnonzero((w.rank == 2) & ~w.down & ~w.gone & (w.code != PORT))
    return Standing(w.row[at], w.code[at], w.hours[at] - w.base[at], w.hours[at] - w.last_served[at])


@dataclass(frozen=True)
class Happenings:
    """What happened to components on days: failures, and what made them new (on the clock they are told on).

    A failure came about after the end of day ``after`` and by the end of day ``day``: equal where it stopped the job.
    """

    row: Ints
    stream: Ints
    day: Ints
    after: Ints
    failed: Bools
    renewed: Bools


def happenings(h: Histories, lines: Timelines) -> Happenings:
    """Failures and renewals of every component of the core units, by row, component and day."""
    w = _walk(h, lines)
    on_task_clock = np.isin(w.code, [COMPONENT_CODE[name] for name in ON_TASK_CLOCK])
    renewed = w.replaced | (w.renews & on_task_clock)
    at = np.flatnonzero((w.rank == 1) & (w.event | renewed) & (w.code != PORT))
    after = np.where(w.exact | ~w.event, w.day, w.look_day)
    return Happenings(w.row[at], w.code[at], w.day[at], after[at], w.event[at], renewed[at])


class _Latest:
    """Looks back within streams: the place of the latest mark of a kind, up to and including each place."""

    def __init__(self, head: Ints) -> None:
        self.head, self.place = head, np.arange(len(head))

    def latest(self, flag: Bools) -> Ints:
        """Its place; -1 where there was none yet in the stream."""
        found = np.maximum.accumulate(np.where(flag, self.place, -1)) if len(flag) else self.place
        return np.where(found >= self.head, found, -1)

    def shifted(self, flag: Bools) -> Bools:
        """The value at the place before, within the stream."""
        moved = np.zeros_like(flag)
        moved[1:] = flag[:-1]
        return moved & (self.place > self.head)

    def earlier(self, flag: Bools, values: NDArray, none: float | NDArray) -> NDArray:
        """The value at the latest mark of a kind strictly before each place."""
        found = self.latest(flag)
        earlier = np.full(len(found), -1, dtype=np.int64)
        earlier[1:] = np.where(self.head[1:] == self.head[:-1], found[:-1], -1)
        return np.where(earlier >= 0, values[np.maximum(earlier, 0)], none)


def _marks(h: Histories, lines: Timelines) -> _Marks:
    """Services as looks and renewals of their component's stream, failures as events of theirs."""
    s, f = h.services, h.failures
    stream_of = _STREAM_OF_TASK[s["task"]]
    mine = stream_of >= 0
    s = {name: values[mine] for name, values in s.items()}
    found = _EVENT[s["as_found"]]
    served = s["done"] != SERVICE_DONE_CODE["looked"]
    changed = (s["done"] == SERVICE_DONE_CODE["replaced"]) & (stream_of[mine] != PORT)
    at_look = f["found"] == FOUND_CODE["at_look"]
    done = {word: f["done"] == code for word, code in FAILURE_DONE_CODE.items() if word}
    mended = done["repaired"] | done["replaced"]
    gearbox = f["component"] == COMPONENT_CODE["gearbox"]
    no = np.zeros(len(s["unit"]), dtype=bool)

    def both(services: NDArray, failures: NDArray) -> NDArray:
        return np.concatenate([services, failures])

    unit, day = both(s["unit"], f["unit"]), both(s["day"], f["day"])
    hours = both(s["hours"], f["hours"])
    return _Marks(
        stream=lines.row_of[unit] * N_STREAMS + both(stream_of[mine], f["component"].astype(np.int64)),
        day=day,
        hours=np.where(np.isnan(hours), lines.hours_on(unit, day), hours),
        exact=both(no, ~at_look),
        found=both(found, at_look),
        looked=both(~no, np.zeros(len(at_look), dtype=bool)),
        mends=both(served | ~found, mended),
        renews=both(served | _BY_LOOK[s["task"]], mended & gearbox),
        replaced=both(changed, done["replaced"]),
        part=np.nan_to_num(both(s["part_hours"], f["part_hours"])),
        scraps=both(no, done["scrapped"]),
    )


def _merged(m: _Marks) -> _Marks:
    """One mark for each stream and day: an exact failure and a look of one day are one event."""
    order = np.lexsort((m.day, m.stream))
    stream, day = m.stream[order], m.day[order]
    if not len(stream):
        return m
    new = np.ones(len(stream), dtype=bool)
    new[1:] = (stream[1:] != stream[:-1]) | (day[1:] != day[:-1])
    head = np.flatnonzero(new)

    def any_of(flag: Bools) -> Bools:
        return np.logical_or.reduceat(flag[order], head)

    def most(values: Floats) -> Floats:
        return np.maximum.reduceat(values[order], head)

    return _Marks(
        stream=stream[head],
        day=day[head],
        hours=most(m.hours),
        exact=any_of(m.exact),
        found=any_of(m.found),
        looked=any_of(m.looked),
        mends=any_of(m.mends),
        renews=any_of(m.renews),
        replaced=any_of(m.replaced),
        part=most(np.where(m.replaced, m.part, 0.0)),
        scraps=any_of(m.scraps),
    )
