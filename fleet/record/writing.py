"""What every writer shares: who is writing, refusals in plain words, and adding a row with its units refreshed."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from django.db.models import F
from django.utils.translation import gettext as _

from fleet.models import ENTRY_KINDS, Contractor, Entry, Trimmer, User, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.content import free_number, key_of
from fleet.upkeep.companions import touched_units
from fleet.upkeep.refresh import refresh_units

E = TypeVar("E", bound=Entry)
KIND_OF: dict[type[Entry], str] = {model: kind for kind, model in ENTRY_KINDS.items()}


@dataclass(frozen=True)
class By:
    """Who writes: the person, from where, on whose word (crew or shop), and which press of the button it was."""

    author: User | None
    source: str = "screen"
    seen_as: str = "crew"
    client_entry_id: uuid.UUID | None = None

    def part(self, name: str) -> By:
        """The same press, for one of the several rows it records: repeated, it gives the same ids."""
        if self.client_entry_id is None:
            return self
        return By(self.author, self.source, self.seen_as, uuid.uuid5(self.client_entry_id, name))


class Refused(ValueError):
    """An entry that cannot stand, with what to do instead.

    ``field`` names what to look at; ``ask``: unlikely rather than wrong, and goes in when confirmed. ``more``: what
    else was wrong with the same save.
    """

    def __init__(self, message: str, field: str = "", ask: bool = False, unit: Trimmer | None = None) -> None:
        super().__init__(message)
        self.message, self.field, self.ask, self.unit = message, field, ask, unit
        self.more: list[Refused] = []


def check_date(unit: Trimmer, on: dt.date, today: dt.date) -> None:
    """Refuse dates in the future, before registration and after retirement."""
    if on > today:
        raise Refused(_("This date is still to come. Enter the day it happened."), "occurred_on", unit=unit)
    if on < unit.registered_on:
        raise Refused(
            _("%(unit)s was registered on %(date)s. Enter a day from then on.")
            % {"unit": unit.tag, "date": unit.registered_on.isoformat()},
            "occurred_on",
            unit=unit,
        )
    if unit.retired_on is not None and on > unit.retired_on:
        raise Refused(
            _("%(unit)s was retired on %(date)s. Enter an earlier day, or undo the retirement on its page.")
            % {"unit": unit.tag, "date": unit.retired_on.isoformat()},
            "occurred_on",
            unit=unit,
        )


def lock_units(ids: Iterable[int]) -> dict[int, Trimmer]:
    """The units' rows, locked until the transaction ends.

    Everyone locks in the same order, contractors first and then units by id, so that two writers never wait for each
    other: an entry may have to refresh its crew's other units as well.
    """
    ids = set(ids)
    contractors = Trimmer.objects.filter(pk__in=ids).values("contractor")
    list(Contractor.objects.select_for_update().filter(pk__in=contractors).order_by("pk").values_list("pk"))
    rows = Trimmer.objects.select_for_update().filter(pk__in=ids).order_by("pk")
    return {unit.pk: unit for unit in rows}


def recorded_by(model: type[E], by: By) -> E | None:
    """The row that a press of this id recorded, if there is one. An id stands once in the whole portal."""
    if by.client_entry_id is None:
        return None
    with all_tenants():
        return model.objects.filter(client_entry_id=by.client_entry_id).first()


def already_recorded(entry: E, by: By) -> E | None:
    """The row this very press already recorded, if it did; asked with the row's lock held.

    A form sent once more after something in it was changed (a browser's *back* brings it up with its old id) is no
    repeat: taken for one, the change would be lost while the screen says *saved*. It is refused, as is the repeat of
    what was withdrawn since.
    """
    before = recorded_by(type(entry), by)
    if before is None:
        return None
    kind = KIND_OF[type(entry)]
    said = (_owner_of(entry), by.author and by.author.pk, key_of(kind, entry))
    stands = not Withdrawal.objects.filter(kind=kind, entry_id=before.pk).exists()
    if not stands or said != (_owner_of(before), before.author_id, key_of(kind, before)):
        raise Refused(old_form())
    return before


def old_form() -> str:
    """Why a form that was saved before and says something else now is not taken."""
    return _(
        "This form was saved before and has been changed, or what it said was withdrawn since. "
        "Load the page again and enter it there."
    )


def _owner_of(entry: Entry) -> tuple[int, int | None]:
    owner = getattr(entry, "trimmer_id", None) or getattr(entry, "crew_id", None)
    return entry.contractor_id, owner


def append(entry: E, by: By, owner: dict[str, Any]) -> E:
    """Add one row. ``owner`` names what its content is unique for: the unit, or the crew."""
    model = type(entry)
    kind = KIND_OF[model]
    entry.author, entry.source, entry.client_entry_id = by.author, by.source, by.client_entry_id
    taken = set(model.objects.filter(occurred_on=entry.occurred_on, **owner).values_list("content_key", flat=True))
    entry.content_key = key_of(kind, entry, free_number(lambda n: key_of(kind, entry, n), taken))
    entry.save(force_insert=True)
    return entry


def refresh_touched(entries: Sequence[Entry], moved_by: str) -> None:
    """Move on the ledger version of every unit these entries touch, and bring its answers up to date."""
    ids = touched_units(entries)
    if ids:
        lock_units(ids)
        Trimmer.objects.filter(pk__in=ids).update(ledger_version=F("ledger_version") + 1)
        refresh_units(ids, moved_by)
