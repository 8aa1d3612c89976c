"""Export: the ledger as the files of the contract, so that importing them elsewhere gives the same fleet.

Only what was recorded is written: no interpolated hours, nothing derived, no withdrawn entries. Order and spelling
depend on content alone, never on keys of this database, so that exporting what was imported gives the same bytes.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
from collections.abc import Callable, Iterable, Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from fleet.models import (
    ENTRY_KINDS,
    Contractor,
    Crew,
    Retirement,
    Shop,
    Trimmer,
    TrimmerModel,
)
from fleet.models.tenancy import all_tenants
from fleet.upkeep.intervals import shops_of
from fleet.vocabulary import TASKS, WARRANTY_GROUPS

from .columns import FILES, SETTINGS, TERMS
from .content import RECORDED, content_key
from .import_models import StandingTerms
from .import_world import Party
from .standing import standing
from .tables import FileKind
from .words import name_key, working_days_text

# What makes a spreadsheet take a text for a formula; an apostrophe in front keeps it a text.
_FORMULA = re.compile(r"^'*[=+\-@\t\r]")
_MOST_ALIKE = 200

Cells = dict[str, Any]


def export_files(contractors: Iterable[Contractor], *, xlsx: bool = False) -> Iterator[tuple[str, bytes, int]]:
    """(file name, content, rows) of each of the contract's files, for these contractors."""
    with all_tenants():
        chosen = sorted(contractors, key=lambda c: (name_key(c.name), c.name))
        fleets = [_Fleet(contractor) for contractor in chosen]
        for kind in FILES.values():
            rows = [row for fleet in fleets for row in _ROWS[kind.name](fleet)]
            header = _header(kind, rows, len(chosen) > 1)
            if xlsx:
                yield f"{kind.name}.xlsx", _workbook(kind.name, header, rows), len(rows)
            else:
                yield f"{kind.name}.csv", _csv(header, rows), len(rows)


def write_files(folder: Path, contractors: Iterable[Contractor], *, xlsx: bool = False) -> dict[str, int]:
    """Write the files into a folder, which is made if need be; returns the number of rows in each."""
    folder.mkdir(parents=True, exist_ok=True)
    written = {}
    for name, content, rows in export_files(contractors, xlsx=xlsx):
        (folder / name).write_bytes(content)
        written[name] = rows
    return written


def shielded(text: str) -> str:
    """A text that no spreadsheet takes for a formula; import takes the apostrophe off again."""
    return f"'{text}" if _FORMULA.match(text) else text


def _header(kind: FileKind[Any], rows: list[Cells], several: bool) -> list[str]:
    """Column names: rare ones only where some row fills them, the contractor's only where there are several."""
    names = []
    for column in kind.columns:
        if column.rare and all(row.get(column.name) in (None, "") for row in rows):
            continue
        if column.name == "contractor" and not several and kind.name not in ("contractors", "units"):
            continue
        names.append(column.name)
    return names


def _csv(header: list[str], rows: list[Cells]) -> bytes:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_text(row.get(name)) for name in header] for row in rows)
    return text.getvalue().encode()


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return shielded(value)
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return format(value.normalize() + 0, "f")
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(value)


def _workbook(title: str, header: list[str], rows: list[Cells]) -> bytes:
    from openpyxl import Workbook  # slow to load, and most exports are text
    from openpyxl.cell import WriteOnlyCell

    book = Workbook(write_only=True)
    sheet = book.create_sheet(title)
    sheet.freeze_panes = "A2"
    sheet.append(header)
    for row in rows:
        cells: list[Any] = []
        for name in header:
            value = row.get(name)
            if isinstance(value, Decimal):
                value = int(value) if value == value.to_integral_value() else float(value)
            elif isinstance(value, str | bool):
                cell = WriteOnlyCell(sheet, value=_text(value))
                cell.data_type = "s"
                value = cell
            cells.append(value)
        sheet.append(cells)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


class _Fleet:
    """One contractor's units and crews, loaded once for all its files."""

    def __init__(self, contractor: Contractor) -> None:
        self.contractor = contractor
        self.shop = Shop.objects.filter(pk__in=shops_of([contractor.pk]).values()).first()
        self.crews = {c.pk: c for c in Crew.objects.filter(contractor=contractor)}
        units = Trimmer.objects.filter(contractor=contractor).select_related("model")
        self.units = sorted(units, key=lambda u: (u.tag_key, u.registered_on, u.pk))
        self.place = {unit.pk: place for place, unit in enumerate(self.units)}
        retirements = standing(Retirement.objects.filter(contractor=contractor), "retirement")
        self.retired_why = dict(retirements.order_by("pk").values_list("trimmer_id", "why"))
        self._moves: list[tuple[Any, int]] | None = None

    def entries(self, kind: str) -> list[tuple[Any, int]]:
        """Standing entries of units with their numbers, in order of unit, day and recording."""
        rows: Any = standing(ENTRY_KINDS[kind].objects.filter(contractor=self.contractor), kind)
        if kind == "move":
            rows = rows.select_related("crew")
        found = sorted(rows.iterator(chunk_size=5000), key=lambda e: (self.place[e.trimmer_id], e.occurred_on, e.pk))
        return _numbered(kind, found)

    def moves(self) -> list[tuple[Any, int]]:
        if self._moves is None:
            self._moves = self.entries("move")
        return self._moves

    def first_crews(self) -> dict[int, tuple[int, str]]:
        """Each unit's crew on the day of its registration, with the move that says so: the units file carries it."""
        first: dict[int, tuple[int, str]] = {}
        for move, number in self.moves():
            unit = self.units[self.place[move.trimmer_id]]
            if move.occurred_on == unit.registered_on and move.trimmer_id not in first:
                # A day that began with no crew keeps all its moves in the moves file.
                first[move.trimmer_id] = (move.pk, move.crew.name) if move.crew and number == 1 else (0, "")
        return first


