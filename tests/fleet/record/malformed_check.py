"""What must hold for every damaged fleet: nothing raises, nothing lands half, every spoiled row is named."""

from __future__ import annotations

import json
import traceback
from collections import Counter
from dataclasses import dataclass, field

from django.db import transaction

from fleet.models import (
    Assignment,
    Contractor,
    CrewHours,
    Failure,
    GuardCheck,
    HoursEntry,
    Service,
    Trimmer,
)
from fleet.models.tenancy import all_tenants
from fleet.record.import_commit import commit_plan
from fleet.record.importing import import_files, plan_import

from .malformed import TODAY, Case, good_fleet, make_case, tally


@dataclass
class Outcome:
    """What came of many cases."""

    cases: int = 0
    whole: int = 0
    something: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    bad_rows: int = 0
    failures: list[str] = field(default_factory=list)

    def table(self) -> str:
        share = 100 / max(1, self.cases)
        return "\n".join(
            [
                f"imports {self.cases}, landed whole {self.whole} ({self.whole * share:.1f} %), landed some files "
                f"{self.something} ({self.something * share:.1f} %), bad cells named {self.bad_rows}",
                "kinds of damage, with their number:",
                tally(self.kinds),
                f"failures: {len(self.failures)}",
                *self.failures[:20],
            ]
        )


def run_cases(first: int, count: int) -> Outcome:
    """Import the cases one by one, each into a portal that is as it was before."""
    outcome = Outcome()
    with all_tenants():
        for number in range(first, first + count):
            with transaction.atomic():
                _run(make_case(number), outcome)
                transaction.set_rollback(True)
    return outcome


def _run(case: Case, outcome: Outcome) -> None:
    outcome.cases += 1
    outcome.kinds.update(case.kinds or ("none",))
    try:
        faults = _check(case, outcome)
    except Exception:
        faults = [traceback.format_exc(limit=-4)]
    outcome.failures += [f"case {case.number} {', '.join(case.kinds)}: {fault}" for fault in faults]


def _counts() -> dict[str, int]:
    return {
        "contractors": Contractor.objects.count(),
        "units": Trimmer.objects.count(),
        "moves": Assignment.objects.count(),
        "hours": HoursEntry.objects.count() + CrewHours.objects.count(),
        "guard": GuardCheck.objects.count(),
        "services": Service.objects.count(),
        "failures": Failure.objects.count(),
    }


def _check(case: Case, outcome: Outcome) -> list[str]:
    name = "Quarry Hill Grounds"
    if case.number % 4 == 3:
        # Every fourth meets a portal that already has a fleet, with tags that may be the same.
        import random

        there = good_fleet(random.Random(case.number // 8))
        files = {f"{file.name}.csv": file.render(random.Random(0))[1] for file in there.values()}
        commit_plan(plan_import(files, contractor=name, today=TODAY), author=None)
    before = _counts()
    # Every tenth goes the whole way, answers refreshed; the rest stops at the ledger.
    if case.number % 10 == 0:
        report = import_files(case.files, contractor=name, today=TODAY)
    else:
        report = plan_import(case.files, contractor=name, today=TODAY)
        commit_plan(report, author=None)
    told = json.loads(json.dumps(report.as_dict()))
    gained = {kind: count - before[kind] for kind, count in _counts().items()}
    outcome.bad_rows += len(report.bad)
    outcome.whole += not report.bad
    outcome.something += any(told["added"].values())
    return [*_lands_whole_or_not(case, report, gained), *_names_what_is_wrong(case, report)]


def _lands_whole_or_not(case: Case, report, gained: dict[str, int]) -> list[str]:
    faults = []
    for plan in report.files:
        kind, file = plan.table.kind.name, plan.table.file
        refused = bool(plan.table.bad)
        added = report.added[file]
        if refused and added:
            faults.append(f"{file} is refused and yet says {added} added")
        if kind in ("hours", "guard", "services", "failures") and gained[kind] != added:
            faults.append(f"{file}: {added} told, {gained[kind]} there")
        if kind in ("units", "moves") and refused and kind == "units" and gained["units"]:
            faults.append(f"{file} is refused and yet {gained['units']} units are there")
        if not refused and plan.added + plan.repeated != len(plan.table.rows):
            faults.append(f"{file}: {len(plan.table.rows)} rows, {plan.added} added, {plan.repeated} repeated")
    for bad in report.bad:
        if not bad.reason or bad.line < 1 or bad.file not in case.files:
            faults.append(f"{bad} says too little")
    return faults


def _names_what_is_wrong(case: Case, report) -> list[str]:
    faults = []
    if case.must_land and case.number % 4 != 3 and report.bad:
        faults.append(f"harmless mess was refused: {report.bad[0]}")
    named: dict[str, set[int]] = {}
    for bad in report.bad:
        named.setdefault(bad.file, set()).add(bad.line)
    lands = {plan.table.file: not plan.table.bad for plan in report.files}
    for file in case.fleet.values():
        name = f"{file.name}.{'xlsx' if file.xlsx else 'csv'}"
        if file.refused and not file.open and lands[name]:
            faults.append(f"{name} should have been refused")
        missed = set(case.wrong[name]) - named.get(name, set())
        # Behind a contractors or units file with bad rows, rows are reported once a file.
        waits = any(not lands[f"{k}.{'xlsx' if case.fleet[k].xlsx else 'csv'}"] for k in ("contractors", "units"))
        if missed and not file.open and not (waits and name in named) and 1 not in named.get(name, set()):
            faults.append(f"{name}: lines {sorted(missed)} are wrong and not named")
    return faults
