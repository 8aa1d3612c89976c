"""The portal with invented data, served on this machine."""

from __future__ import annotations

import os
import socket
import sys
import time
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandParser

from fleet.clock import today_in
from fleet.management.options import PortalCommand, Problem
from fleet.record.demo import NotInvented, build_demo, guard_own_data, is_built
from fleet.record.demo_people import logins
from fleet.simulation.parameters import DEMO_ZONE

HOST = "127.0.0.1"


class Command(PortalCommand):
    help = "Builds the demo, whose data is all invented, and serves it on this machine."
    # It lays the tables itself.
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--reset", action="store_true", help="throw the demo away and build it anew")
        parser.add_argument("--no-serve", action="store_true", help="build only")
        parser.add_argument("--port", type=int, default=8000, metavar="N")
        parser.add_argument("--units", type=int, metavar="N", help="a demo of about this many units")

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.PUBLIC_URL:
            raise Problem("The demo's passwords are known to everyone: it is not built where PUBLIC_URL is set.")
        if not options["no_serve"]:
            _check_free(options["port"])
        call_command("migrate", interactive=False, verbosity=0)
        try:
            guard_own_data()
            if options["reset"] or not is_built():
                self._build(options["units"])
            else:
                self.stdout.write("The demo is there already; --reset builds it anew.")
        except NotInvented as refusal:
            raise Problem(str(refusal)) from None
        self._print_logins(options["port"])
        if not options["no_serve"]:
            self.stdout.write("Serving until Ctrl-C.")
            self.stdout.flush()
            _serve(options["port"])

    def _build(self, units: int | None) -> None:
        started = time.perf_counter()
        built = build_demo(today=today_in(DEMO_ZONE), progress=self._show(), scale_to=units)
        self.stdout.write(
            f"{built.units} units in use, {built.entries} entries of three seasons, {built.flags} jobs on the books; "
            f"built in {time.perf_counter() - started:.0f} s."
        )

    def _show(self) -> Any:
        """Progress: a running percentage where a person watches, else one line a step."""
        watched = sys.stderr.isatty()
        shown: dict[str, int] = {}

        def show(step: str, done: int, total: int) -> None:
            share = 100 * done // max(total, 1)
            if step not in shown and not watched:
                self.stderr.write(f"{step} ...")
            if watched and shown.get(step) != share:
                sys.stderr.write(f"\r{step}: {share:3d} %" + ("\n" if done >= total else ""))
            shown[step] = share

        return show

    def _print_logins(self, port: int) -> None:
        write = self.stdout.write
        write("")
        write("Everything here is invented: shop, contractors, makers, models, people and history.")
        write(f"Address:  http://{HOST}:{port}/")
        rows = list(logins())
        width = max(len(row.who) for row in rows)
        write(f"{'who':{width}}  {'name':16}  password")
        for row in rows:
            if not row.tag_path:
                write(f"{row.who:{width}}  {row.name:16}  {row.secret}")
        for row in rows:
            if row.tag_path:
                write(f"{row.who}, without e-mail: scans the tag of {row.name}, which opens")
                write(f"  http://{HOST}:{port}{row.tag_path}  and types the PIN {row.secret}")
        write("")


def _check_free(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            raise Problem(f"Something is listening on {HOST}:{port} already. Stop it, or add --port 8001.") from None


def _serve(port: int) -> None:
    """Become the web server, so that a signal to this process is one to the server."""
    # Each worker opens its own connection: one opened before would be shared.
    from django.db import connections

    connections.close_all()
    server = [sys.executable, "-m", "gunicorn", "fleet.wsgi:application", "--workers", "2", "--threads", "4"]
    where = ["--no-control-socket", "--bind", f"{HOST}:{port}", "--chdir", str(settings.BASE_DIR)]
    os.execv(sys.executable, [*server, *where])  # noqa: S606 our own interpreter
