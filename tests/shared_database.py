"""A database that threads share, for tests of what happens when many write at once."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import connection, connections

from fleet.models.tenancy import all_tenants


def share_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SQLite's test database lives in memory: it is copied to a file for threads, as it is now."""
    if connection.vendor == "sqlite":
        copy = sqlite3.connect(tmp_path / "race.sqlite3")
        connection.ensure_connection()
        connection.connection.backup(copy)
        copy.close()
        monkeypatch.setitem(connections.settings["default"], "NAME", str(tmp_path / "race.sqlite3"))


def in_own_connection(work: Callable[[], Any]) -> Any:
    """For a thread: do it, and close what it opened."""
    try:
        with all_tenants():
            return work()
    finally:
        connections.close_all()
