"""Keeps all browser tests of a parallel run on one worker, so that they share one demo and one browser.

The runner's own grouping by mark writes the group into a test's name, which the pytest in use no longer takes.
"""

from __future__ import annotations

from typing import Any

import pytest

TOGETHER = "tests/browser/"


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Hand out tests one by one, as by default, but a room's tests as one piece."""
    from xdist.scheduler import LoadScopeScheduling

    class RoomTogether(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            return TOGETHER if nodeid.startswith(TOGETHER) else nodeid

    return RoomTogether(config, log) if config.getvalue("dist") == "load" else None
