"""Health checks say ok only where the part does its work."""

from __future__ import annotations

import io
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest
from django.core.cache import cache
from django.core.management import CommandError, call_command
from django.test import override_settings


@pytest.fixture(autouse=True)
def _own_cache() -> Iterator[None]:
    with override_settings(CACHES={"default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache"}}):
        cache.clear()
        yield


def _health(*args: str) -> str:
    out = io.StringIO()
    call_command("health", *args, stdout=out)
    return out.getvalue().strip()


class _Page(BaseHTTPRequestHandler):
    status = 200
    asked: list[dict[str, str]] = []

    def do_GET(self) -> None:
        self.asked.append({"path": self.path, **dict(self.headers)})
        self.send_response(self.status)
        self.end_headers()

    def log_message(self, *args: object) -> None:
        del args


@pytest.fixture
def port() -> Iterator[int]:
    server = HTTPServer(("127.0.0.1", 0), _Page)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield server.server_address[1]
    server.shutdown()


def test_web_is_asked_as_the_proxy_would(port: int) -> None:
    _Page.status = 200
    with override_settings(PUBLIC_URL="https://portal.example.org"):
        assert _health("web", "--port", str(port)) == "ok"
    asked = _Page.asked[-1]
    assert (asked["Host"], asked["X-Forwarded-Proto"]) == ("portal.example.org", "https")
    assert asked["path"].endswith("/login/")


def test_web_that_fails_or_is_away_is_not_healthy(port: int) -> None:
    _Page.status = 500
    with pytest.raises(CommandError, match="500"):
        _health("web", "--port", str(port))
    with pytest.raises(CommandError, match="does not answer"):
        _health("web", "--port", "1")


def test_worker_is_healthy_when_a_task_comes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    assert _health("worker") == "ok"
    monkeypatch.setattr("fleet.management.commands.health.WAIT_SECONDS", 0.3)
    monkeypatch.setattr("fleet.tasks.answer.apply_async", lambda *a, **k: None)
    with pytest.raises(CommandError, match="No worker"):
        _health("worker")


def test_beat_is_healthy_while_its_last_tick_is_young() -> None:
    with pytest.raises(CommandError):
        _health("beat")
    cache.set("answer:beat", time.time() - 30)
    assert _health("beat") == "ok"
    cache.set("answer:beat", time.time() - 3000)
    with pytest.raises(CommandError):
        _health("beat")
