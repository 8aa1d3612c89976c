"""A portal in a file of its own, for tests that run commands as an operator does, in processes of their own."""

from __future__ import annotations

from pathlib import Path

from django.db import connection


def migrated(path: Path) -> Path:
    """An empty portal, its tables made: a copy of the tests' own database, which has nobody's rows yet."""
    assert connection.vendor == "sqlite", "no other database keeps a portal in a file"
    connection.ensure_connection()
    path.write_bytes(connection.connection.serialize())
    return path
