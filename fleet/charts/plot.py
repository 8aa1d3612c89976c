"""The frame that all curves share: two axes from zero, bands, lines, steps, and uprights with their words.

Like the rail it is pure: words come in, a string goes out, colors are presentation attributes that a style sheet
overrides by class. Lines differ by weight and dash, bands by hatching, so that a plot reads in gray.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import floor, isfinite, log10

from fleet.charts.axis import round_ticks
from fleet.charts.labels import Label, place, text_width
from fleet.charts.svg import Svg, checked_id, line, num, rect, text

WIDTH, HEIGHT = 340, 236
TYPE_SIZE = 13.0
_TOP, _BOTTOM, _RIGHT = 44.0, 192.0, 332.0  # the field; above it two lines of words, below it two more
_TITLE_LINE, _MARK_LINE, _TICK_LINE, _NAME_LINE = 13.0, 34.0, 208.0, 229.0
# Round ends of an axis, as a share of a power of ten, with the number of parts its ticks cut it into.
_ROUND = {1.0: 4, 1.5: 3, 2.0: 4, 2.5: 5, 3.0: 3, 4.0: 4, 5.0: 5, 6.0: 3, 8.0: 4, 10.0: 4}

INK, SOFT, LINE, MOSS, CLAY, SLATE, WASH = "#17231d", "#55635b", "#cfd6cf", "#2f6b46", "#a8401f", "#33566f", "#dcebdf"
_PAINT = {
    "fit": (MOSS, "3", ""),
    "fit-edge": (MOSS, "1", ""),
    "seen": (INK, "1.8", ""),
    "limit": (INK, "1.1", "2 3"),
    "chosen": (CLAY, "2.5", ""),
    "manual": (SLATE, "2", "6 4"),
}


@dataclass(frozen=True)
class Trace:
    """A line (or steps, each holding to the next) through points; NaN breaks it. ``css`` says which kind of line."""

    css: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    steps: bool = False


@dataclass(frozen=True)
class Band:
    """What lies between two lines."""

    x: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]


@dataclass(frozen=True)
class Upright:
    """A value on the hours' axis that has a name; its words from long to short."""

    css: str
    at: float
    forms: tuple[str, ...]


@dataclass(frozen=True)
class Plot:
    """Everything a plot shows; an axis has names from long to short. ``outside``: where the fit leaves the limits."""

    title: str
    desc: str
    x_name: tuple[str, ...]
    y_name: tuple[str, ...]
    x_end: float
    y_end: float
    bands: tuple[Band, ...] = ()
    traces: tuple[Trace, ...] = ()
    uprights: tuple[Upright, ...] = ()
    outside: tuple[tuple[float, float], ...] = ()
    flat: tuple[float, float] | None = None


@dataclass(frozen=True)
class _Frame:
    left: float
    x_end: float
    y_end: float

    def x(self, value: float) -> float:
        return self.left + min(max(value / self.x_end, 0.0), 1.0) * (_RIGHT - self.left)

    def y(self, value: float) -> float:
        return _BOTTOM - min(max(value / self.y_end, 0.0), 1.0) * (_BOTTOM - _TOP)


def round_end(value: float) -> float:
    """The least round figure not below ``value``; 1 for nothing at all."""
    if not value > 0 or not isfinite(value):
        return 1.0
    power = 10.0 ** floor(log10(value))
    return next(f * power for f in (*_ROUND, 20.0) if f * power >= value * (1 - 1e-9))


def draw(plot: Plot, uid: str, x_words: Callable[[float], str], y_words: Callable[[float], str]) -> Svg:
    """Assemble the drawing; later parts lie over earlier ones."""
    checked_id(uid)
    y_ticks = _even_ticks(plot.y_end)
    left = 6.0 + max((text_width(y_words(v), TYPE_SIZE) for v in y_ticks), default=0.0) + 5.0
    frame = _Frame(left, plot.x_end, plot.y_end)
    parts = [
        f'<svg class="plot" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-labelledby="{uid}-t {uid}-d" '
        f'font-size="{num(TYPE_SIZE)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(plot.title)}</title><desc id="{uid}-d">{text(plot.desc)}</desc>',
        f'<defs><pattern id="{uid}-h" width="6" height="6" patternTransform="rotate(45)" patternUnits="userSpaceOnUse">'
        f'<line class="hatch" x1="1" y1="0" x2="1" y2="6" stroke="{CLAY}" stroke-width="1.6"/></pattern></defs>',
    ]
    parts += _axes(plot, frame, y_ticks, x_words, y_words)
    if plot.flat:
        x1, x2 = frame.x(plot.flat[0]), frame.x(plot.flat[1])
        parts.append(rect("flat", x1, _TOP, x2 - x1, _BOTTOM - _TOP, ' fill="#dfe9f1"'))
        parts += [line("flat-edge", x, _TOP, x, _BOTTOM, f' stroke="{SOFT}" stroke-dasharray="2 2"') for x in (x1, x2)]
    parts += [_band(band, frame) for band in plot.bands]
    for low, high in plot.outside:
        x1, x2 = frame.x(low), frame.x(high)
        parts.append(rect("outside", x1, _BOTTOM - 9, max(x2 - x1, 3.0), 9, f' fill="url(#{uid}-h)"'))
        parts.append(line("outside-edge", x1, _BOTTOM - 9, max(x2, x1 + 3), _BOTTOM - 9, f' stroke="{CLAY}"'))
    parts += [_trace(trace, frame) for trace in plot.traces]
    parts += _uprights(plot, frame)
    parts.append("</svg>")
    return Svg("".join(parts))


