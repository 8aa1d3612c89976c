"""A scan shared out to processes says what one alone says, and what is left where one of them is killed is mended."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest
from django.db import connection

from fleet.models import DueFlag, FitSnapshot, UnitState
from fleet.models.tenancy import all_tenants
from tests.fleet.upkeep.worn_fleet import worn_fleet

# Copies the database's file, which PostgreSQL has none of.
pytestmark = pytest.mark.once

PLACES = (
    "fleet.upkeep.scan.take",
    "fleet.upkeep.scan._kept_samples",
    "fleet.upkeep.refit.fit_component",
    "fleet.upkeep.scan.store_from_shelf",
    "fleet.upkeep.shelf.store_unless_moved",
)


def scan_apart(database: Path, processes: int, where: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "tests.fleet.upkeep.scan_apart", str(processes), *filter(None, [where])],
        env={
            **os.environ, "DATABASE_URL": f"sqlite:///{database}", "DJANGO_SETTINGS_MODULE": "fleet.settings",
            "SECRET_KEY": "for a test",
        },
        capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip


@pytest.fixture
def database(tmp_path: Path, transactional_db: None) -> Path:
    """A file with a worn fleet that no scan has been over."""
    if connection.vendor != "sqlite":
        pytest.skip("copies a database file")
    with all_tenants():
        worn_fleet()
        for results in (DueFlag, UnitState, FitSnapshot):
            results.objects.all().delete()
    connection.ensure_connection()
    copy = sqlite3.connect(tmp_path / "first.sqlite3")
    connection.connection.backup(copy)
    copy.close()
    return tmp_path / "first.sqlite3"


def stands_after(database: Path, name: str, processes: int, where: str = "") -> str:
    """What stands after a scan of a copy, one that is cut short at ``where`` before it if given."""
    copy = database.with_name(f"{name}.sqlite3")
    shutil.copy(database, copy)
    if where:
        cut = scan_apart(copy, processes, where)
        assert cut.returncode == 1, cut.stdout
        assert "ProcessLost" in cut.stderr
    whole = scan_apart(copy, processes)
    assert whole.returncode == 0, whole.stderr
    assert whole.stdout.startswith("DueFlag ")
    return whole.stdout


def test_the_same_answers(database: Path) -> None:
    assert stands_after(database, "together", 3) == stands_after(database, "alone", 1)


@pytest.mark.slow
def test_what_a_killed_process_left_is_mended(database: Path) -> None:
    said = stands_after(database, "alone", 1)
    for number, where in enumerate(PLACES):
        assert stands_after(database, f"killed{number}", 2, where) == said, where
