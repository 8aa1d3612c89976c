"""A scan in a process of its own, over a database file: ``python -m tests.fleet.upkeep.scan_apart PROCESSES [WHERE]``.

Prints what stands afterwards. With ``WHERE``, the first process beside this one that gets there is killed there.
"""

from __future__ import annotations

import hashlib
import importlib
import multiprocessing
import os
import signal
import sys
from typing import Any

MOMENTS = ("created_at", "taken_at", "updated_at")


def killed_at(where: str) -> None:
    """Have a process that comes to this function end there, at once; this one never does."""
    module, name = where.rsplit(".", 1)
    place = importlib.import_module(module)
    real = getattr(place, name)

    def killed(*args: Any, **kwargs: Any) -> Any:
        if multiprocessing.current_process().daemon:
            os.kill(os.getpid(), signal.SIGKILL)
        return real(*args, **kwargs)

    setattr(place, name, killed)


def what_stands() -> list[str]:
    """Every result by table, in few letters."""
    from fleet.models import DueFlag, FleetSample, LearnedInterval, ModelFit, Snapshot, UnitState

    tables = {
        DueFlag: ("trimmer", "task"), UnitState: ("trimmer",), ModelFit: ("model", "component"),
        LearnedInterval: ("model", "task", "setting"), FleetSample: ("contractor",),
        Snapshot: ("contractor", "version"),
    }  # fmt: skip
    said = []
    for model, order in tables.items():
        names = [
            f.attname for f in model._meta.fields if f.name not in ("id", "snapshot") and not hasattr(f, "auto_now")
        ]
        rows = [repr(row) for row in model._default_manager.order_by(*order).values_list(*names)]
        said.append(f"{model.__name__} {len(rows)} {hashlib.sha256(repr(rows).encode()).hexdigest()[:16]}")
    return said


def main(processes: int, where: str | None) -> None:
    import django

    django.setup()
    from fleet.models import Contractor
    from fleet.models.tenancy import all_tenants
    from fleet.upkeep import scan as scanning
    from tests.fleet.upkeep.worn_fleet import TODAY

    # Every contractor in a group of its own.
    scanning.SHARD = 1
    if where:
        killed_at(where)
    with all_tenants():
        scanning.scan(list(Contractor.objects.order_by("pk")), as_of=TODAY, today=TODAY, processes=processes)
        print("\n".join(what_stands()))


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2] if len(sys.argv) > 2 else None)
