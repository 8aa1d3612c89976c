"""Sizes of paper."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from fleet.vocabulary import Label

INCH = 25.4


@dataclass(frozen=True)
class PaperSize:
    """A sheet of paper upright, in millimeters."""

    key: str
    label: Label
    width: float
    height: float

    @property
    def css(self) -> str:
        """Its size as a style sheet writes it."""
        return f"{self.width:.2f}mm {self.height:.2f}mm"


# US Letter as in ANSI/ASME Y14.1 (size A); A4 as in ISO 216.
LETTER = PaperSize("letter", _("Letter, 8.5 × 11 in"), 8.5 * INCH, 11 * INCH)
A4 = PaperSize("a4", _("A4, 210 × 297 mm"), 210, 297)
PAPER_SIZES: dict[str, PaperSize] = {size.key: size for size in (LETTER, A4)}


def usual_paper(cookies: Mapping[str, str]) -> str:
    """The paper this browser printed on last."""
    key = cookies.get("paper", "")
    return key if key in PAPER_SIZES else LETTER.key


def paper_asked(asked: str, cookies: Mapping[str, str]) -> PaperSize:
    """The paper asked for, else the one this browser printed on last."""
    return PAPER_SIZES.get(asked) or PAPER_SIZES[usual_paper(cookies)]
