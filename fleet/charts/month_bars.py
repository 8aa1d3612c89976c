"""Twelve months as bars: expected, its band with caps, and last year's amount as a short line. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fleet.charts.axis import round_ticks
from fleet.charts.svg import Svg, checked_id, line, num, rect, text

HEIGHT, _TOP, _BOTTOM, _AXIS = 240, 14.0, 206.0, 226.0
#: Width, left end, size of type, letters of a month's name: of a page and of a phone.
_PAGE, _PHONE = (720, 62.0, 13.0, None), (340, 52.0, 13.0, 1)
_MOSS, _SLATE, _SOFT, _CLAY, _HAIR = "#2f6b46", "#33566f", "#55635b", "#a8401f", "#e6eae5"


@dataclass(frozen=True)
class MonthBar:
    """One month: its short name and amounts."""

    name: str
    expected: float
    low: float
    high: float
    was: float


def month_bars(
    months: Sequence[MonthBar], uid: str, title: str, written: Callable[[float], str], *, phone: bool = False
) -> Svg:
    """Draw the months on one scale from zero; ``phone``: narrow, months by their first letter."""
    width, left_end, type_size, letters = _PHONE if phone else _PAGE
    right_end = width - 8.0
    checked_id(uid)
    most = max([1.0, *(m.high for m in months), *(m.was for m in months)])

    def y(value: float) -> float:
        return _BOTTOM - value / most * (_BOTTOM - _TOP)

    step = (right_end - left_end) / max(len(months), 1)
    look = "months of-phone" if phone else "months"
    parts = [
        f'<svg class="{look}" viewBox="0 0 {width} {HEIGHT}" role="img" aria-labelledby="{uid}-t" '
        f'font-size="{num(type_size)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(title)}</title>',
    ]
    for tick in round_ticks(0.0, most)[::2]:
        parts.append(line("grid", left_end, y(tick), right_end, y(tick), f' stroke="{_HAIR}"'))
        parts.append(
            f'<text x="{num(left_end - 6)}" y="{num(y(tick) + 4)}" text-anchor="end" fill="{_SOFT}">'
            f"{text(written(tick))}</text>"
        )
    for k, month in enumerate(months):
        left, middle = left_end + k * step, left_end + (k + 0.5) * step
        cap = min(5.0, step / 4)
        bar, top = step * 0.5, y(month.expected)
        parts.append(rect("booked", middle - bar / 2, top, bar, _BOTTOM - top, f' fill="{_MOSS}"'))
        stroke = f' stroke="{_SLATE}" stroke-width="2"'
        parts.append(line("rng", middle, y(month.low), middle, y(month.high), stroke))
        for end in (month.low, month.high):
            parts.append(line("cap", middle - cap, y(end), middle + cap, y(end), stroke))
        parts.append(
            line(
                "was",
                left + step / 14,
                y(month.was),
                left + step * 13 / 14,
                y(month.was),
                f' stroke="{_CLAY}" stroke-width="3"',
            )
        )
        name = text(month.name[:letters])
        parts.append(f'<text x="{num(middle)}" y="{num(_AXIS)}" text-anchor="middle" fill="{_SOFT}">{name}</text>')
    parts.append("</svg>")
    return Svg("".join(parts))
