"""A bar as long as a share of the longest one on the page: what the eye compares down a list."""

from __future__ import annotations

from fleet.charts.svg import Svg, rect

_WIDTH, _HEIGHT = 200.0, 12.0


def share_bar(value: float, most: float) -> Svg:
    """The bar alone, for beside its figure; it says nothing that the figure does not, so readers pass it over."""
    share = min(max(value / most, 0.0), 1.0) if most > 0 else 0.0
    parts = rect("room", 0, 0, _WIDTH, _HEIGHT, ' fill="#e6eae5"')
    if share > 0:
        parts += rect("part", 0, 0, max(share * _WIDTH, 3.0), _HEIGHT, ' fill="#a8401f"')
    # Stretched to whatever room it has: it carries no words that could be pulled out of shape.
    box = f'viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" preserveAspectRatio="none"'
    return Svg(f'<svg class="share" {box} aria-hidden="true">{parts}</svg>')
