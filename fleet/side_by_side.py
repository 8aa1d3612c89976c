"""The same work on many items, in processes of their own where this one may be copied.

Each process is a copy of this one as it stands when the work begins, so the work may use whatever is in memory; only
what it returns travels. A process reads and writes the database through a connection of its own.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from multiprocessing.connection import Connection, wait
from typing import Any, TypeVar

from django.db import connections

T = TypeVar("T")
R = TypeVar("R")


class ProcessLost(RuntimeError):
    """A process ended before it had said what came of its item."""


def may_copy() -> bool:
    """Whether a copy of this process would work: no thread beside, no transaction open, the database outside of it."""
    if not hasattr(os, "fork") or "fork" not in multiprocessing.get_all_start_methods():
        return False
    if multiprocessing.current_process().daemon or threading.active_count() > 1:
        return False
    return all(map(_may_be_closed, connections.all(initialized_only=True)))


def _may_be_closed(connection: Any) -> bool:
    return not connection.in_atomic_block and not (connection.vendor == "sqlite" and connection.is_in_memory_db())


def side_by_side(work: Callable[[T], R], items: Sequence[T], processes: int) -> Iterator[tuple[int, R]]:
    """What came of each item, with its place, as they get done.

    With one process, one item, or where no copy may be made: here, one after the other. An error in the work is raised
    here, as is ``ProcessLost``; either way, and where the caller stops asking, the processes are ended.
    """
    if min(processes, len(items)) < 2 or not may_copy():
        for place, item in enumerate(items):
            yield place, work(item)
        return
    # A copy must not speak on a connection of this process.
    connections.close_all()
    crew: dict[Connection, multiprocessing.process.BaseProcess] = {}
    try:
        for _ in range(min(processes, len(items))):
            _hire(crew, work, items)
        yield from _handed_out(crew, len(items))
    finally:
        for line in crew:
            line.close()
        for process in crew.values():
            process.terminate()
            process.join()


def _hire(
    crew: dict[Connection, multiprocessing.process.BaseProcess], work: Callable[[Any], Any], items: Sequence[Any]
) -> None:
    copies = multiprocessing.get_context("fork")
    ours, theirs = copies.Pipe()
    process = copies.Process(target=_serve, args=(theirs, [ours, *crew], work, items), daemon=True)
    process.start()
    theirs.close()
    crew[ours] = process


def _handed_out(crew: Mapping[Any, Any], count: int) -> Iterator[tuple[int, Any]]:
    """Give each process an item, and another as it is done with the last."""
    places = iter(range(count))
    busy = 0
    for line in crew:
        line.send(next(places))
        busy += 1
    while busy:
        ready: list[Any] = wait(list(crew))
        for line in ready:
            try:
                place, found, error = line.recv()
            except (EOFError, ConnectionError):
                raise ProcessLost("A process that worked beside this one ended before it was done.") from None
            if error is not None:
                raise error
            busy -= 1
            following = next(places, None)
            if following is not None:
                line.send(following)
                busy += 1
            yield place, found


def _serve(line: Connection, others: Sequence[Connection], work: Callable[[Any], Any], items: Sequence[Any]) -> None:
    """Do items as their places come, until the line is closed at the other end, be it because that process is gone."""
    # Whoever stops the work from the keyboard stops the process that gave it out; that one ends the others.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    # Held open here, the other end would never look closed.
    for other in others:
        other.close()
    while True:
        try:
            place = line.recv()
        except (EOFError, ConnectionError):
            break
        said: tuple[int, Any, Exception | None]
        try:
            said = (place, work(items[place]), None)
        except Exception as error:
            said = (place, None, _sendable(error))
        try:
            line.send(said)
        except (BrokenPipeError, ConnectionError):
            break
    connections.close_all()


def _sendable(error: Exception) -> Exception:
    """The error itself where it can travel, else one that says the same."""
    try:
        from pickle import dumps, loads

        loads(dumps(error))  # noqa: S301  made on this line
    except Exception:
        return RuntimeError(f"{type(error).__name__}: {error}")
    return error
