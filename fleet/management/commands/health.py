"""Whether a part of an installation does its work; exit code 1 where it does not. For health checks."""

from __future__ import annotations

import secrets
import time
import urllib.error
import urllib.request
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.core.cache import cache
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.urls import reverse

from fleet.tasks import answer

WAIT_SECONDS = 10
BEAT_SECONDS = 180


class Command(BaseCommand):
    help = "Checks that the web server answers, that a worker takes a task, or that beat still ticks."
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("part", choices=["web", "worker", "beat"])
        parser.add_argument("--port", type=int, default=8000, metavar="N", help="where the web server listens")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["part"] == "web":
            _web(options["port"])
        elif options["part"] == "worker":
            _worker()
        else:
            _beat()
        self.stdout.write("ok")


def _web(port: int) -> None:
    """Ask for the sign-in page as the proxy would: by the public name, over TLS as far as the portal knows."""
    public = urlsplit(settings.PUBLIC_URL or f"http://127.0.0.1:{port}")
    request = urllib.request.Request(
        f"http://127.0.0.1:{port}{reverse('account_login')}",
        headers={"Host": public.netloc, "X-Forwarded-Proto": public.scheme},
    )
    try:
        with urllib.request.urlopen(request, timeout=WAIT_SECONDS) as response:  # noqa: S310 our own address
            status = response.status
    except (urllib.error.URLError, OSError) as problem:
        raise CommandError(f"The web server does not answer: {problem}") from None
    if status != 200:
        raise CommandError(f"The sign-in page answers with {status}.")


def _worker() -> None:
    """A task's round trip: a worker can hang and still answer a ping."""
    question = secrets.token_hex(8)
    answer.apply_async([question], expires=WAIT_SECONDS)
    until = time.monotonic() + WAIT_SECONDS
    while time.monotonic() < until:
        if cache.get(f"answer:{question}"):
            return
        time.sleep(0.2)
    raise CommandError(f"No worker took a task within {WAIT_SECONDS} s.")


def _beat() -> None:
    told = cache.get("answer:beat")
    if told is None or time.time() - told > BEAT_SECONDS:
        raise CommandError("No sign of life from beat, or from the workers that take its tasks.")
