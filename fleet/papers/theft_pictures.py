"""Pictures of stolen units, small enough for a paper that is mailed."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from PIL import Image

from fleet.models import UnitPhoto
from fleet.upkeep.theft import TheftUnit

# The longer side in pixels: a serial plate is still read when it fills a third of the sheet's width.
LONGEST = 1100
# A mailbox takes so many; the rest stay on the units' pages, and the paper says so.
MOST_PICTURES = 24


@dataclass(frozen=True)
class PaperPicture:
    """One picture by the name its paper uses, of which unit, and its words."""

    name: str
    tag: str
    caption: str


def pictures_of(units: Sequence[TheftUnit]) -> tuple[list[PaperPicture], dict[str, bytes], int]:
    """What the paper shows, the files by name, and how many pictures it leaves out; one query.

    Every unit's first picture comes before anybody's second.
    """
    wanted = [(rank, unit.tag, pk) for unit in units for rank, (pk, _caption) in enumerate(unit.photos)]
    chosen = {pk for _rank, _tag, pk in sorted(wanted)[:MOST_PICTURES]}
    rows = UnitPhoto.objects.in_bulk(chosen) if chosen else {}
    shown, files, missing = [], {}, 0
    for unit in units:
        for pk, caption in unit.photos:
            if pk not in chosen:
                continue
            content = _small(rows[pk]) if pk in rows else None
            if content is None:
                missing += 1
                continue
            name = f"unit-{pk}.jpg"
            files[name] = content
            shown.append(PaperPicture(name, unit.tag, caption))
    return shown, files, len(wanted) - len(chosen) + missing


def _small(photo: UnitPhoto) -> bytes | None:
    """None where the file is gone or no picture any more: the rest of the sheet is needed all the same."""
    try:
        with photo.picture.open("rb") as stored, Image.open(stored) as picture:
            picture.draft("RGB", (LONGEST, LONGEST))
            shrunk = picture.convert("RGB")
            shrunk.thumbnail((LONGEST, LONGEST))
    except OSError:
        return None
    kept = io.BytesIO()
    shrunk.save(kept, "JPEG", quality=80)
    return kept.getvalue()
