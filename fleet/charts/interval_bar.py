"""A figure with its range: a bar with caps from low to high, a dot where it most likely lies, zero dashed.

The dot is filled only where the record is sure, so that the eye goes there first. All bars of a page share one scale.
Pure: words come in, a string goes out; the same drawing serves screen and paper.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fleet.charts.labels import Label, place, text_width
from fleet.charts.svg import Svg, checked_id, line, num, text

WIDTH, HEIGHT = 330, 46
_LEFT, _RIGHT, _Y = 14.0, 316.0, 15.0
_BELOW, _TYPE = 41.0, 13.0
# Between the amounts under the two caps.
_AIR = 8.0
_SOFT, _SLATE, _CLAY, _EDGE = "#55635b", "#33566f", "#a8401f", "#75827a"


@dataclass(frozen=True)
class Scale:
    """From money to the width of the drawing; zero is always on it."""

    low: float
    high: float

    @classmethod
    def over(cls, values: Iterable[float]) -> Scale:
        """The scale that shows all of these, and zero."""
        found = [0.0, *values]
        low, high = min(found), max(found)
        return cls(low, high if high > low else low + 1.0)

    def x(self, value: float) -> float:
        """Where a value lies."""
        return _LEFT + (value - self.low) / (self.high - self.low) * (_RIGHT - _LEFT)


@dataclass(frozen=True)
class Range:
    """low <= at <= high; ``sure`` where the record tells it from nothing."""

    low: float
    at: float
    high: float
    sure: bool


def interval_bar(found: Range, scale: Scale, uid: str, title: str, written: Callable[[float], str]) -> Svg:
    """One bar. ``title`` says all of it in words; ``written`` writes an amount."""
    checked_id(uid)
    low, at, high, zero = (scale.x(v) for v in (found.low, found.at, found.high, 0.0))
    rng, cap = f' stroke="{_SLATE}" stroke-width="4"', f' stroke="{_SLATE}" stroke-width="2"'
    if found.sure:
        dot = f'<circle class="sure-dot" cx="{num(at)}" cy="{num(_Y)}" r="6.5" fill="{_CLAY}"/>'
    else:
        dot = (
            f'<circle class="open-dot" cx="{num(at)}" cy="{num(_Y)}" r="5.5" fill="#fff" stroke="{_SLATE}" '
            f'stroke-width="2.5"/>'
        )
    parts = [
        f'<svg class="iv" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t" '
        f'font-size="{num(_TYPE)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(title)}</title>',
        line("zero", zero, 2, zero, 28, f' stroke="{_EDGE}" stroke-width="1.5" stroke-dasharray="3 3"'),
        line("rng", low, _Y, high, _Y, rng),
        line("cap", low, _Y - 6, low, _Y + 6, cap),
        line("cap", high, _Y - 6, high, _Y + 6, cap),
        dot,
        *_words(found, low, high, zero, written),
        "</svg>",
    ]
    return Svg("".join(parts))


def _words(found: Range, low: float, high: float, zero: float, written: Callable[[float], str]) -> list[str]:
    """Amounts under the caps, or together where the bar is short; zero where there is room beside them."""
    at_low, at_high = written(found.low), written(found.high)
    if high - low < (text_width(at_low, _TYPE) + text_width(at_high, _TYPE)) / 2 + _AIR:
        labels = [Label("", (low + high) / 2, (f"{at_low} – {at_high}",))]
    else:
        labels = [Label("", high, (at_high,)), Label("", low, (at_low,))]
    labels.append(Label("", zero, (written(0.0),), reach=6.0))
    placed = place(labels, 0.0, float(WIDTH), _TYPE)
    return [
        f'<text x="{num((p.left + p.right) / 2)}" y="{num(_BELOW)}" text-anchor="middle" fill="{_SOFT}">'
        f"{text(p.words)}</text>"
        for p in placed
    ]
