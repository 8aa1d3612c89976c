"""A day before and after a plan, as two bars over one line of minutes; an upright where the day's minutes end."""

from __future__ import annotations

from fleet.charts.svg import Svg, checked_id, num, rect, text

WIDTH, HEIGHT = 760, 30
_EDGE, _MOSS, _CLAY = "#75827a", "#2f6b46", "#a8401f"


def plan_rail(*, uid: str, available: int, before: int, after: int, longest: int, title: str) -> Svg:
    """Open bar: if every unit came when due. Filled bar: with the plan. ``longest`` sets one scale for the page."""
    checked_id(uid)
    scale = (WIDTH - 4) / max(longest, available, before, after, 1)
    end = num(available * scale + 1)
    parts = [
        f'<svg class="load" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t">',
        f'<title id="{uid}-t">{text(title)}</title>',
        rect("before", 1, 2, before * scale, 10, f' fill="none" stroke="{_EDGE}" stroke-width="1.5"'),
        rect("booked", 1, 16, after * scale, 12, f' fill="{_MOSS}"'),
        f'<line class="over-end" x1="{end}" x2="{end}" y1="0" y2="{HEIGHT}" stroke="{_CLAY}" stroke-width="2.5"/>',
        "</svg>",
    ]
    return Svg("".join(parts))
