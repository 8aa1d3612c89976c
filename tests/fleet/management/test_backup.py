"""Backup and restore: what comes back is what went in, older files too; what cannot be restored changes nothing."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.recorder import MigrationRecorder
from PIL import Image

from fleet.archive import _models
from fleet.models import Shop, Trimmer, UnitPhoto, User
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.portal_files import migrated

ROOT = Path(__file__).parents[3]


def rows_of(path: Path) -> dict[str, list[bytes]]:
    with zipfile.ZipFile(path) as archive:
        return {n: sorted(archive.read(n).splitlines()) for n in archive.namelist() if n != "portal.json"}


def empty_it() -> None:
    executor = MigrationExecutor(connection)
    state = executor.loader.project_state(executor.loader.graph.leaf_nodes()).apps
    for model in reversed(_models(state)):
        model._base_manager.all()._raw_delete(connection.alias)


@pytest.fixture
def filled(portal, tmp_path, settings):
    settings.MEDIA_ROOT = tmp_path / "media"
    factories.make_bench(portal.shop)
    factories.make_drop_off(portal.shop, portal.north, portal.units["due"], days=1)
    content = io.BytesIO()
    Image.new("RGB", (8, 8)).save(content, "JPEG")
    with all_tenants():
        photo = UnitPhoto(contractor=portal.quarry, trimmer=portal.units["due"])
        photo.picture.save("x.jpg", io.BytesIO(content.getvalue()), save=True)
    return portal


@pytest.mark.django_db
def test_an_emptied_portal_comes_back_row_for_row(filled, tmp_path, settings, capsys):
    first, second = tmp_path / "a.zip", tmp_path / "b.zip"
    call_command("backup", first, format="json")
    told = {row["table"]: row["rows"] for row in json.loads(capsys.readouterr().out)}
    assert told["fleet.trimmer"] == 4
    assert told["shop.dropoff"] == 1
    assert stat.S_IMODE(first.stat().st_mode) == 0o600
    with all_tenants():
        photo = UnitPhoto.objects.get()
    Path(photo.picture.path).unlink()
    empty_it()
    assert not User.objects.exists()
    call_command("restore", first)
    assert "As it stood on" in capsys.readouterr().out
    call_command("backup", second)
    before, after = rows_of(first), rows_of(second)
    # Content types and permissions of the framework are made good by migrate; the portal's own rows are the same.
    assert before == after
    assert Path(photo.picture.path).is_file()
    # New rows get numbers after the restored ones.
    with all_tenants():
        highest = max(Trimmer.objects.values_list("pk", flat=True))
        assert factories.make_unit(filled.north, "QH-77").pk > highest


@pytest.mark.django_db
def test_a_portal_in_use_is_left_alone(filled, tmp_path):
    path = tmp_path / "a.zip"
    call_command("backup", path)
    with pytest.raises(CommandError, match="in use"):
        call_command("restore", path)
    assert Shop.objects.count() == 2


@pytest.mark.django_db
def test_what_is_no_backup_is_refused_and_changes_nothing(tmp_path):
    wrong = tmp_path / "wrong.zip"
    wrong.write_bytes(b"PK nothing")
    with pytest.raises(CommandError, match="not a whole backup"):
        call_command("restore", wrong)
    with pytest.raises(CommandError, match="no file"):
        call_command("restore", tmp_path / "missing.zip")
    with pytest.raises(CommandError, match="is a folder"):
        call_command("backup", tmp_path)
    for told, said in (
        ({"product": "other", "format": 1}, "cannot read|can read"),
        ({"product": "Swathkeeper", "format": 1, "migrations": {"fleet": "9999_to_come"}}, "newer version"),
    ):
        with zipfile.ZipFile(wrong, "w") as archive:
            archive.writestr("portal.json", json.dumps(told))
        with pytest.raises(CommandError, match=said):
            call_command("restore", wrong)
    assert not Shop.objects.exists()


@pytest.mark.django_db
def test_a_backup_never_writes_outside_the_portals_folder(filled, tmp_path):
    path, evil = tmp_path / "a.zip", tmp_path / "evil.zip"
    call_command("backup", path)
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(evil, "w") as sink:
        for name in source.namelist():
            sink.writestr(name, source.read(name))
        sink.writestr("files/../../escaped.txt", "x")
    empty_it()
    with pytest.raises(CommandError, match="not one of ours"):
        call_command("restore", evil)
    assert not Shop.objects.exists()
    assert not (Path(settings.MEDIA_ROOT).parent / "escaped.txt").exists()


@pytest.mark.django_db
def test_a_backup_cut_off_leaves_the_one_before_in_place(filled, tmp_path, monkeypatch):
    path = tmp_path / "a.zip"
    call_command("backup", path)
    before = path.read_bytes()
    monkeypatch.setattr("fleet.archive._write_files", lambda archive: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        call_command("backup", path)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir() if p.suffix in {".zip", ".part"}] == ["a.zip"]


OLD_PORTAL = """
import django; django.setup()
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
executor = MigrationExecutor(connection)
executor.migrate([("fleet", "0004_crew_cost"), ("shop", "0001_bench")])
apps = executor.loader.project_state([("fleet", "0004_crew_cost")]).apps
apps.get_model("fleet", "Shop").objects.create(name="Old bench")
import sys
from django.core.management import call_command
call_command("backup", sys.argv[1])
"""


@pytest.mark.slow
@pytest.mark.django_db
def test_a_backup_of_an_older_version_comes_up_to_date(tmp_path):
    def run(database: Path, *arguments: str) -> str:
        environment = {**os.environ, "DATABASE_URL": f"sqlite:///{database}", "SECRET_KEY": "x" * 50}
        environment |= {"DJANGO_SETTINGS_MODULE": "fleet.settings", "MEDIA_ROOT": str(tmp_path / "media")}
        done = subprocess.run(
            [sys.executable, *arguments], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, done.stderr
        return done.stdout

    file = str(tmp_path / "old.zip")
    run(tmp_path / "old.sqlite3", "-c", OLD_PORTAL, file)
    applied = []
    for database in (tmp_path / "new.sqlite3", migrated(tmp_path / "migrated.sqlite3")):
        told = run(database, "manage.py", "restore", file, "--format", "json")
        assert {"table": "fleet.shop", "rows": 1} in json.loads(told)
        with sqlite3.connect(database) as portal:
            assert portal.execute("SELECT name FROM fleet_shop").fetchall() == [("Old bench",)]
            applied.append(set(portal.execute("SELECT app, name FROM django_migrations")))
    assert applied[0] == applied[1] == set(MigrationRecorder(connection).applied_migrations())
