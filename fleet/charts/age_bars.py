"""Cost per hour by replacement age: a dot for each age on one line of ages, so that the lowest is seen at once.

The scale starts near the lowest cost, as what is compared are differences; the amounts stand beside. Pure.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from fleet.charts.svg import Svg, checked_id, num, text

WIDTH, HEIGHT = 330, 96
_LEFT, _RIGHT, _TOP, _BOTTOM, _AXIS = 22.0, 308.0, 26.0, 62.0, 84.0
_TYPE = 12.0
_SLATE, _SOFT, _MOSS = "#33566f", "#55635b", "#2f6b46"


def age_bars(
    costs: Sequence[float],
    best: int,
    in_warranty: int | None,
    uid: str,
    title: str,
    written: Callable[[float], str],
) -> Svg:
    """Draw costs of ages 1, 2, ...; ``best`` is filled, ``in_warranty`` (the last age wholly covered) is squared."""
    checked_id(uid)
    low, high = min(costs), max(costs)
    spread = high - low or 1.0

    def x(age: int) -> float:
        return _LEFT + (age - 1) / max(len(costs) - 1, 1) * (_RIGHT - _LEFT)

    def y(cost: float) -> float:
        return _BOTTOM - (cost - low) / spread * (_BOTTOM - _TOP)

    path = " ".join(f"{'M' if age == 1 else 'L'}{num(x(age))} {num(y(c))}" for age, c in enumerate(costs, 1))
    parts = [
        f'<svg class="ages" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t" '
        f'font-size="{num(_TYPE)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(title)}</title>',
        f'<path class="curve" d="{path}" fill="none" stroke="{_SLATE}" stroke-width="2"/>',
    ]
    for age, cost in enumerate(costs, 1):
        at_x, at_y = num(x(age)), num(y(cost))
        if age == best:
            parts.append(f'<circle class="best" cx="{at_x}" cy="{at_y}" r="6" fill="{_MOSS}"/>')
        elif age == in_warranty:
            parts.append(
                f'<rect class="open-dot" x="{num(x(age) - 4.5)}" y="{num(y(cost) - 4.5)}" width="9" height="9" '
                f'fill="#fff" stroke="{_SLATE}" stroke-width="2"/>'
            )
        else:
            parts.append(
                f'<circle class="open-dot" cx="{at_x}" cy="{at_y}" r="3.5" fill="#fff" stroke="{_SLATE}" '
                f'stroke-width="2"/>'
            )
        parts.append(f'<text x="{at_x}" y="{num(_AXIS)}" text-anchor="middle" fill="{_SOFT}">{age}</text>')
    for age in dict.fromkeys((1, best, len(costs))):
        anchor = "start" if age == 1 else "end" if age == len(costs) else "middle"
        at = x(age) - 8 if age == 1 else x(age) + 8 if age == len(costs) else x(age)
        parts.append(
            f'<text x="{num(at)}" y="{num(y(costs[age - 1]) - 10)}" text-anchor="{anchor}" '
            f'fill="{_SOFT}">{text(written(costs[age - 1]))}</text>'
        )
    parts.append("</svg>")
    return Svg("".join(parts))
