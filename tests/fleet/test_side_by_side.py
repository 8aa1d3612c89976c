"""Work shared out to processes: the same answers, errors raised, and none left behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
import time

import pytest

from fleet.side_by_side import ProcessLost, may_copy, side_by_side


@pytest.fixture
def copies(monkeypatch: pytest.MonkeyPatch) -> None:
    """The suite's database lies in memory, which this work does not touch."""
    monkeypatch.setattr("fleet.side_by_side._may_be_closed", lambda _connection: True)


def test_every_item_is_done_once_and_elsewhere(copies: None) -> None:
    def work(item: int) -> tuple[int, int]:
        return item * item, os.getpid()

    found = dict(side_by_side(work, range(20), 3))
    assert [found[place][0] for place in range(20)] == [n * n for n in range(20)]
    assert os.getpid() not in {pid for _square, pid in found.values()}
    assert not multiprocessing.active_children()


def test_the_work_sees_what_is_in_memory_and_changes_none_of_it(copies: None) -> None:
    seen: list[int] = [7]

    def work(item: int) -> int:
        seen.append(item)
        return seen[0]

    assert [value for _place, value in side_by_side(work, [1, 2, 3], 2)] == [7, 7, 7]
    assert seen == [7]


def test_an_error_in_the_work_is_raised_here(copies: None) -> None:
    def work(item: int) -> float:
        return 1 / item

    with pytest.raises(ZeroDivisionError):
        list(side_by_side(work, [1, 0, 2], 2))
    assert not multiprocessing.active_children()


def test_an_error_that_cannot_travel_is_told(copies: None) -> None:
    class Local(Exception):
        pass

    def work(_item: int) -> None:
        raise Local("of this place only")

    with pytest.raises(RuntimeError, match="Local: of this place only"):
        list(side_by_side(work, [1, 2], 2))


def test_a_process_that_is_killed_is_noticed(copies: None) -> None:
    def work(item: int) -> int:
        if item == 3:
            os.kill(os.getpid(), signal.SIGKILL)
        return item

    with pytest.raises(ProcessLost):
        list(side_by_side(work, range(8), 2))
    assert not multiprocessing.active_children()


def test_whoever_stops_asking_ends_the_processes(copies: None) -> None:
    def work(item: int) -> int:
        time.sleep(30 if item else 0)
        return item

    started = time.monotonic()
    answers = side_by_side(work, range(4), 2)
    assert next(answers) == (0, 0)
    answers.close()
    assert time.monotonic() - started < 15
    assert not multiprocessing.active_children()


def test_beside_other_threads_the_work_is_done_here(copies: None) -> None:
    """A copy would hold locks of threads that it does not have."""
    stop = threading.Event()
    other = threading.Thread(target=stop.wait)
    other.start()
    try:
        assert not may_copy()
        found = list(side_by_side(lambda item: (item, os.getpid()), [1, 2], 2))
    finally:
        stop.set()
        other.join()
    assert found == [(0, (1, os.getpid())), (1, (2, os.getpid()))]


@pytest.mark.django_db
def test_within_a_transaction_the_work_is_done_here() -> None:
    assert [pid for _place, pid in side_by_side(lambda _item: os.getpid(), [1, 2], 2)] == [os.getpid()] * 2


def test_copies_make_no_copies(copies: None) -> None:
    """As in a queue's worker, which is itself such a process."""

    def work(item: int) -> set[int]:
        return {pid for _place, pid in side_by_side(lambda _inner: os.getpid(), [1, 2], 2)} - {os.getpid()}

    assert [found for _place, found in side_by_side(work, [1, 2], 2)] == [set(), set()]
