"""Taking back what was just saved: each entry is withdrawn, so that what happened can still be seen."""

from __future__ import annotations

from collections.abc import Sequence

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import ENTRY_KINDS, Postponement
from fleet.record.corrections import withdraw
from fleet.record.postponing import resume
from fleet.record.writing import By

# An act that is no entry of the ledger, but can be taken back all the same.
PUT_OFF = "postponement"


def take_back(*, entries: Sequence[tuple[str, int]], by: By) -> int:
    """Withdraw entries, the last one first; returns how many. Raises ``Refused`` where one is needed by another."""
    # What was saved together is taken back together or not at all.
    with transaction.atomic():
        for kind, entry_id in reversed(entries):
            if kind == PUT_OFF:
                rows = Postponement.objects.select_related("trimmer")
                said = rows.filter(pk=entry_id, ended_at__isnull=True).first()
                if said is not None:
                    resume(unit=said.trimmer, task=said.task)
            else:
                why = _("Taken back just after saving")
                withdraw(kind=kind, entry_id=entry_id, why=why, by=By(by.author, by.source))
    return len(entries)


def author_of(kind: str, entry_id: int) -> tuple[int | None, int] | None:
    """(author, contractor) of an entry in sight, or None."""
    model = Postponement if kind == PUT_OFF else ENTRY_KINDS.get(kind)
    if model is None:
        return None
    return model._default_manager.filter(pk=entry_id).values_list("author_id", "contractor_id").first()
