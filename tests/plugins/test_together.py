"""Browser tests of a parallel run go to one worker; all others are handed out one by one."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TESTS = "import pytest\n\n@pytest.mark.parametrize('n', range(6))\ndef test_it(n):\n    pass\n"


def test_one_worker_for_the_browser(tmp_path: Path) -> None:
    for room in ("browser", "other"):
        folder = tmp_path / "tests" / room
        folder.mkdir(parents=True)
        (folder / f"test_{room}.py").write_text(TESTS)
    # The folder is called tests as well, so the plugin is loaded by a name of its own.
    (tmp_path / "together_plugin.py").write_text((ROOT / "tests" / "plugins" / "together.py").read_text())
    (tmp_path / "pytest.ini").write_text("[pytest]\naddopts = -p together_plugin -p no:django -p no:cacheprovider\n")
    kept = {k: v for k, v in os.environ.items() if not k.startswith("PYTEST")}
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-c", "pytest.ini", "-n", "2", "-v", "tests"],
        cwd=tmp_path, env=kept | {"PYTHONPATH": str(tmp_path)}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    ran = re.findall(r"\[(gw\d)\].*PASSED tests/(\w+)/", done.stdout)
    assert len(ran) == 12, done.stdout + done.stderr
    together = {worker for worker, room in ran if room == "browser"}
    assert len(together) == 1
    # While one worker has the browser, the other goes through the rest.
    assert {worker for worker, room in ran if room == "other"} - together
