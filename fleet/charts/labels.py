"""Labels that never run into each other.

A server cannot ask a browser how wide a word is, so widths are estimated from the
advance widths of the bold cut of our own typeface, with some air for a substitute.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

# Advance widths in thousandths of the type size, read from the bold cut of the typeface.
_NARROW = dict.fromkeys("ijl.,;:'’!|", 320) | dict.fromkeys("frt()- ", 390)
_WIDE = dict.fromkeys("%", 1000) | dict.fromkeys("mwMW→—@&#", 890) | dict.fromkeys("ABCDGHKNOQRSUVXY", 760)
_USUAL = 630
_AIR = 1.06
_GAP = 6.0


def text_width(words: str, size: float) -> float:
    """Estimate from above how wide ``words`` are when set at ``size``."""
    thousandths = 0
    for letter in words:
        if ord(letter) > 0x2E7F:  # ideographs and the like fill the whole square
            thousandths += 1000
        else:
            thousandths += _NARROW.get(letter) or _WIDE.get(letter) or _USUAL
    return thousandths / 1000 * size * _AIR


@dataclass(frozen=True)
class Label:
    """Something to be written near ``x``, in the longest of its forms that fits."""

    css: str
    x: float
    forms: tuple[str, ...]
    from_left: bool = False  # starts at x instead of being centered on it
    reach: float = 70.0  # how far it may be moved aside before a shorter form is better


@dataclass(frozen=True)
class Placed:
    """A label with its final place; ``left`` and ``right`` include its estimated width."""

    css: str
    words: str
    left: float
    right: float


def place(labels: Sequence[Label], low: float, high: float, size: float) -> list[Placed]:
    """Set ``labels`` on one line between ``low`` and ``high``, the most important first.

    A label that would touch an earlier one is moved aside, then shortened, then left
    out: what it says stands in the title and description of the drawing all the same.
    """
    done: list[Placed] = []
    for label in labels:
        for words in label.forms:
            left = _find_room(label, text_width(words, size), done, low, high)
            if left is not None:
                done.append(Placed(label.css, words, left, left + text_width(words, size)))
                break
    return done


def _find_room(label: Label, width: float, done: Sequence[Placed], low: float, high: float) -> float | None:
    if width > high - low:
        return None
    wanted = label.x if label.from_left else label.x - width / 2
    wanted = min(max(wanted, low), high - width)
    spots = [wanted]
    spots += [other.right + _GAP for other in done]
    spots += [other.left - _GAP - width for other in done]
    for left in sorted(spots, key=lambda spot: abs(spot - wanted)):
        inside = low <= left and left + width <= high
        free = all(left >= other.right + _GAP - 1e-6 or left + width <= other.left - _GAP + 1e-6 for other in done)
        if inside and free and abs(left - wanted) <= label.reach:
            return left
    return None
