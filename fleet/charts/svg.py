"""The few pieces every drawing needs: a safe string type, escaping, number output."""

from __future__ import annotations

import re
from xml.sax.saxutils import escape

# Characters that XML 1.0 does not allow at all, even escaped (section 2.2, "Char").
_NOT_XML = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
_ID = re.compile(r"[A-Za-z][A-Za-z0-9_-]*")


class Svg(str):
    """Markup that has been escaped while it was built.

    The ``__html__`` method is the convention by which template engines recognize a
    string that needs no further escaping, so this module need not import one.
    """

    __slots__ = ()

    def __html__(self) -> str:
        return self


def text(value: str) -> str:
    """Escape ``value`` for use as text or inside a double-quoted attribute."""
    return escape(_NOT_XML.sub("", value), {'"': "&quot;"})


def num(value: float) -> str:
    """Write a coordinate with one decimal: finer than any screen, and short."""
    short = f"{value:.1f}"
    return short[:-2] if short.endswith(".0") else short


def checked_id(uid: str) -> str:
    """Refuse an id that could break out of an attribute or a ``url(#...)``."""
    if not _ID.fullmatch(uid):
        raise ValueError(f"not usable as an id: {uid!r}")
    return uid


def line(css: str, x1: float, y1: float, x2: float, y2: float, extra: str = "") -> str:
    """Draw a straight line."""
    return f'<line class="{css}" x1="{num(x1)}" y1="{num(y1)}" x2="{num(x2)}" y2="{num(y2)}"{extra}/>'


def rect(css: str, x: float, y: float, width: float, height: float, extra: str = "") -> str:
    """Draw a rectangle."""
    return f'<rect class="{css}" x="{num(x)}" y="{num(y)}" width="{num(max(width, 0))}" height="{num(height)}"{extra}/>'
