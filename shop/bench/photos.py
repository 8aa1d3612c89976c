"""Pictures taken at the counter and the bench: redrawn and bounded like those of units."""

from __future__ import annotations

from typing import BinaryIO

from django.core.files.base import ContentFile
from django.utils.translation import gettext as _

from fleet.models import User
from fleet.record.unit_notes import MOST_BYTES, redraw
from fleet.record.writing import Refused
from shop.models import BenchPhoto, DropOffLine

MOST_PHOTOS = 12


def add_bench_photo(*, line: DropOffLine, upload: BinaryIO, size: int, caption: str, author: User) -> BenchPhoto:
    """Keep a picture of what came in, or of what was found."""
    if size > MOST_BYTES:
        raise Refused(_("This picture is larger than 10 MB. Send a smaller one."), "picture")
    if BenchPhoto.objects.known().filter(line=line).count() >= MOST_PHOTOS:
        raise Refused(_("There are 12 pictures of this visit already."), "picture")
    data = redraw(upload)
    photo = BenchPhoto(
        contractor_id=line.contractor_id, shop_id=line.shop_id, line=line, caption=caption.strip(), added_by=author
    )
    photo.picture.save("picture.jpg", ContentFile(data), save=True)
    return photo
