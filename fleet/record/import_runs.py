"""Sets of files handed in on the screen: kept for a day, read and checked, taken once, and how far that has come."""

from __future__ import annotations

import datetime as dt
import json
import re
import shutil
import time
from collections.abc import Collection, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.cache import cache
from django.core.files.uploadedfile import UploadedFile
from django.db.models import Q
from django.utils import timezone
from django.utils.translation import gettext as _

from fleet.models import Contractor, ImportRun, User
from fleet.record.columns import FILES, kind_of_file
from fleet.record.import_plan import ImportPlan
from fleet.record.importing import import_files, plan_import
from fleet.record.writing import Refused

KEPT_FOR = dt.timedelta(days=1)
MAX_FILES = 20
MAX_TOTAL = 64 * 1024 * 1024
# More bad rows than anyone will read; the rest is counted.
MAX_BAD = 20_000
# A run that has said nothing for so long has died with its process.
SILENT = dt.timedelta(minutes=20)
_BETWEEN_WORDS = 0.5


def folder_of(run: ImportRun) -> Path:
    """Where a set's files lie: under a name nobody can guess, with what web and workers share and nobody is served."""
    if not re.fullmatch(r"[A-Za-z0-9_-]{16,32}", run.token):
        raise ValueError("no token of ours")
    return Path(settings.MEDIA_ROOT) / "uploads" / run.token


