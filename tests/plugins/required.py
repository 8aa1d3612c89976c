"""What a run must not do without.

``REQUIRE_ALL=1``: a test that would be skipped fails, so that a missing browser or library is not taken for a pass.
``REQUIRE_DATABASE=postgresql``: the run stops at once on any other database, so that it cannot fall back unseen.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import pytest

ON = {"1", "yes", "true", "on"}


def _all_required() -> bool:
    return os.environ.get("REQUIRE_ALL", "").lower() in ON


def _as_failure(report: Any) -> None:
    """Turn the report of a skip into one of a failure that says why it would have been skipped."""
    if not report.skipped or hasattr(report, "wasxfail"):
        return
    reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else str(report.longrepr)
    report.outcome = "failed"
    report.longrepr = f"skipped where nothing may be (REQUIRE_ALL): {reason}"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    report = yield
    if _all_required():
        _as_failure(report)
    return report


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    report = yield
    if _all_required():
        _as_failure(report)
    return report


def pytest_sessionstart(session: pytest.Session) -> None:
    wanted = os.environ.get("REQUIRE_DATABASE", "")
    if not wanted:
        return
    from django.conf import settings

    engine = settings.DATABASES["default"]["ENGINE"]
    if not engine.endswith("." + wanted):
        pytest.exit(f"This run is for {wanted}, but the settings name {engine}.", returncode=2)
