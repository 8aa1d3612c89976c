"""Withdrawing an entry: it stays to be seen, and answers no longer rest on it."""

from __future__ import annotations

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import ENTRY_KINDS, Assignment, Contractor, Entry, Retirement, Trimmer, UnitEntry, Withdrawal
from fleet.record.readings import clashes
from fleet.record.standing import standing_readings
from fleet.record.writing import By, Refused, lock_units, old_form, refresh_touched


def withdraw(*, kind: str, entry_id: int, why: str, by: By) -> Withdrawal:
    """Set an entry aside and say why; what was filled in from it is worked out anew.

    Refused where what is left would contradict itself, or where the unit's first crew or a tag in use stands on it.
    """
    why = why.strip()
    if not why or len(why) > 200:
        raise Refused(_("Say in a few words why it is withdrawn."), "why")
    model = ENTRY_KINDS[kind]
    with transaction.atomic():
        entry = model.objects.filter(pk=entry_id).first()
        if entry is None:
            raise Refused(_("This entry is not there any more. Load the page again."), "why")
        if isinstance(entry, UnitEntry):
            lock_units([entry.trimmer_id])
        else:
            Contractor.objects.select_for_update().get(pk=entry.contractor_id)
        already = Withdrawal.objects.filter(kind=kind, entry_id=entry_id).first()
        if already is not None:
            return already
        if by.client_entry_id and Withdrawal.objects.filter(client_entry_id=by.client_entry_id).exists():
            raise Refused(old_form())
        _refuse_if_needed(entry)
        row = Withdrawal.objects.create(
            contractor_id=entry.contractor_id,
            kind=kind,
            entry_id=entry_id,
            why=why,
            author=by.author,
            client_entry_id=by.client_entry_id,
        )
        if isinstance(entry, Retirement):
            Trimmer.objects.filter(pk=entry.trimmer_id).update(retired_on=None)
        _refuse_contradiction(entry)
        refresh_touched([entry], "withdrawal")
    return row


def _refuse_if_needed(entry: Entry) -> None:
    if isinstance(entry, Retirement):
        unit = entry.trimmer
        others = Trimmer.objects.filter(contractor=unit.contractor_id, tag_key=unit.tag_key, retired_on__isnull=True)
        if others.exclude(pk=unit.pk).exists():
            raise Refused(_("Another unit wears this tag now, so this one cannot come back under it."), "why")
    if isinstance(entry, Assignment):
        first = Assignment.objects.filter(trimmer=entry.trimmer_id).order_by("occurred_on", "pk").first()
        if first is not None and first.pk == entry.pk:
            raise Refused(_("This is the crew it was registered with. Move the unit instead."), "why")


def _refuse_contradiction(entry: Entry) -> None:
    """Without a meter's exchange, later readings may run backwards: then nothing changes."""
    if not isinstance(entry, UnitEntry):
        return
    unit = Trimmer.objects.get(pk=entry.trimmer_id)
    readings = [
        r.__class__(r.day, r.kind, r.hours, r.first, r.ref, r.first) for r in standing_readings([unit])[unit.pk]
    ]
    found = clashes(readings)
    if found:
        clash = found[0]
        raise Refused(
            _(
                "Without this entry the readings of %(unit)s contradict each other: %(a)s on %(a_day)s and %(b)s on "
                "%(b_day)s. Withdraw the later one first."
            )
            % {
                "unit": unit.tag,
                "a": clash.neighbor.hours,
                "a_day": clash.neighbor.day.isoformat(),
                "b": clash.reading.hours,
                "b_day": clash.reading.day.isoformat(),
            },
            "why",
        )
