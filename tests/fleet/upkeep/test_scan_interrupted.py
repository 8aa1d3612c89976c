"""A learning that was kept, and cut short before the flags were brought up to it: the next one finishes the work."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from fleet.models import DueFlag, FitSnapshot
from fleet.models.tenancy import all_tenants
from fleet.tasks import scan_contractor
from fleet.upkeep import scan as scanning
from fleet.upkeep.fit_store import fits_in_force, latest_fits
from fleet.upkeep.learned import LearnedSet
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.scan import learn_and_refresh, scan
from tests.fleet.upkeep.worn_fleet import TODAY, WornFleet, worn_fleet

pytestmark = pytest.mark.django_db


class Killed(BaseException):
    """What ends a process, as far as its code can see."""


@pytest.fixture
def fleet(db: None) -> Iterator[WornFleet]:
    with all_tenants():
        yield worn_fleet()


def learned_flags() -> int:
    return DueFlag.objects.filter(task="grease", interval_basis="model").count()


def killed_before_flags(monkeypatch: pytest.MonkeyPatch, work: Callable[[], Any], after: int = 0) -> None:
    """Do it, and end where the flags would be brought up to the learning, after so many units."""

    def refresh(ids: list[int], *args: Any, **kwargs: Any) -> Any:
        refresh_in_shards(ids[:after], *args, **kwargs)
        raise Killed

    def from_shelf(_path: Path, learned: LearnedSet) -> Any:
        refresh(unit_ids_of(), "scan", learned)

    with monkeypatch.context() as cut:
        cut.setattr(scanning, "refresh_in_shards", refresh)
        cut.setattr(scanning, "store_from_shelf", from_shelf)
        with pytest.raises(Killed):
            work()


@pytest.mark.parametrize("after", [0, 5])
def test_the_next_scan_puts_flags_right(fleet: WornFleet, monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    killed_before_flags(monkeypatch, lambda: scan(fleet.contractors, as_of=TODAY, today=TODAY), after)
    assert FitSnapshot.objects.count() == 1
    assert learned_flags() == after
    report = scan(fleet.contractors, as_of=TODAY, today=TODAY)
    assert not report.learned
    assert learned_flags() == len(fleet.units)
    assert refresh_in_shards(unit_ids_of(), "scan").changed == 0


def test_a_learning_that_fails_leaves_nobody_without_flags(fleet: WornFleet, monkeypatch: pytest.MonkeyPatch) -> None:
    """A first scan's flags wait for its learning, but not for ever."""

    def fails(**_kwargs: Any) -> Any:
        raise ZeroDivisionError

    with monkeypatch.context() as cut:
        cut.setattr(scanning, "refit", fails)
        with pytest.raises(ZeroDivisionError):
            scan(fleet.contractors, as_of=TODAY, today=TODAY)
    assert DueFlag.objects.filter(task="grease", interval_basis="manual").count() == len(fleet.units)
    assert scan(fleet.contractors, as_of=TODAY, today=TODAY).learned
    assert learned_flags() == len(fleet.units)


def test_a_first_scan_without_room_on_the_disk(fleet: WornFleet, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is put aside: flags go by the manual first and are brought up to the learning then."""
    monkeypatch.setattr("fleet.upkeep.shelf.PART_OF_DISK", 0.0)
    written = scan(fleet.contractors, as_of=TODAY, today=TODAY).written
    assert written.changed == learned_flags() == len(fleet.units)
    assert refresh_in_shards(unit_ids_of(), "scan").changed == 0


@pytest.mark.parametrize("after", [0, 5])
def test_the_next_learning_puts_flags_right(fleet: WornFleet, monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    scan(fleet.contractors, as_of=TODAY, today=TODAY, learn=False)
    assert learned_flags() == 0
    killed_before_flags(monkeypatch, lambda: learn_and_refresh(as_of=TODAY), after)
    assert fits_in_force() is None
    assert learn_and_refresh(as_of=TODAY).changed == len(fleet.units) - after
    assert learned_flags() == len(fleet.units)
    assert fits_in_force() == latest_fits()
    assert FitSnapshot.objects.count() == 1
    # Done is done.
    assert learn_and_refresh(as_of=TODAY).changed == 0


def test_two_learnings_cut_short_are_both_made_good(fleet: WornFleet, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second moves nothing against the first; against what the flags say it moves all."""
    scan(fleet.contractors, as_of=TODAY, today=TODAY, learn=False)
    killed_before_flags(monkeypatch, lambda: learn_and_refresh(as_of=TODAY))
    monkeypatch.setattr("fleet.upkeep.refit.METHOD", 10**6)
    killed_before_flags(monkeypatch, lambda: learn_and_refresh(as_of=TODAY))
    assert FitSnapshot.objects.count() == 2
    assert learn_and_refresh(as_of=TODAY).changed == len(fleet.units)
    assert learned_flags() == len(fleet.units)


def test_a_contractors_scan_leaves_learning_to_its_own_task(fleet: WornFleet) -> None:
    assert scan_contractor(fleet.contractors[0].pk) > 0
    assert not FitSnapshot.objects.exists()


def test_flags_of_a_scan_overtaken_by_a_learning_are_done_again(fleet: WornFleet) -> None:
    """Worked out before, stored after: the intervals in force when it is stored stand."""
    scan(fleet.contractors, as_of=TODAY, today=TODAY, learn=False)
    ids = unit_ids_of()
    h = scanning.load_histories(ids)
    before = scanning.answer(h, scanning.read_setting(h))
    assert learn_and_refresh(as_of=TODAY).changed == len(ids)
    scanning.store_unless_moved(ids, before, "scan")
    assert learned_flags() == len(ids)
