"""A fleet nobody here has seen, in messy files, goes in; its Ready list survives a trip through export and import.

Runs the commands as an operator would: processes of their own, each portal a database of its own.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
from django.core.management import ManagementUtility

from fleet.simulation.fleet import simulate
from fleet.simulation.scenario import demo_parameters
from tests.portal_files import migrated

ROOT = Path(__file__).resolve().parents[3]
AS_OF, BEFORE = dt.date(2026, 6, 1), dt.date(2026, 7, 15)
KEYS = {
    "unit", "contractor", "crew", "model", "task", "state", "hours_now", "hours_now_low", "hours_now_high",
    "last_done_hours", "interval_hours", "interval_basis", "manual_source", "due_hours", "due_on", "due_on_early",
    "due_on_late", "probability_by", "failures_behind", "reasons",
}  # fmt: skip


class Portal:
    """A database in a folder and the commands that work on it."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir()
        file = migrated(folder / "portal.sqlite3")
        self.env = {**os.environ, "DATABASE_URL": f"sqlite:///{file}", "SECRET_KEY": "test"}

    def run(self, *words: str, code: int = 0) -> str:
        done = subprocess.run(
            [sys.executable, "manage.py", *words], cwd=ROOT, env=self.env, capture_output=True, text=True, check=False
        )
        assert done.returncode == code, f"{words}: {done.returncode}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
        return done.stdout


def us(value: object) -> object:
    return f"{value.month}/{value.day}/{value.year}" if isinstance(value, dt.date) else value


def write_messy(files: dict, folder: Path) -> None:
    """The same rows as three kinds of office would hand them over."""
    folder.mkdir()
    for name, rows in files.items():
        columns = list(rows[0]) if rows else []
        if name == "guard":
            book = openpyxl.Workbook()
            sheet = book.active
            sheet.append([c.upper() for c in columns])
            for row in rows:
                sheet.append([row[c] for c in columns])
            book.save(folder / "guard.xlsx")
            continue
        text = io.StringIO()
        semicolon = name in ("hours", "units")
        writer = csv.writer(text, delimiter=";" if semicolon else ",", lineterminator="\r\n")
        writer.writerow([f" {c.title()} " for c in columns] + ["Remark"])
        for number, row in enumerate(rows):
            cells = ["" if row[c] is None else us(row[c]) for c in columns]
            if semicolon:
                cells = [str(c).replace(".", ",") if not isinstance(c, str) else c for c in cells]
            elif name == "failures":
                cells = [f"${c}" if columns[i] == "parts_cost" and c != "" else c for i, c in enumerate(cells)]
            writer.writerow([f" {c}" if number % 3 == 0 else c for c in cells] + ["café"])
            if number % 10 == 0:
                text.write("\r\n")
                writer.writerow([f" {c}" if number % 3 == 0 else c for c in cells] + ["café"])
        encoding = "cp1252" if name == "services" else "utf-8-sig"
        (folder / f"{name}.csv").write_bytes(text.getvalue().encode(encoding))


@pytest.mark.slow
@pytest.mark.django_db
def test_messy_files_in_and_the_same_list_after_export_and_import(tmp_path: Path) -> None:
    simulated = simulate(demo_parameters(dt.date(2026, 6, 1)).with_units(36), 4711)
    write_messy(simulated.files, tmp_path / "messy")
    first = Portal(tmp_path / "first")
    report = json.loads(first.run("import_fleet", str(tmp_path / "messy"), "--format", "json"))
    assert report["bad"] == []
    counts = {name.split(".")[0]: n for name, n in report["added"].items()}
    assert counts == {name: len(rows) for name, rows in simulated.files.items()}
    assert sum(report["repeated"].values()) > 100  # every tenth row stands in its file twice
    again = json.loads(first.run("import_fleet", str(tmp_path / "messy"), "--format", "json", code=1))
    assert sum(again["added"].values()) == 0

    ask = ("due", "--as-of", AS_OF.isoformat(), "--before", BEFORE.isoformat(), "--format", "json")
    first.run("scan", "--as-of", AS_OF.isoformat())
    before = json.loads(first.run(*ask))
    assert {row["state"] for row in before} >= {"past_due", "due_now", "due_by"}
    assert all(set(row) == KEYS for row in before)
    assert "later" not in {row["state"] for row in before}
    for row in before:
        assert row["hours_now_low"] <= row["hours_now"] <= row["hours_now_high"]
        assert row["due_on"] is None or row["due_on_early"] <= row["due_on"]
        assert row["reasons"]

    first.run("export_fleet", str(tmp_path / "out"))
    second = Portal(tmp_path / "second")
    second.run("import_fleet", str(tmp_path / "out"))
    second.run("scan", "--as-of", AS_OF.isoformat())
    assert json.loads(second.run(*ask)) == before


@pytest.mark.django_db
def test_nothing_to_list_and_wrong_options(tmp_path: Path, monkeypatch, capsys) -> None:
    monkeypatch.setattr("django.core.management.base.connections.close_all", lambda: None)

    def run(*words: str) -> tuple[int, str]:
        try:
            ManagementUtility(["manage.py", *words]).execute()
        except SystemExit as end:
            return int(end.code or 0), capsys.readouterr().out
        return 0, capsys.readouterr().out

    code, text = run("due", "--format", "json")
    assert code == 0
    assert json.loads(text) == []
    code, text = run("scan", "--format", "json")
    assert code == 0
    assert json.loads(text)[0]["units"] == 0
    for words in (
        ("due", "--crew", "North"), ("due", "--before", "soon"), ("scan", "--contractor", "Nobody"),
        ("due", "--no-such-option"), ("import_fleet", str(tmp_path / "nowhere")),
    ):  # fmt: skip
        assert run(*words)[0] == 2, words
