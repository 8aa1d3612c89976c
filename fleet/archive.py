"""The whole portal as one file: every table and every picture, whatever database it runs on.

A zip with ``portal.json`` (what it is, the migrations it stood at, rows by table), ``rows/*.jsonl`` and ``files/``.
Rows are read and written through the models as the migrations of that day describe them, so that an older file goes
into a newer version: the tables are made as they were then, filled, and brought up to date like those of any portal.
"""

from __future__ import annotations

import base64
import datetime as dt
import json
import os
import shutil
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path, PurePosixPath
from typing import Any
from uuid import UUID

from django.apps import apps
from django.conf import settings
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection, models, transaction
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

FORMAT, PRODUCT = 1, "Swathkeeper"
# Who is signed in just now is nobody's record.
LEFT_OUT = frozenset({"sessions.session"})
# A portal is empty while none of these has a row.
_PEOPLE = ("fleet.user", "fleet.shop", "fleet.contractor")
BATCH = 2_000


class NotRestorable(Exception):
    """The file cannot go into this database; the message says what to do."""


@dataclass(frozen=True)
class Archived:
    """What one file holds."""

    rows: Mapping[str, int]
    files: int
    made_at: str


def back_up(path: Path) -> Archived:
    """Write everything into one file, readable by its owner alone; it comes into place only when it is whole."""
    executor = MigrationExecutor(connection)
    stands_at = _stands_at(executor)
    unfinished = path.with_name(f"{path.name}.part")
    try:
        descriptor = os.open(unfinished, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as raw, zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
            rows = _write_rows(archive, executor.loader.project_state(stands_at).apps)
            files = _write_files(archive)
            made_at = timezone.now().isoformat(timespec="seconds")
            told = {
                "product": PRODUCT, "format": FORMAT, "made_at": made_at, "migrations": dict(stands_at), "rows": rows,
                "files": files,
            }  # fmt: skip
            archive.writestr("portal.json", json.dumps(told, indent=1))
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return Archived(rows, files, made_at)


def restore(path: Path) -> Archived:
    """Fill an empty portal from such a file.

    Raises
    ------
    NotRestorable
        For a file that is none of ours, is damaged, or was made by a newer version, and where the portal is not empty.
        Nothing has changed then.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            damaged = archive.testzip()
            if damaged is not None:
                raise NotRestorable(f"The file is damaged: {damaged} cannot be read. Take another copy of it.")
            return _restore(archive)
    except (zipfile.BadZipFile, KeyError, json.JSONDecodeError, UnicodeDecodeError) as error:
        raise NotRestorable("This is not a whole backup of a portal. Take another copy of it.") from error


def _restore(archive: zipfile.ZipFile) -> Archived:
    told = json.loads(archive.read("portal.json"))
    if told.get("product") != PRODUCT or told.get("format") != FORMAT:
        raise NotRestorable("This is not a backup that this version can read.")
    executor = MigrationExecutor(connection)
    graph = executor.loader.graph
    then = [(app, name) for app, name in told["migrations"].items()]
    if any(node not in graph.nodes for node in then):
        raise NotRestorable("This backup was made by a newer version. Upgrade the portal first, then restore.")
    _refuse_unless_empty()
    names = [_safe(name) for name in archive.namelist() if name.startswith("files/")]
    state = executor.loader.project_state(then).apps
    if sorted(then) != _stands_at(executor):
        _drop_tables()
        MigrationExecutor(connection).migrate(then)
    with transaction.atomic():
        rows = _read_rows(archive, state)
    call_command("migrate", verbosity=0, interactive=False)
    for name in names:
        target = Path(settings.MEDIA_ROOT).joinpath(*PurePosixPath(name).parts[1:])
        target.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(name) as source, target.open("wb") as sink:
            shutil.copyfileobj(source, sink)
    return Archived(rows, len(names), told["made_at"])


def _stands_at(executor: MigrationExecutor) -> list[tuple[str, str]]:
    """The last migration applied of every app; a database about to be upgraded is read as it is."""
    graph, applied = executor.loader.graph, executor.loader.applied_migrations
    ahead = {parent.key for node in applied if node in graph.nodes for parent in graph.node_map[node].parents}
    followed = {
        key for key in ahead
        if any(child.key in applied and child.key[0] == key[0] for child in graph.node_map[key].children)
    }  # fmt: skip
    return sorted(node for node in applied if node in graph.nodes and node not in followed)


def _refuse_unless_empty() -> None:
    there = set(connection.introspection.table_names())
    for label in _PEOPLE:
        model = apps.get_model(label)
        if model._meta.db_table in there and model._base_manager.values_list("pk").exists():
            raise NotRestorable("This portal is in use. Restore into an empty one: a new database, and migrate.")


def _drop_tables() -> None:
    """Of a database without people: its tables are made anew, as they were when the file was written."""
    with connection.constraint_checks_disabled(), connection.cursor() as cursor:
        more = " CASCADE" if connection.vendor == "postgresql" else ""
        for table in connection.introspection.table_names():
            cursor.execute(f"DROP TABLE {connection.ops.quote_name(table)}{more}")


def _models(state: Any) -> list[type[models.Model]]:
    found = [m for m in state.get_models(include_auto_created=True) if m._meta.managed and not m._meta.proxy]
    return sorted((m for m in found if m._meta.label_lower not in LEFT_OUT), key=lambda m: m._meta.label_lower)


def _write_rows(archive: zipfile.ZipFile, state: Any) -> dict[str, int]:
    counts: dict[str, int] = {}
    outermost = not connection.in_atomic_block
    with transaction.atomic():
        if outermost and connection.vendor == "postgresql":
            # All tables as of one moment, however long the reading takes.
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        for model in _models(state):
            names = [field.attname for field in model._meta.concrete_fields]
            rows = model._base_manager.order_by("pk").values_list(*names)
            counts[model._meta.label_lower] = 0
            with archive.open(f"rows/{model._meta.label_lower}.jsonl", "w", force_zip64=True) as sink:
                for row in rows.iterator(chunk_size=BATCH):
                    line = json.dumps(dict(zip(names, row, strict=True)), default=_plain, ensure_ascii=False)
                    sink.write(line.encode() + b"\n")
                    counts[model._meta.label_lower] += 1
    return counts


def _plain(value: Any) -> Any:
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    if isinstance(value, Decimal | UUID | dt.timedelta):
        return str(value)
    raise TypeError(f"{type(value).__name__} has no form in a backup yet")


def _read_rows(archive: zipfile.ZipFile, state: Any) -> dict[str, int]:
    known = _models(state)
    counts: dict[str, int] = {}
    with connection.constraint_checks_disabled():
        for model in reversed(known):
            # A new database comes with a few rows of the framework's own.
            model._base_manager.all()._raw_delete(connection.alias)
        for model in known:
            counts[model._meta.label_lower] = 0
            for field in model._meta.concrete_fields:
                # The times of the record are those of the record.
                if isinstance(field, models.DateField | models.TimeField):
                    field.auto_now = field.auto_now_add = False
            for batch in _batches(archive, model):
                model._base_manager.bulk_create(batch, batch_size=BATCH)
                counts[model._meta.label_lower] += len(batch)
        connection.check_constraints()
    resets = connection.ops.sequence_reset_sql(no_style(), known)
    with connection.cursor() as cursor:
        for sql in resets:
            cursor.execute(sql)
    return counts


def _batches(archive: zipfile.ZipFile, model: type[models.Model]) -> Iterator[list[models.Model]]:
    fields = {field.attname: field for field in model._meta.concrete_fields}
    batch: list[models.Model] = []
    with archive.open(f"rows/{model._meta.label_lower}.jsonl") as lines:
        for line in lines:
            row = json.loads(line)
            batch.append(model(**{name: fields[name].to_python(value) for name, value in row.items()}))
            if len(batch) == BATCH:
                yield batch
                batch = []
    if batch:
        yield batch


def _write_files(archive: zipfile.ZipFile) -> int:
    root = Path(settings.MEDIA_ROOT)
    files = sorted(path for path in root.rglob("*") if path.is_file()) if root.is_dir() else []
    for path in files:
        archive.write(path, f"files/{path.relative_to(root).as_posix()}", compress_type=zipfile.ZIP_STORED)
    return len(files)


def _safe(name: str) -> str:
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or len(path.parts) < 2 or "\\" in name:
        raise NotRestorable("This backup names files outside the portal's own folder, so it is not one of ours.")
    return name