def _even_ticks(end: float) -> list[float]:
    """Ticks that cut an axis with a round end into equal, round parts; else the round values below its end."""
    power = 10.0 ** floor(log10(end))
    parts = next((n for share, n in _ROUND.items() if abs(end - share * power) < 1e-9 * end), 0)
    return [end * i / parts for i in range(parts + 1)] if parts else round_ticks(0.0, end)[::2]


def _axes(
    plot: Plot,
    frame: _Frame,
    y_ticks: Sequence[float],
    x_words: Callable[[float], str],
    y_words: Callable[[float], str],
) -> list[str]:
    parts = []
    for value in y_ticks:
        y = frame.y(value)
        parts.append(line("grid", frame.left, y, _RIGHT, y, f' stroke="{LINE}" stroke-width="1"'))
        parts.append(_word("tick-word", frame.left - 5, y + 4.5, y_words(value), "end"))
    ticks = _even_ticks(plot.x_end)
    labels = [Label("tick-word", frame.x(v), (x_words(v),), reach=12.0) for v in ticks]
    parts += [line("axis", frame.left, _BOTTOM, _RIGHT, _BOTTOM, f' stroke="{SOFT}" stroke-width="1.2"')]
    for value in ticks:
        x = frame.x(value)
        parts.append(line("tick", x, _BOTTOM, x, _BOTTOM + 4, f' stroke="{SOFT}" stroke-width="1.2"'))
    for item in place(labels, 2.0, WIDTH - 2.0, TYPE_SIZE):
        parts.append(_word(item.css, (item.left + item.right) / 2, _TICK_LINE, item.words, "middle"))
    for forms, baseline, at in ((plot.y_name, _TITLE_LINE, 0.0), (plot.x_name, _NAME_LINE, float(WIDTH))):
        for item in place([Label("name", at, forms, reach=WIDTH)], 2.0, WIDTH - 2.0, TYPE_SIZE):
            left = at == 0
            parts.append(_word("name", 2.0 if left else _RIGHT, baseline, item.words, "start" if left else "end"))
    return parts


def _band(band: Band, frame: _Frame) -> str:
    points = [(x, low, high) for x, low, high in zip(band.x, band.low, band.high, strict=True) if _all(x, low, high)]
    if len(points) < 2:
        return ""
    there = [f"{num(frame.x(x))} {num(frame.y(high))}" for x, _low, high in points]
    back = [f"{num(frame.x(x))} {num(frame.y(low))}" for x, low, _high in reversed(points)]
    return f'<path class="band" d="M{"L".join(there + back)}z" fill="{WASH}"/>'


def _trace(trace: Trace, frame: _Frame) -> str:
    path, last = [], None
    for x, y in zip(trace.x, trace.y, strict=True):
        if not _all(x, y):
            last = None
            continue
        px, py = num(frame.x(x)), num(frame.y(y))
        if last is None:
            path.append(f"M{px} {py}")
        elif trace.steps:
            path.append(f"H{px}V{py}")
        else:
            path.append(f"L{px} {py}")
        last = x
    if not path:
        return ""
    color, width, dash = _PAINT[trace.css]
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<path class="{trace.css}" d="{"".join(path)}" fill="none" stroke="{color}" stroke-width="{width}"{dashed}/>'
    )


def _uprights(plot: Plot, frame: _Frame) -> list[str]:
    parts, labels = [], []
    for mark in plot.uprights:
        if not 0 <= mark.at <= plot.x_end:
            continue
        x = frame.x(mark.at)
        color, width, dash = _PAINT[mark.css]
        dashed = f' stroke-dasharray="{dash}"' if dash else ""
        extra = f' stroke="{color}" stroke-width="{width}"{dashed}'
        parts.append(line(mark.css, x, _MARK_LINE + 4, x, _BOTTOM, extra))
        labels.append(Label(mark.css, x, mark.forms))
    for item in place(labels, 2.0, WIDTH - 2.0, TYPE_SIZE):
        parts.append(_word(item.css, (item.left + item.right) / 2, _MARK_LINE, item.words, "middle", bold=True))
    return parts


def _word(css: str, x: float, y: float, words: str, anchor: str, bold: bool = False) -> str:
    color = _PAINT[css][0] if css in _PAINT else SOFT
    weight = "700" if bold else "400"
    return (
        f'<text class="{css}" x="{num(x)}" y="{num(y)}" text-anchor="{anchor}" fill="{color}" '
        f'font-weight="{weight}">{text(words)}</text>'
    )


def _all(*values: float) -> bool:
    return all(isfinite(value) for value in values)
