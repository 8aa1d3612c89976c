"""A fleet taken in through files, scanned on several days, and written out again: once for all tests here."""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.db import transaction

from fleet.models import Contractor
from fleet.simulation.files import write_files
from fleet.simulation.fleet import simulate
from fleet.simulation.scenario import demo_parameters
from tests.recomputed.choices import Judge
from tests.recomputed.components import COMPONENTS
from tests.recomputed.messy import add_messy
from tests.recomputed.reading import read
from tests.recomputed.record import fleet_of

LAST = dt.date(2025, 7, 15)
# In full season, deep in winter, at the spring flush.
DAYS = (dt.date(2025, 1, 20), dt.date(2025, 4, 24), LAST)


@dataclass(frozen=True)
class Exported:
    """What the portal wrote out, and a way to ask its commands."""

    folder: Path
    ask: Callable[..., list[dict[str, Any]]]


@pytest.fixture(scope="package")
def exported(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: Any
) -> Iterator[Exported]:
    """Forty simulated units of three contractors and an untidy fourth; nothing stays in the database afterwards."""
    came, went = tmp_path_factory.mktemp("in"), tmp_path_factory.mktemp("out")
    write_files(simulate(demo_parameters(LAST).with_units(40), 1).files, came)
    add_messy(came)

    def ask(*command: str) -> list[dict[str, Any]]:
        said = io.StringIO()
        call_command(*command, "--format", "json", stdout=said)
        rows: list[dict[str, Any]] = json.loads(said.getvalue())
        return rows

    with django_db_blocker.unblock(), transaction.atomic():
        assert not Contractor.objects.exists(), "this is no empty test database"
        said = io.StringIO()
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("sys.exit", lambda code: pytest.fail(said.getvalue()))
            call_command("import_fleet", str(came), stdout=said)
        for on in DAYS:
            call_command("scan", "--as-of", on.isoformat(), stdout=io.StringIO())
        call_command("export_fleet", str(went), stdout=io.StringIO())
        yield Exported(went, ask)
        transaction.set_rollback(True)


@pytest.fixture(scope="package")
def judge(exported: Exported) -> Judge:
    """What the record of the last day says of fits and intervals, each worked out once."""
    parties = read(exported.folder, LAST)
    return Judge(parties, fleet_of(parties, COMPONENTS))
