"""Pictures of a unit's purchase papers: kept bounded and redrawn like other pictures, and large enough to be read."""

from __future__ import annotations

from typing import BinaryIO

from django.core.files.base import ContentFile
from django.utils.translation import gettext as _

from fleet.models import PurchasePaper, Trimmer, User
from fleet.record.unit_notes import drawn_small
from fleet.record.writing import Refused

# A sheet of paper at some 200 dots an inch: small print is still read.
LONGEST_PAPER = 2_200
MOST_PAPERS = 6


def add_purchase_paper(*, unit: Trimmer, upload: BinaryIO, size: int, caption: str, author: User) -> PurchasePaper:
    """Keep a photograph or scan of what proves the purchase."""
    if PurchasePaper.objects.filter(trimmer=unit).count() >= MOST_PAPERS:
        raise Refused(_("There are 6 purchase papers of this unit already. Remove one first."), "picture", unit=unit)
    data = drawn_small(upload, size, LONGEST_PAPER)
    paper = PurchasePaper(
        contractor_id=unit.contractor_id, trimmer=unit, caption=caption.strip()[:120], added_by=author
    )
    paper.picture.save("paper.jpg", ContentFile(data), save=True)
    return paper


def remove_purchase_paper(*, paper: PurchasePaper) -> None:
    """Take a paper away, file and all: it may be another unit's, or show what is nobody's business."""
    paper.picture.delete(save=False)
    paper.delete()
