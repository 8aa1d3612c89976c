"""A demo of our own, served beside the tests, and a browser to look at it.

The server is a process of its own on a file of its own, so that requests run side by side as they do in use. All
browser tests run on one worker (``tests/plugins/together.py``), one after another, and share that demo: a test that
changes something looks for its own unit and its own words.
"""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

ROOT = Path(__file__).resolve().parents[2]
HERE = Path(__file__).resolve().parent
CHROMIUM = "/usr/bin/chromium"
# Nothing but this machine is asked: no update checks, no reports, no names looked up.
FLAGS = [
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-domain-reliability",
    "--disable-sync",
    "--no-first-run",
    "--no-pings",
    "--metrics-recording-only",
    "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if HERE in item.path.parents:
            item.add_marker(pytest.mark.browser)


@dataclass(frozen=True)
class Site:
    """Where the demo is served, and what ``manage.py demo`` printed."""

    url: str
    printed: str
    environment: dict[str, str]

    def manage(self, *args: str) -> str:
        """Run a command on the demo's database."""
        return _manage(self.environment, *args)


def _manage(environment: dict[str, str], *args: str) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", *args], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, f"manage.py {' '.join(args)}\n{done.stdout}{done.stderr}"
    return done.stdout


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _wait_for(url: str, server: subprocess.Popen[bytes]) -> None:
    until = time.monotonic() + 60
    while time.monotonic() < until and server.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=5):
                return
        except OSError:
            time.sleep(0.2)
    raise RuntimeError(f"The server did not come up (exit code {server.poll()}).")


@pytest.fixture(scope="package")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The demo, built and served as ``make demo`` does it."""
    folder = tmp_path_factory.mktemp("demo")
    kept = {k: v for k, v in os.environ.items() if k not in {"PUBLIC_URL", "REDIS_URL", "CACHE_URL", "PYTEST_ADDOPTS"}}
    environment = kept | {
        "DATABASE_URL": f"sqlite:///{folder / 'portal.sqlite3'}",
        "MEDIA_ROOT": str(folder / "media"),
        "SECRET_KEY": "for this run only, and for nobody else's eyes",
    }
    printed = _manage(environment, "demo", "--no-serve")
    port = _free_port()
    with (folder / "server.log").open("wb") as log:
        server = subprocess.Popen(
            [sys.executable, "manage.py", "demo", "--port", str(port)],
            cwd=ROOT, env=environment, stdout=log, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            _wait_for(f"http://127.0.0.1:{port}/account/login/", server)
            yield Site(f"http://127.0.0.1:{port}", printed, environment)
        finally:
            server.terminate()
            server.wait(timeout=30)


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """Headless Chromium, as the system has it."""
    if not Path(CHROMIUM).exists():
        pytest.skip(f"{CHROMIUM} is missing; apt-get install chromium")
    with pytest.MonkeyPatch.context() as patch, sync_playwright() as playwright:
        # The browser's loop runs in this thread, which Django takes for an asynchronous one.
        patch.setenv("DJANGO_ALLOW_ASYNC_UNSAFE", "1")
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, chromium_sandbox=False, args=FLAGS)
        yield chromium
        chromium.close()
