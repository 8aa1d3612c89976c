"""Where a value falls on a rail, and which round values get a tick."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

CYCLES_SHOWN = 1.5  # one interval and a half
_CYCLES_BEFORE_BREAK = 1.25
_BREAK_WIDTH = 7.0
_MOST_TICKS = 8


@dataclass(frozen=True)
class Axis:
    """A scale on which every rail has its interval equally long.

    Because the last job stands at the same place on all rails of a page and so does
    the due mark, the eye compares wedges down the page without reading a figure. A
    value beyond one interval and a half is brought in by a break in the line.
    """

    base: float  # value where counting starts
    cycle: float  # length of one interval, above 0
    left: float  # x of the line's left end
    right: float  # x of the line's right end
    far: float | None = None  # furthest value that has to be shown beyond the break
    stub: float = 11.0  # length of line to the left of the base

    @classmethod
    def around(cls, base: float, cycle: float, must_show: Iterable[float], left: float, right: float) -> Axis:
        """Make the axis for one rail; it is broken only where something lies beyond its end."""
        end = base + CYCLES_SHOWN * cycle
        furthest = max(must_show, default=base)
        return cls(base, cycle, left, right, furthest if furthest > end else None)

    @property
    def x_base(self) -> float:
        return self.left + self.stub

    @property
    def end(self) -> float:
        """The largest value shown to scale."""
        return self.base + (CYCLES_SHOWN if self.far is None else _CYCLES_BEFORE_BREAK) * self.cycle

    @property
    def break_at(self) -> tuple[float, float] | None:
        """The x range of the break, if there is one."""
        if self.far is None:
            return None
        start = self._to_scale(self.end)
        return start, start + _BREAK_WIDTH

    def x(self, value: float) -> float:
        """The place of ``value``, kept within the line."""
        if self.far is None or value <= self.end:
            return min(max(self._to_scale(value), self.left), self.right)
        start = self._to_scale(self.end) + _BREAK_WIDTH
        share = (value - self.end) / (self.far - self.end)
        return min(start + 0.55 * share * (self.right - start), self.right)

    def shows(self, value: float) -> bool:
        """Whether ``value`` has a place of its own and is not merely held at an end."""
        lowest = self.base - self.stub / (self.right - self.x_base) * CYCLES_SHOWN * self.cycle
        return lowest <= value <= (self.end if self.far is None else self.far)

    def _to_scale(self, value: float) -> float:
        return self.x_base + (value - self.base) / (CYCLES_SHOWN * self.cycle) * (self.right - self.x_base)


def round_ticks(low: float, high: float) -> list[float]:
    """Round values (1, 2 or 5 times a power of ten) between ``low`` and ``high``."""
    width = high - low
    if not width > 0 or not math.isfinite(width):
        return []
    power = 10.0 ** math.floor(math.log10(width / _MOST_TICKS))
    step = next((f * power for f in (1, 2, 5) if width / (f * power) <= _MOST_TICKS), 10 * power)
    first = math.ceil(low / step)
    return [n * step for n in range(first, math.floor(high / step) + 1)]
