"""Tag labels: a code that opens the unit, the tag large enough to read from the trailer's gate."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.models import Trimmer
from shop.label_sheets import LabelSheet
from shop.papers.codes import code_picture

# Labels in one file; more are made in parts.
MOST_LABELS = 120
_PAD = 1.6
# How wide a bold letter is, as a share of its size: the widest common ones, so that a tag never runs over.
_LETTER_WIDTH = 0.68
_SMALLEST, _LARGEST = 2.1, 14.0
# Below this a typed address would be too small to read, and the label carries the code alone.
_ROOM_FOR_ADDRESS = 30.0


@dataclass(frozen=True)
class UnitLabel:
    """One label: what it says and how large, in millimeters."""

    tag: str
    model: str
    contractor: str
    address: str
    left: float
    top: float
    tag_size: float
    code_name: str
    code: bytes


@dataclass(frozen=True)
class LabelLook:
    """How labels of one sheet are laid out: the code beside the words, or above them where the label is square."""

    sheet: LabelSheet

    @property
    def stacked(self) -> bool:
        return self.sheet.width < 1.3 * self.sheet.height

    @property
    def code_side(self) -> float:
        """Side of the code with its clear space."""
        if self.stacked:
            return self.sheet.height * 0.58
        return min(self.sheet.height - 2 * _PAD, self.sheet.width * 0.5)

    @property
    def words_width(self) -> float:
        """Room for words, in millimeters."""
        return self.sheet.width - 2 * _PAD - (0 if self.stacked else self.code_side)

    @property
    def says_address(self) -> bool:
        """Whether there is room for the address in letters, for phones that do not read codes."""
        return not self.stacked and self.sheet.height >= _ROOM_FOR_ADDRESS

    @property
    def small_size(self) -> float:
        """Size of the small words."""
        return 1.9 if self.sheet.height < 24 else 2.3 if self.sheet.height < 45 else 3.0

    @property
    def names_contractor(self) -> bool:
        return self.sheet.height >= 24

    def tag_size(self, tag: str) -> float:
        """Size of the tag's letters: as large as the label allows, in two lines where it is long."""
        tallest = self.sheet.height * (0.16 if self.stacked else 0.3)
        one_line = self.words_width / (_LETTER_WIDTH * max(len(tag), 1))
        two_lines = min(tallest * 0.5, 2 * one_line * 0.9)
        return max(_SMALLEST, min(_LARGEST, tallest, max(one_line, two_lines)))


def label_pages(
    units: Iterable[tuple[Trimmer, str]], sheet: LabelSheet, start: int = 1, several: bool = True
) -> list[list[UnitLabel]]:
    """Labels of units with their addresses, page by page; ``start`` skips labels already taken off the first sheet."""
    look = LabelLook(sheet)
    pages: list[list[UnitLabel]] = []
    for number, (unit, address) in enumerate(units, start - 1):
        place = number % sheet.count
        if place == 0 or not pages:
            pages.append([])
        left, top = sheet.place(place)
        pages[-1].append(
            UnitLabel(
                tag=unit.tag,
                model=str(unit.model),
                contractor=unit.contractor.name if several else "",
                address=address.split("://", 1)[-1],
                left=left,
                top=top,
                tag_size=look.tag_size(unit.tag),
                code_name=f"code-{unit.pk}.png",
                code=code_picture(address, look.code_side),
            )
        )
    return pages


def parts_of(count: int, most: int) -> Sequence[tuple[int, int, int]]:
    """(part, first, last) of a long list cut into files; nothing to cut gives one part."""
    starts = range(0, max(count, 1), most)
    return [(part, first + 1, min(first + most, count)) for part, first in enumerate(starts, 1)]
