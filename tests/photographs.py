"""Rows a fixture makes again and again, taken down once and put back as they were: the same rows, a tenth of the time.

Put back only into tables that are empty, on the day they were made; whoever asks otherwise has them made anew.
"""

from __future__ import annotations

import copy
import datetime as dt
from collections.abc import Callable
from typing import TypeVar

from django.db import connection

Made = TypeVar("Made")
Rows = list[tuple[str, list[str], list[tuple]]]
# Rows of the framework's own, which every database has.
_ALWAYS = frozenset({"django_migrations", "django_content_type", "auth_permission", "django_site"})
_taken: dict[str, tuple[dt.date, str, object, Rows]] = {}


def as_made_before(name: str, make: Callable[[], Made]) -> Made:
    """What ``make`` returns, with its rows in the database."""
    if _standing():
        return make()
    day, database = dt.date.today(), str(connection.settings_dict["NAME"])
    known = _taken.get(name)
    if known is None or known[:2] != (day, database):
        made = make()
        _taken[name] = (day, database, copy.deepcopy(made), _standing())
        return made
    _put_back(known[3])
    return copy.deepcopy(known[2])  # type: ignore[return-value]


def _standing() -> Rows:
    found: Rows = []
    with connection.cursor() as cursor:
        for table in sorted(set(connection.introspection.table_names(cursor)) - _ALWAYS):
            cursor.execute(f"SELECT * FROM {connection.ops.quote_name(table)}")
            rows = cursor.fetchall()
            if rows:
                found.append((table, [column[0] for column in cursor.description], rows))
    return found


def _put_back(rows: Rows) -> None:
    with connection.cursor() as cursor:
        for table, columns, values in rows:
            names = ", ".join(map(connection.ops.quote_name, columns))
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {connection.ops.quote_name(table)} ({names}) VALUES ({marks})", values)