def _numbered(kind: str, entries: Iterable[Any]) -> list[tuple[Any, int]]:
    """Each entry with the number that its content key holds."""
    numbered = []
    for entry in entries:
        values = {name: getattr(entry, name) for name in RECORDED[kind]}
        number = next((n for n in range(1, _MOST_ALIKE) if content_key(kind, values, n) == entry.content_key), 1)
        numbered.append((entry, number))
    return numbered


def _contractor_rows(fleet: _Fleet) -> Iterator[Cells]:
    contractor = fleet.contractor
    row: Cells = {"contractor": contractor.name, "shop": fleet.shop.name if fleet.shop else ""}
    for column in SETTINGS:
        row[column.name] = getattr(contractor, column.name)
    row["working_days"] = working_days_text(day for day, worked in enumerate(contractor.working_days) if worked == "1")
    yield row


def _model_rows(fleet: _Fleet) -> Iterator[Cells]:
    party = Party(fleet.contractor, dt.date.min, fleet.shop)
    everyone = {m.pk: m for m in TrimmerModel.objects.order_by("pk")}
    terms = StandingTerms([party], everyone.values())
    wanted = {unit.model_id for unit in fleet.units} | terms.models_with_own_terms(party)
    for model in sorted((everyone[pk] for pk in wanted), key=lambda m: m.key):
        row: Cells = {"contractor": fleet.contractor.name, "maker": model.maker, "model": model.name}
        for column in TERMS:
            row[column.name] = terms.term(party, model, column.name)
        groups = terms.term(party, model, "warranty_by_group") or {}
        row |= {f"warranty_months_{group}": groups.get(group) for group in WARRANTY_GROUPS}
        for task in TASKS:
            for measure in ("hours", "months"):
                given, figure, source = terms.interval(party, model, task, measure)
                if given:
                    row[f"{task}_{measure}"] = "none" if figure is None else figure
                    if source == "practice":
                        row[f"{task}_source"] = source
        yield row


def _unit_rows(fleet: _Fleet) -> Iterator[Cells]:
    crews = fleet.first_crews()
    for unit in fleet.units:
        yield {
            "unit": unit.tag,
            "contractor": fleet.contractor.name,
            "crew": crews.get(unit.pk, (0, ""))[1],
            "maker": unit.model.maker,
            "model": unit.model.name,
            "serial": unit.serial,
            "bought_on": unit.bought_on,
            "price": unit.price,
            "registered_on": unit.registered_on,
            "hours_at_registration": unit.hours_at_registration,
            "guard": unit.guard_at_registration,
            "retired_on": unit.retired_on,
            "retired_why": fleet.retired_why.get(unit.pk, "") if unit.retired_on else "",
        }


def _move_rows(fleet: _Fleet) -> Iterator[Cells]:
    in_units_file = {pk for pk, _name in fleet.first_crews().values()}
    for move, number in fleet.moves():
        if move.pk not in in_units_file:
            row = _unit_cells(fleet, move, number)
            row["crew"] = move.crew.name if move.crew else "none"
            yield row


def _unit_cells(fleet: _Fleet, entry: Any, number: int) -> Cells:
    return {
        "unit": fleet.units[fleet.place[entry.trimmer_id]].tag,
        "contractor": fleet.contractor.name,
        "date": entry.occurred_on,
        "entry": number if number > 1 else None,
    }


def _hours_rows(fleet: _Fleet) -> Iterator[Cells]:
    for entry, number in fleet.entries("hours"):
        row = _unit_cells(fleet, entry, number)
        row |= {name: getattr(entry, name) for name in ("meter_hours", "hours_run", "litres")}
        row["meter_replaced"] = True if entry.meter_replaced else None
        yield row
    weeks: Any = standing(ENTRY_KINDS["crew_hours"].objects.filter(contractor=fleet.contractor), "crew_hours")
    ordered = sorted(weeks, key=lambda e: (fleet.crews[e.crew_id].name_key, e.week_of, e.pk))
    for entry, number in _numbered("crew_hours", ordered):
        yield {
            "contractor": fleet.contractor.name,
            "crew": fleet.crews[entry.crew_id].name,
            "week_of": entry.week_of,
            "crew_hours": entry.crew_hours,
            "crew_litres": entry.crew_litres,
            "trimmer_share": entry.trimmer_share,
            "entry": number if number > 1 else None,
        }


def _plain_rows(kind: str) -> Callable[[_Fleet], Iterator[Cells]]:
    """Files whose columns are the entry's fields."""

    def rows(fleet: _Fleet) -> Iterator[Cells]:
        for entry, number in fleet.entries(kind):
            row = _unit_cells(fleet, entry, number)
            for name in RECORDED[kind]:
                if name != "occurred_on":
                    row[name] = getattr(entry, name)
            yield row

    return rows


_ROWS: dict[str, Callable[[_Fleet], Iterator[Cells]]] = {
    "contractors": _contractor_rows,
    "models": _model_rows,
    "units": _unit_rows,
    "moves": _move_rows,
    "hours": _hours_rows,
    "guard": _plain_rows("guard"),
    "services": _plain_rows("service"),
    "failures": _plain_rows("failure"),
}
