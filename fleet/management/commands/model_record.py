"""The record of each model on the command line: fits, counts and intervals by component."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from fleet.management.options import PortalCommand, Problem, add_format, print_rows
from fleet.models import TrimmerModel
from fleet.record.words import COMPONENTS as WORDS
from fleet.record.words import name_key, normalise
from fleet.upkeep.fit_store import latest_fits
from fleet.upkeep.record_rows import COLUMNS, record_rows
from fleet.vocabulary import COMPONENTS


class Command(PortalCommand):
    help = "Prints what each model dies of and when to act: fits, counts and intervals by component."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--model", metavar="NAME")
        parser.add_argument("--component", metavar="KEY")
        add_format(parser)

    def handle(self, *args: Any, **options: Any) -> None:
        models = self._models(options["model"])
        component = self._component(options["component"])
        rows = record_rows(latest_fits(), [m.pk for m in models], component)
        print_rows(self.stdout.write, rows, COLUMNS, options["format"], "Nothing learned yet. Run a scan first.")

    def _models(self, name: str | None) -> list[TrimmerModel]:
        """The named models, by their own name or with their maker's; or all."""
        everyone = list(TrimmerModel.objects.order_by("maker", "name"))
        if name is None:
            return everyone
        wanted = name_key(name)
        found = [m for m in everyone if wanted in (name_key(m.name), name_key(str(m)))]
        if not found:
            known = ", ".join(str(m) for m in everyone[:10])
            raise Problem(f"There is no model {name!r}. Known: {known or 'none yet'}.")
        return found

    def _component(self, word: str | None) -> str | None:
        if word is None:
            return None
        found = WORDS.get(normalise(word))
        if found is None:
            raise Problem(f"There is no component {word!r}. Known: {', '.join(COMPONENTS)}.")
        return found
