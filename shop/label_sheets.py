"""Sheets of labels described by their measures."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from fleet.paper_sizes import A4, INCH, LETTER, PaperSize
from fleet.vocabulary import Label


@dataclass(frozen=True)
class LabelSheet:
    """Labels of one size on a sheet, in millimeters; the block of labels stands in the middle of its paper."""

    key: str
    label: Label
    paper: PaperSize
    columns: int
    rows: int
    width: float
    height: float
    gap_x: float = 0.0
    gap_y: float = 0.0

    @property
    def count(self) -> int:
        """Labels on one sheet."""
        return self.columns * self.rows

    @property
    def left(self) -> float:
        """Paper to the left of the first label."""
        return (self.paper.width - self.columns * self.width - (self.columns - 1) * self.gap_x) / 2

    @property
    def top(self) -> float:
        """Paper above the first label."""
        return (self.paper.height - self.rows * self.height - (self.rows - 1) * self.gap_y) / 2

    def place(self, number: int) -> tuple[float, float]:
        """Left and top edge of a label on its sheet, counted from 0 along the rows."""
        row, column = divmod(number, self.columns)
        return self.left + column * (self.width + self.gap_x), self.top + row * (self.height + self.gap_y)


def _single(key: str, label: Label, width: float, height: float) -> LabelSheet:
    """One label a page, as label printers with a roll want it."""
    return LabelSheet(key, label, PaperSize(key, label, width, height), 1, 1, width, height)


# Sizes that stationers commonly sell, by their measures; margins and gaps from memory, so the page asks for a trial
# on plain paper first.
LABEL_SHEETS: dict[str, LabelSheet] = {
    sheet.key: sheet
    for sheet in (
        LabelSheet("letter-30", _("Letter: 30 of 2⅝ × 1 in"), LETTER, 3, 10, 2.625 * INCH, INCH, 0.125 * INCH),
        LabelSheet("letter-10", _("Letter: 10 of 4 × 2 in"), LETTER, 2, 5, 4 * INCH, 2 * INCH, 0.1875 * INCH),
        LabelSheet("letter-12", _("Letter: 12 of 2 × 2 in"), LETTER, 3, 4, 2 * INCH, 2 * INCH, 15.875, 14.8167),
        LabelSheet("letter-6", _("Letter: 6 of 4 × 3⅓ in"), LETTER, 2, 3, 4 * INCH, 10 * INCH / 3, 0.1875 * INCH),
        LabelSheet("a4-24", _("A4: 24 of 70 × 37 mm"), A4, 3, 8, 70, 37),
        LabelSheet("a4-21", _("A4: 21 of 63.5 × 38.1 mm"), A4, 3, 7, 63.5, 38.1, 2.5),
        LabelSheet("a4-8", _("A4: 8 of 99.1 × 67.7 mm"), A4, 2, 4, 99.1, 67.7, 2.5),
        LabelSheet("a4-48", _("A4: 48 of 45.7 × 21.2 mm"), A4, 4, 12, 45.7, 21.2, 2.5),
        _single("roll-2x1", _("Roll: one of 2 × 1 in a page"), 2 * INCH, INCH),
        _single("roll-62x29", _("Roll: one of 62 × 29 mm a page"), 62, 29),
    )
}
