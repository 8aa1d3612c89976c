"""Keeps a room's tests on one worker of a parallel run, where they share something slow to make.

Browser tests share one demo and one browser, the recomputation one fleet with its scans.

The runner's own grouping by mark writes the group into a test's name, which the pytest in use no longer takes.
"""

from __future__ import annotations

from typing import Any

import pytest

TOGETHER = ("tests/browser/", "tests/recomputed/")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Hand out tests one by one, as by default, but a room's tests as one piece."""
    from xdist.scheduler import LoadScopeScheduling

    class RoomTogether(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return next((room for room in TOGETHER if nodeid.startswith(room)), nodeid)

    return RoomTogether(config, log) if config.getvalue("dist") == "load" else None
