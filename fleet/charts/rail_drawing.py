"""Puts a rail's marks on paper: geometry and order of drawing, no meaning of its own."""

from __future__ import annotations

from dataclasses import dataclass

from fleet.charts.axis import Axis
from fleet.charts.labels import Label, Placed, place
from fleet.charts.svg import Svg, checked_id, line, num, rect, text

HEIGHT = 66
TYPE_SIZE = 13.0
_Y = 34.0  # the line itself
_ABOVE = 13.0  # baseline of the upper words
_BELOW = 60.0  # baseline of the lower words
_MARGIN = 2.0

# Colors for paper and for readers without the style sheet; all are set again by class on screen.
_INK, _SOFT, _LINE, _MOSS, _CLAY, _GROUND = "#17231d", "#55635b", "#cfd6cf", "#2f6b46", "#a8401f", "#dfe9f1"


@dataclass(frozen=True)
class Span:
    """A value and the range it may lie in: low <= at <= high."""

    at: float
    low: float
    high: float

    @property
    def is_wide(self) -> bool:
        return self.high > self.low


@dataclass(frozen=True)
class Marks:
    """Everything a rail shows, in values of its axis. Label tuples go from long to short."""

    axis: Axis
    base: float | None
    base_done: bool
    now: Span | None
    due: Span | None
    seasons: tuple[tuple[float, float], ...]
    ticks: tuple[float, ...]
    base_label: tuple[str, ...]
    now_label: tuple[str, ...]
    due_label: tuple[str, ...]
    season_label: str
    title: str
    desc: str


def draw(marks: Marks, uid: str, width: int) -> Svg:
    """Assemble the drawing; later parts lie over earlier ones."""
    checked_id(uid)
    labelled = f"{uid}-t {uid}-d" if marks.desc else f"{uid}-t"
    parts = [
        f'<svg class="rail" viewBox="0 0 {width} {HEIGHT}" role="img" aria-labelledby="{labelled}" '
        f'font-size="{num(TYPE_SIZE)}" font-family="Atkinson Hyperlegible Next, sans-serif">',
        f'<title id="{uid}-t">{text(marks.title)}</title>',
    ]
    if marks.desc:
        parts.append(f'<desc id="{uid}-d">{text(marks.desc)}</desc>')
    parts += _ground(marks)
    parts += _line(marks)
    parts += _due(marks, uid)
    parts += _base(marks)
    parts += _now(marks)
    parts += [_word(item, _ABOVE) for item in _words_above(marks, width)]
    parts += [_word(item, _BELOW) for item in _words_below(marks, width)]
    parts.append("</svg>")
    return Svg("".join(parts))


def _ground(marks: Marks) -> list[str]:
    """The season: a pale ground whose edges are drawn, so that it does not rest on color."""
    parts = []
    for low, high in marks.seasons:
        x1, x2 = marks.axis.x(low), marks.axis.x(high)
        parts.append(rect("season", x1, _Y - 11, x2 - x1, 22, f' fill="{_GROUND}"'))
        for value, x in ((low, x1), (high, x2)):
            if marks.axis.shows(value):
                edge = f' stroke="{_SOFT}" stroke-width="1" stroke-dasharray="2 2"'
                parts.append(line("season-edge", x, _Y - 11, x, _Y + 11, edge))
    return parts


def _line(marks: Marks) -> list[str]:
    """The line, its ticks, what has been used of it, and the break where it has one."""
    axis = marks.axis
    dash = ' stroke-dasharray="5 5"' if marks.now is None else ' stroke-linecap="round"'
    parts = [line("axis", axis.left, _Y, axis.right, _Y, f' stroke="{_LINE}" stroke-width="6"{dash}')]
    for tick in marks.ticks:
        if axis.shows(tick):
            x = axis.x(tick)
            parts.append(line("tick", x, _Y - 3, x, _Y + 3, f' stroke="{_SOFT}" stroke-width="1"'))
    if marks.now:
        x_now = axis.x(marks.now.at)
        x_from = axis.x(marks.base) if marks.base is not None else axis.left
        unsure = ' stroke-dasharray="3 3"' if marks.base is None else ""
        parts.append(line("used", x_from, _Y, max(x_now, x_from), _Y, f' stroke="{_MOSS}" stroke-width="6"{unsure}'))
        if marks.due and marks.now.at > marks.due.at:
            x_due = max(axis.x(marks.due.at), x_from)
            parts.append(line("over", x_due, _Y, max(x_now, x_due), _Y, f' stroke="{_CLAY}" stroke-width="6"'))
    if axis.break_at:
        x1, x2 = axis.break_at
        parts.append(
            f'<path class="gap" d="M{num(x1)} {num(_Y + 7)}l5 -14h{num(x2 - x1)}l-5 14z" fill="#fff"/>'
            f'<path class="gap-edge" d="M{num(x1)} {num(_Y + 7)}l5 -14M{num(x2)} {num(_Y + 7)}l5 -14" '
            f'fill="none" stroke="{_INK}" stroke-width="1.5"/>'
        )
    return parts


