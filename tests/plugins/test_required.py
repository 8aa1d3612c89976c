"""The plugin that turns skips into failures, and refuses the wrong database, tried on small suites of its own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SETUP = "[pytest]\naddopts = -p tests.plugins.required -p no:django -p no:cacheprovider\n"
SUITE = {
    "test_skip.py": "import pytest\n\ndef test_it():\n    pytest.skip('no browser here')\n",
    "test_module.py": "import pytest\n\npytest.importorskip('no_such_library_anywhere')\n",
    "test_expected.py": "import pytest\n\n@pytest.mark.xfail\ndef test_it():\n    raise ValueError\n",
}


def _outcome(folder: Path, name: str, **environment: str) -> subprocess.CompletedProcess[str]:
    (folder / name).write_text(SUITE[name])
    (folder / "pytest.ini").write_text(SETUP)
    kept = {k: v for k, v in os.environ.items() if k not in {"REQUIRE_ALL", "REQUIRE_DATABASE", "PYTEST_ADDOPTS"}}
    return subprocess.run(
        [sys.executable, "-m", "pytest", "-c", "pytest.ini", name],
        cwd=folder,
        env=kept | {"PYTHONPATH": str(ROOT)} | environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.parametrize("name", ["test_skip.py", "test_module.py"])
def test_skip_fails_only_where_everything_is_required(tmp_path: Path, name: str) -> None:
    assert "skipped" in _outcome(tmp_path, name).stdout
    strict = _outcome(tmp_path, name, REQUIRE_ALL="1")
    assert strict.returncode == (1 if name == "test_skip.py" else 2)
    assert "REQUIRE_ALL" in strict.stdout


def test_expected_failure_is_no_skip(tmp_path: Path) -> None:
    done = _outcome(tmp_path, "test_expected.py", REQUIRE_ALL="1")
    assert done.returncode == 0
    assert "1 xfailed" in done.stdout


def test_run_for_another_database_stops(tmp_path: Path) -> None:
    done = _outcome(
        tmp_path, "test_expected.py", REQUIRE_DATABASE="postgresql", DJANGO_SETTINGS_MODULE="fleet.settings",
        DATABASE_URL=f"sqlite:///{tmp_path / 'db.sqlite3'}", SECRET_KEY="for this run only",
    )  # fmt: skip
    assert done.returncode == 2
    assert "sqlite3" in done.stdout + done.stderr
