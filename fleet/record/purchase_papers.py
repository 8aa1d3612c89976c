"""Pictures of a unit's purchase papers: kept bounded and redrawn like other pictures, and large enough to be read."""

from __future__ import annotations

from collections.abc import Sequence
from typing import BinaryIO

from django.core.files.base import ContentFile
from django.db.models import Count
from django.utils.translation import gettext as _

from fleet.models import PurchasePaper, Trimmer, User
from fleet.record.unit_notes import drawn_small
from fleet.record.writing import Refused

# A sheet of paper at some 200 dots an inch: small print is still read.
LONGEST_PAPER = 2_200
MOST_PAPERS = 6
# A receipt is of what was bought at once.
MOST_UNITS = 40


def add_purchase_paper(
    *, units: Sequence[Trimmer], upload: BinaryIO, size: int, caption: str, author: User
) -> list[PurchasePaper]:
    """Keep a photograph or scan of what proves the purchase, with each of these units of one contractor."""
    if len(units) > MOST_UNITS:
        raise Refused(_("One paper is kept with 40 units at most. Leave some out."), "others")
    counts = dict(
        PurchasePaper.objects.filter(trimmer__in=units).values_list("trimmer").annotate(n=Count("pk")).order_by()
    )
    full = [unit.tag for unit in units if counts.get(unit.pk, 0) >= MOST_PAPERS]
    if full:
        words = _("There are 6 purchase papers of %(tags)s already. Remove one first.")
        raise Refused(words % {"tags": ", ".join(full)}, "picture")
    data = drawn_small(upload, size, LONGEST_PAPER)
    kept = []
    for unit in units:
        paper = PurchasePaper(
            contractor_id=unit.contractor_id, trimmer=unit, caption=caption.strip()[:120], added_by=author
        )
        # A file of its own, so that each unit's can be taken away alone.
        paper.picture.save("paper.jpg", ContentFile(data), save=True)
        kept.append(paper)
    return kept


def remove_purchase_paper(*, paper: PurchasePaper) -> None:
    """Take a paper away, file and all: it may be another unit's, or show what is nobody's business."""
    paper.picture.delete(save=False)
    paper.delete()
