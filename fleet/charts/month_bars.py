"""Twelve months as bars: expected, its band with caps, and last year's amount as a short line. Pure."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fleet.charts.axis import round_ticks
from fleet.charts.svg import Svg, checked_id, line, num, rect, text

WIDTH, HEIGHT = 720, 240
_LEFT, _RIGHT, _TOP, _BOTTOM, _AXIS = 62.0, 712.0, 14.0, 206.0, 226.0
_TYPE = 13.0
_MOSS, _SLATE, _SOFT, _CLAY, _HAIR = "#2f6b46", "#33566f", "#55635b", "#a8401f", "#e6eae5"


@dataclass(frozen=True)
class MonthBar:
    """One month: its short name and amounts."""

    name: str
    expected: float
    low: float
    high: float
    was: float


def month_bars(months: Sequence[MonthBar], uid: str, title: str, written: Callable[[float], str]) -> Svg:
    """Draw the months on one scale from zero."""
    checked_id(uid)
    most = max([1.0, *(m.high for m in months), *(m.was for m in months)])

    def y(value: float) -> float:
        return _BOTTOM - value / most * (_BOTTOM - _TOP)

    step = (_RIGHT - _LEFT) / max(len(months), 1)
    parts = [
        f'<svg class="months" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t" '
        f'font-size="{num(_TYPE)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(title)}</title>',
    ]
    for tick in round_ticks(0.0, most)[::2]:
        parts.append(line("grid", _LEFT, y(tick), _RIGHT, y(tick), f' stroke="{_HAIR}"'))
        parts.append(
            f'<text x="{num(_LEFT - 6)}" y="{num(y(tick) + 4)}" text-anchor="end" fill="{_SOFT}">'
            f"{text(written(tick))}</text>"
        )
    for k, month in enumerate(months):
        left, middle = _LEFT + k * step, _LEFT + (k + 0.5) * step
        width, top = step * 0.5, y(month.expected)
        parts.append(rect("booked", middle - width / 2, top, width, _BOTTOM - top, f' fill="{_MOSS}"'))
        stroke = f' stroke="{_SLATE}" stroke-width="2"'
        parts.append(line("rng", middle, y(month.low), middle, y(month.high), stroke))
        for end in (month.low, month.high):
            parts.append(line("cap", middle - 5, y(end), middle + 5, y(end), stroke))
        parts.append(
            line("was", left + 4, y(month.was), left + step - 4, y(month.was), f' stroke="{_CLAY}" stroke-width="3"')
        )
        parts.append(
            f'<text x="{num(middle)}" y="{num(_AXIS)}" text-anchor="middle" fill="{_SOFT}">{text(month.name)}</text>'
        )
    parts.append("</svg>")
    return Svg("".join(parts))