def _due(marks: Marks, uid: str) -> list[str]:
    if not marks.due:
        return []
    x = marks.axis.x(marks.due.at)
    parts = []
    if marks.due.is_wide:
        x1, x2 = marks.axis.x(marks.due.low), marks.axis.x(marks.due.high)
        parts.append(
            f'<defs><pattern id="{uid}-h" width="5" height="5" patternTransform="rotate(45)" '
            f'patternUnits="userSpaceOnUse"><line class="hatch" x1="1" y1="0" x2="1" y2="5" '
            f'stroke="{_CLAY}" stroke-width="1.6"/></pattern></defs>'
        )
        parts.append(rect("due-band", x1, _Y - 11, x2 - x1, 22, f' fill="url(#{uid}-h)"'))
    parts.append(line("due", x, _Y - 14, x, _Y + 14, f' stroke="{_CLAY}" stroke-width="2.5"'))
    return parts


def _base(marks: Marks) -> list[str]:
    """An open ring where the task was done; an open square where counting merely began."""
    if marks.base is None:
        return []
    x = marks.axis.x(marks.base)
    paint = f' fill="#fff" stroke="{_MOSS}" stroke-width="2.5"'
    if marks.base_done:
        return [f'<circle class="last" cx="{num(x)}" cy="{num(_Y)}" r="4.2"{paint}/>']
    return [rect("last", x - 3.6, _Y - 3.6, 7.2, 7.2, paint)]


def _now(marks: Marks) -> list[str]:
    if not marks.now:
        return []
    x = marks.axis.x(marks.now.at)
    parts = []
    if marks.now.is_wide:
        x1, x2 = marks.axis.x(marks.now.low), marks.axis.x(marks.now.high)
        parts.append(line("now-band", x1, _Y, x2, _Y, f' stroke="{_INK}" stroke-width="3"'))
    parts.append(f'<path class="now" d="M{num(x)} {num(_Y - 3)}l-6 -12h12z" fill="{_INK}"/>')
    return parts


def _words_above(marks: Marks, width: int) -> list[Placed]:
    if marks.now:
        label = Label("n", marks.axis.x(marks.now.at), marks.now_label)
    else:
        label = Label("l", marks.axis.x_base - 4, marks.now_label, from_left=True)
    return place([label], _MARGIN, width - _MARGIN, TYPE_SIZE)


def _words_below(marks: Marks, width: int) -> list[Placed]:
    labels = []
    if marks.due:
        labels.append(Label("d", marks.axis.x(marks.due.at), marks.due_label))
    if marks.base is not None:
        labels.append(Label("l", marks.axis.x(marks.base) - 4, marks.base_label, from_left=True, reach=30))
    if marks.seasons and marks.season_label:
        low, high = marks.seasons[-1]
        middle = (marks.axis.x(low) + marks.axis.x(high)) / 2
        reach = max(6.0, (marks.axis.x(high) - marks.axis.x(low)) / 2)
        labels.append(Label("s", middle, (marks.season_label,), reach=reach))
    return place(labels, _MARGIN, width - _MARGIN, TYPE_SIZE)


def _word(item: Placed, baseline: float) -> str:
    # Anchored in the middle of its room, so that a wrong guess at the width errs evenly.
    color, weight = {"n": (_INK, "700"), "d": (_CLAY, "700")}.get(item.css, (_SOFT, "400"))
    left_aligned = item.css == "l"
    x = item.left if left_aligned else (item.left + item.right) / 2
    anchor = "start" if left_aligned else "middle"
    return (
        f'<text class="{item.css}" x="{num(x)}" y="{num(baseline)}" text-anchor="{anchor}" '
        f'fill="{color}" font-weight="{weight}">{text(item.words)}</text>'
    )
