"""A day of the bench as one line of minutes: left over, booked, offered; what is held for walk-ins at the end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fleet.charts.svg import Svg, checked_id, num, rect, text

WIDTH, HEIGHT = 760, 26
_TOP, _BAR = 5.0, 16.0
_GAP = 2.0
# Colors for paper and for readers without the style sheet; all are set again by class on screen.
_GROUND, _MOSS, _EDGE, _INK, _CLAY = "#e6eae5", "#2f6b46", "#75827a", "#17231d", "#a8401f"


@dataclass(frozen=True)
class Block:
    """Minutes of one visit: ``booked``, ``offered``, ``carried`` or ``walk_in``."""

    kind: str
    minutes: int


def day_rail(
    *, uid: str, open_minutes: int, held: int, blocks: Sequence[Block], longest: int, title: str, desc: str = ""
) -> Svg:
    """Draw a day. ``longest`` is the most minutes of any day drawn beside it, so that lengths compare down the page."""
    checked_id(uid)
    most = max(longest, open_minutes, sum(block.minutes for block in blocks), 1)
    scale = WIDTH / most
    end = open_minutes * scale
    parts = [
        f'<svg class="load" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t">',
        f'<title id="{uid}-t">{text(title)}</title>',
        f'<defs><pattern id="{uid}-h" width="6" height="6" patternTransform="rotate(45)" '
        f'patternUnits="userSpaceOnUse"><line class="held" x1="0" y1="0" x2="0" y2="6" stroke="{_EDGE}" '
        'stroke-width="2"/></pattern></defs>',
        rect("room", 0, _TOP, end, _BAR, f' fill="{_GROUND}"'),
    ]
    if desc:
        parts.insert(2, f"<desc>{text(desc)}</desc>")
    taken = sum(block.minutes for block in blocks if block.kind == "walk_in")
    if held > taken:
        parts.append(
            rect(
                "held-band", end - (held - taken) * scale, _TOP, (held - taken) * scale, _BAR, f' fill="url(#{uid}-h)"'
            )
        )
    at = 0.0
    for block in blocks:
        width = block.minutes * scale
        parts.append(_block(block.kind, at, width))
        at += width
    if at > end + 0.5:
        # More than the day has: an upright where it ends.
        parts.append(
            f'<line class="over-end" x1="{num(end)}" x2="{num(end)}" y1="1" y2="25" stroke="{_CLAY}" stroke-width="3"/>'
        )
    parts.append("</svg>")
    return Svg("".join(parts))


def _block(kind: str, x: float, width: float) -> str:
    inner = max(width - _GAP, 1.0)
    if kind == "offered":
        dash = f' fill="none" stroke="{_MOSS}" stroke-width="2" stroke-dasharray="5 3"'
        return rect("offered", x + 1, _TOP + 1, max(inner - 2, 1.0), _BAR - 2, dash)
    if kind == "carried":
        return rect("carried", x, _TOP, inner, _BAR, f' fill="{_INK}"')
    if kind == "walk_in":
        return rect("walk-in", x, _TOP + 4, inner, _BAR - 8, f' fill="{_MOSS}"')
    return rect("booked", x, _TOP, inner, _BAR, f' fill="{_MOSS}"')