def keep_files(*, owner: User, contractor: Contractor | None, files: Iterable[UploadedFile]) -> ImportRun:
    """Keep a set of uploaded files for its owner; refuses what cannot be files of ours."""
    chosen: dict[str, UploadedFile] = {}
    for file in files:
        name = file.name or ""
        if kind_of_file(name) is None:
            known = ", ".join(FILES)
            raise Refused(
                _("%(file)s is none of: %(known)s, as .csv or .xlsx.") % {"file": name, "known": known}, "upload"
            )
        if name in chosen:
            raise Refused(_("%s is there twice. Send one of the two.") % name, "upload")
        chosen[name] = file
    if not chosen:
        raise Refused(_("Choose at least one file."), "upload")
    if len(chosen) > MAX_FILES:
        raise Refused(_("These are more than %d files. Send them in two goes.") % MAX_FILES, "upload")
    if sum(file.size or 0 for file in chosen.values()) > MAX_TOTAL:
        raise Refused(_("This is more than %d MB. Send the files in two goes.") % (MAX_TOTAL // 1024**2), "upload")
    run = ImportRun.objects.create(owner=owner, contractor=contractor, report={"names": list(chosen)})
    folder = folder_of(run)
    folder.mkdir(parents=True, mode=0o700)
    for place, file in enumerate(chosen.values()):
        # Stored by place: the name a stranger chose never becomes a path.
        with (folder / f"{place:02d}.bin").open("wb") as out:
            out.writelines(file.chunks())
    return run


def kept_files(run: ImportRun) -> dict[str, bytes]:
    """The set's files by their names; empty when their day is over."""
    folder, names = folder_of(run), run.report.get("names", [])
    paths = [folder / f"{place:02d}.bin" for place in range(len(names))]
    if not all(path.is_file() for path in paths):
        return {}
    return {name: path.read_bytes() for name, path in zip(names, paths, strict=True)}


def check_files(*, run: ImportRun, only: Collection[int] | None) -> None:
    """Say what taking the set would add; nothing is written to the ledger."""
    plan = plan_import(kept_files(run), contractor=_name(run), only=only)
    _keep_report(run, plan)
    run.save(update_fields=["report"])


def start_taking(*, run: ImportRun) -> bool:
    """Claim the set for one taking; false where it is being taken, or was."""
    now = timezone.now()
    free = Q(state__in=[ImportRun.CHECKED, ImportRun.FAILED]) | Q(state=ImportRun.RUNNING, heard_at__lt=now - SILENT)
    if cache.get(_key(run)) is not None:
        free = Q(state__in=[ImportRun.CHECKED, ImportRun.FAILED])
    rows = ImportRun.objects.filter(free, pk=run.pk)
    return bool(rows.update(state=ImportRun.RUNNING, heard_at=now))


def take_files(*, run_id: int, only: Collection[int] | None) -> None:
    """Write what the set holds. Safe to run again after a crash: what is there already is not added twice."""
    run = ImportRun.objects.select_related("contractor", "owner").get(pk=run_id)
    try:
        files = kept_files(run)
        if not files:
            raise FileNotFoundError(run.token)
        plan = import_files(files, contractor=_name(run), only=only, author=run.owner, progress=_Telling(run))
    except Exception:
        run.state = ImportRun.FAILED
        raise
    else:
        run.state = ImportRun.DONE
        _keep_report(run, plan)
    finally:
        run.finished_at = timezone.now()
        run.save(update_fields=["state", "finished_at", "report"])
        cache.delete(_key(run))


def progress_of(run: ImportRun) -> dict[str, Any]:
    """How far a running set is: rows done, rows in all, and the file at hand."""
    told: dict[str, Any] = cache.get(_key(run)) or {"done": 0, "total": 0, "file": ""}
    return told


def fell_silent(run: ImportRun, now: dt.datetime) -> bool:
    """Whether a running set has died with its process, and may be taken again."""
    heard = run.heard_at
    return run.state == ImportRun.RUNNING and cache.get(_key(run)) is None and (heard is None or heard < now - SILENT)


class _Telling:
    """Passes progress on now and then. Through the cache: inside the import's transaction nobody would see a row."""

    def __init__(self, run: ImportRun) -> None:
        self.key, self.last = _key(run), 0.0
        self(0, 0, "")

    def __call__(self, done: int, total: int, file: str) -> None:
        now = time.monotonic()
        if now - self.last >= _BETWEEN_WORDS or done >= total:
            self.last = now
            cache.set(self.key, {"done": done, "total": total, "file": file}, int(SILENT.total_seconds()))


def _key(run: ImportRun) -> str:
    return f"import:{run.token}"


def _name(run: ImportRun) -> str:
    return run.contractor.name if run.contractor is not None else ""


def _keep_report(run: ImportRun, plan: ImportPlan) -> None:
    bad = plan.bad
    by_file: dict[str, int] = {}
    for cell in bad:
        by_file[cell.file] = by_file.get(cell.file, 0) + 1
    run.report = {
        "names": run.report.get("names", []),
        "added": plan.added,
        "repeated": plan.repeated,
        "ignored_columns": plan.ignored_columns,
        "bad": by_file,
    }
    with (folder_of(run) / "bad.jsonl").open("w", encoding="utf-8") as out:
        out.writelines(json.dumps(cell.as_dict(), default=str) + "\n" for cell in bad[:MAX_BAD])


def bad_rows(run: ImportRun, start: int = 0, count: int | None = None) -> Iterator[Mapping[str, Any]]:
    """Bad rows with file, line, column, value and reason, from the one numbered ``start``."""
    path = folder_of(run) / "bad.jsonl"
    if not path.is_file():
        return
    with path.open(encoding="utf-8") as lines:
        for number, line in enumerate(lines):
            if count is not None and number >= start + count:
                return
            if number >= start:
                yield json.loads(line)


def drop_files(*, run: ImportRun) -> None:
    """Delete the set's files; the row stays as a record of what was done."""
    shutil.rmtree(folder_of(run), ignore_errors=True)


def sweep(now: dt.datetime) -> int:
    """Delete the files of sets older than a day; returns how many sets."""
    swept = 0
    root = Path(settings.MEDIA_ROOT) / "uploads"
    if root.is_dir():
        for folder in root.iterdir():
            if now.timestamp() - folder.stat().st_mtime > KEPT_FOR.total_seconds():
                shutil.rmtree(folder, ignore_errors=True)
                swept += 1
    return swept
