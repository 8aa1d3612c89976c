"""What people pin to a unit beside its history: a note, and pictures made small and bare of where they were taken."""

from __future__ import annotations

import io
import warnings
from typing import BinaryIO

from django.core.files.base import ContentFile
from django.utils.translation import gettext as _
from PIL import Image, ImageOps

from fleet.models import Trimmer, UnitPhoto, User
from fleet.record.writing import Refused

LONGEST_NOTE = 2_000
MOST_BYTES = 10 * 1024 * 1024
MOST_PIXELS = 60_000_000
# A JPEG is read at a fraction of its size; the others must be held whole, several times over.
MOST_PIXELS_WHOLE = 20_000_000
LONGEST_SIDE = 1_600
MOST_PHOTOS = 24
FORMATS = ("JPEG", "PNG", "WEBP")


def set_note(*, unit: Trimmer, note: str) -> None:
    """Replace the note on a unit."""
    note = note.strip()
    if len(note) > LONGEST_NOTE:
        raise Refused(_("Say it in 2,000 letters or fewer."), "note", unit=unit)
    Trimmer.objects.filter(pk=unit.pk).update(note=note)


def add_photo(*, unit: Trimmer, upload: BinaryIO, size: int, caption: str, author: User) -> UnitPhoto:
    """Keep a picture: redrawn as a JPEG, so that nothing but the picture itself is kept of the file sent."""
    if UnitPhoto.objects.filter(trimmer=unit).count() >= MOST_PHOTOS:
        raise Refused(_("There are 24 pictures already. Remove one first."), "picture", unit=unit)
    data = drawn_small(upload, size)
    photo = UnitPhoto(contractor_id=unit.contractor_id, trimmer=unit, caption=caption.strip()[:120], added_by=author)
    photo.picture.save("picture.jpg", ContentFile(data), save=True)
    return photo


def remove_photo(*, photo: UnitPhoto) -> None:
    """Take a picture away, file and all: it may show a person who does not want it kept."""
    photo.picture.delete(save=False)
    photo.delete()


def drawn_small(upload: BinaryIO, size: int, longest: int = LONGEST_SIDE) -> bytes:
    """The picture redrawn, unless its file is too large to be read."""
    if size > MOST_BYTES:
        raise Refused(_("This picture is larger than 10 MB. Send a smaller one."), "picture")
    return redraw(upload, longest)


def redraw(upload: BinaryIO, longest: int = LONGEST_SIDE) -> bytes:
    """The picture alone as a JPEG of bounded size: no profile, no place, no camera goes along.

    ``longest``: its longer side in pixels at most.
    """
    unreadable = Refused(_("This file is no JPEG, PNG or WebP picture that can be read."), "picture")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(upload, formats=FORMATS) as picture:
                most = MOST_PIXELS_WHOLE if picture.format in ("PNG", "WEBP") else MOST_PIXELS
                if picture.width * picture.height > most:
                    raise unreadable
                # A JPEG can be read at a fraction of its size; the rest of the work then costs little memory.
                picture.draft("RGB", (longest, longest))
                upright = ImageOps.exif_transpose(picture).convert("RGB")
                upright.thumbnail((longest, longest))
                # Onto a fresh canvas: no profile, no place, no camera goes along.
                bare = Image.new("RGB", upright.size)
                bare.paste(upright)
    except Refused:
        raise
    except Exception as error:
        # A damaged picture, above all one with damaged notes of its camera, ends in errors of almost any type.
        raise unreadable from error
    out = io.BytesIO()
    bare.save(out, "JPEG", quality=82, optimize=True)
    return out.getvalue()
