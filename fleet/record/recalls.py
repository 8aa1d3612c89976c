"""Recall notices: put up and taken down; the text stays as it was published."""

from __future__ import annotations

import datetime as dt

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import CatalogChange, RecallNotice, TrimmerModel, User
from fleet.record.writing import Refused
from fleet.upkeep.recalls import BadSerials, parse_serials


def add_notice(
    *, model: TrimmerModel, serials: str, text: str, source: str, issued_on: dt.date, by: User, today: dt.date
) -> RecallNotice:
    """Put up a notice; the same one handed in twice stands once."""
    try:
        parse_serials(serials)
    except BadSerials as error:
        raise Refused(error.message, "serials") from error
    if issued_on > today:
        raise Refused(_("This date is still to come. Enter the day the notice was issued."), "issued_on")
    serials = "\n".join(line.strip() for line in serials.splitlines() if line.strip())
    with transaction.atomic():
        notice, new = RecallNotice.objects.get_or_create(
            model=model, serials=serials, text=text.strip(), source=source.strip(), issued_on=issued_on, ended_on=None
        )
        if new:
            after = {"notice": notice.pk, "issued_on": issued_on.isoformat(), "source": notice.source}
            CatalogChange.objects.create(model=model, what="recall", after=after, author=by)
    return notice


def end_notice(*, notice: RecallNotice, on: dt.date, by: User) -> None:
    """Take a notice down; it stays to be seen among those that have ended."""
    with transaction.atomic():
        changed = RecallNotice.objects.filter(pk=notice.pk, ended_on__isnull=True).update(ended_on=on)
        if changed:
            after = {"notice": notice.pk, "ended_on": on.isoformat()}
            CatalogChange.objects.create(model=notice.model, what="recall", after=after, author=by)
