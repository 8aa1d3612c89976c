"""The portal's first administrator, who then creates shops and contractors and invites everybody else."""

from __future__ import annotations

import getpass
import sys
from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import NOTHING_DONE, PortalCommand, Problem
from fleet.models import User
from fleet.record.people import add_administrator
from fleet.record.writing import Refused


class Command(PortalCommand):
    help = "Makes an account that runs the portal; asks for its password, or reads it from standard input."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("name", metavar="NAME", help="the name to sign in with")

    def handle(self, *args: Any, **options: Any) -> None:
        name = options["name"].strip()
        known = User.objects.filter(username__iexact=name).exists()
        try:
            added = add_administrator(username=name, password="" if known else _password())
        except Refused as refusal:
            raise Problem(str(refusal)) from refusal
        if not added:
            self.stdout.write(f"{name} is an administrator already.")
            sys.exit(NOTHING_DONE)
        self.stdout.write(f"{name} is an administrator now, and signs in at /account/login/.")


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\r\n")
    password = getpass.getpass("Password: ")
    if password != getpass.getpass("The same again: "):
        raise Problem("The two passwords differ. Nothing was done.")
    return password
