"""What an import would do, file by file, before anything is written."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fleet.models import Crew, Shop, TrimmerModel

from .import_world import Party, Unit
from .tables import BadCell, Table


@dataclass(slots=True)
class ContractorChange:
    """A contractor to create, or settings and a shop to give it."""

    party: Party
    settings: Mapping[str, Any]
    shop: Shop | None


@dataclass(slots=True)
class IntervalChange:
    """What an interval's figures become, by measure; None is *none*: no limit of that kind."""

    source: str
    figures: dict[str, Any] = field(default_factory=dict)


@dataclass(slots=True)
class ModelChange:
    """What one contractor's terms and intervals of a model become."""

    party: Party
    model: TrimmerModel
    terms: dict[str, Any]
    intervals: dict[str, IntervalChange]


@dataclass(slots=True)
class UnitChange:
    """A unit to register, or blanks of a registered one to fill (``fields``)."""

    unit: Unit
    fields: dict[str, Any]


@dataclass(slots=True)
class PlannedEntry:
    """One ledger row to be: its owner (a unit, or a crew for its week), what it records, and its content key."""

    kind: str
    row: Any
    party: Party
    unit: Unit | None
    crew: Crew | None
    values: dict[str, Any]
    key: int


Change = ContractorChange | ModelChange | UnitChange


@dataclass
class FilePlan:
    """One file's part of the plan: it lands whole, or, with any bad row, not at all."""

    table: Table[Any]
    added: int = 0
    repeated: int = 0
    changes: list[Change] = field(default_factory=list)
    entries: list[PlannedEntry] = field(default_factory=list)
    _once: dict[tuple[str, str], tuple[Any, int]] = field(default_factory=dict)

    @property
    def lands(self) -> bool:
        return not self.table.bad

    def refuse_once(self, row: Any, column: str, reason: str) -> None:
        """Note a reason that holds for many rows alike; it is reported once, with the first row and their number."""
        first, count = self._once.get((column, reason), (row, 0))
        self._once[column, reason] = (first, count + 1)

    def report_once(self) -> None:
        for (column, reason), (row, count) in self._once.items():
            self.table.refuse(row, column, reason.format(count=count))
        self._once.clear()


@dataclass
class ImportPlan:
    """The whole plan; after the commit, the report of what was done."""

    files: list[FilePlan]
    parties: dict[str, Party]

    @property
    def bad(self) -> list[BadCell]:
        return [bad for plan in self.files for bad in sorted(plan.table.bad, key=lambda b: (b.line, b.column))]

    @property
    def added(self) -> dict[str, int]:
        """Rows that are added, by file; none of a file with bad rows."""
        return {plan.table.file: plan.added if plan.lands else 0 for plan in self.files}

    @property
    def repeated(self) -> dict[str, int]:
        return {plan.table.file: plan.repeated for plan in self.files}

    @property
    def ignored_columns(self) -> dict[str, list[str]]:
        return {plan.table.file: plan.table.ignored for plan in self.files}

    def as_dict(self) -> dict[str, Any]:
        """The report in the contract's form."""
        return {
            "added": self.added,
            "repeated": self.repeated,
            "bad": [bad.as_dict() for bad in self.bad],
            "ignored_columns": self.ignored_columns,
        }
