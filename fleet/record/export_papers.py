"""What goes out with an export beside the files of the contract: recall notices done. No import reads it."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

from fleet.models import Contractor, NoticeDone
from fleet.models.tenancy import all_tenants
from fleet.record.exporting import shielded

NAME = "recalls_done"
HEADER = (
    "contractor", "unit", "maker", "model", "serial", "issued_on", "source", "done_on", "note", "said_by",
    "taken_back_on",
)  # fmt: skip


def notices_done_rows(contractors: Iterable[Contractor]) -> list[list[str]]:
    """A row for each notice done on a unit of these contractors, those taken back among them; one query."""
    with all_tenants():
        rows = NoticeDone.objects.filter(contractor__in=list(contractors)).select_related(
            "contractor", "trimmer__model", "notice", "author"
        )
        return [
            [
                shielded(row.contractor.name),
                shielded(row.trimmer.tag),
                shielded(row.trimmer.model.maker),
                shielded(row.trimmer.model.name),
                shielded(row.trimmer.serial),
                row.notice.issued_on.isoformat(),
                shielded(row.notice.source),
                row.occurred_on.isoformat(),
                shielded(row.note),
                shielded(str(row.author or "")),
                "" if row.taken_back_at is None else f"{row.taken_back_at:%Y-%m-%d}",
            ]
            for row in rows.order_by("contractor__name", "trimmer__tag_key", "pk")
        ]


def notices_done_csv(rows: Iterable[list[str]]) -> bytes:
    """The rows as a text file with a header."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(HEADER)
    writer.writerows(rows)
    return text.getvalue().encode()
