"""Pictures of stolen units and of their purchase papers, small enough for a paper that is mailed."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

from PIL import Image

from fleet.models import PurchasePaper, UnitPhoto
from fleet.upkeep.theft import TheftUnit

# The longer side in pixels: a serial plate is still read when it fills a third of the sheet's width, a receipt in half.
LONGEST, LONGEST_PAPER = 1100, 1600
# A mailbox takes so many; the rest stay on the units' pages, and the paper says so.
MOST_PICTURES, MOST_PAPERS = 24, 12


@dataclass(frozen=True)
class PaperPicture:
    """One picture by the name its paper uses, of which unit, and its words."""

    name: str
    tag: str
    caption: str


@dataclass(frozen=True)
class Enclosed:
    """Pictures that a paper shows, their files by name, and how many it leaves out."""

    shown: list[PaperPicture]
    files: dict[str, bytes]
    left_out: int


def pictures_of(units: Sequence[TheftUnit]) -> Enclosed:
    """Pictures of the units; one query."""
    return _enclosed([(u.tag, u.photos) for u in units], UnitPhoto, "unit", MOST_PICTURES, LONGEST)


def papers_of(units: Sequence[TheftUnit]) -> Enclosed:
    """Their purchase papers; one query."""
    return _enclosed([(u.tag, u.papers) for u in units], PurchasePaper, "paper", MOST_PAPERS, LONGEST_PAPER)


def _enclosed(
    kept: Sequence[tuple[str, list[tuple[int, str]]]],
    kind: type[UnitPhoto] | type[PurchasePaper],
    word: str,
    most: int,
    longest: int,
) -> Enclosed:
    """Every unit's first one comes before anybody's second."""
    wanted = [(rank, tag, pk) for tag, ones in kept for rank, (pk, _caption) in enumerate(ones)]
    chosen = {pk for _rank, _tag, pk in sorted(wanted)[:most]}
    rows = kind.objects.in_bulk(chosen) if chosen else {}
    shown, files, missing = [], {}, 0
    for tag, ones in kept:
        for pk, caption in ones:
            if pk not in chosen:
                continue
            content = _small(rows[pk], longest) if pk in rows else None
            if content is None:
                missing += 1
                continue
            name = f"{word}-{pk}.jpg"
            files[name] = content
            shown.append(PaperPicture(name, tag, caption))
    return Enclosed(shown, files, len(wanted) - len(chosen) + missing)


def _small(kept: UnitPhoto | PurchasePaper, longest: int) -> bytes | None:
    """None where the file is gone or no picture any more: the rest of the sheet is needed all the same."""
    try:
        with kept.picture.open("rb") as stored, Image.open(stored) as picture:
            picture.draft("RGB", (longest, longest))
            shrunk = picture.convert("RGB")
            shrunk.thumbnail((longest, longest))
    except OSError:
        return None
    drawn = io.BytesIO()
    shrunk.save(drawn, "JPEG", quality=80)
    return drawn.getvalue()
