"""Colors against WCAG 2.2: contrast by its own formula, in every scheme."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

CSS = Path(__file__).parents[3] / "fleet/static/fleet/css"
TOKENS = (CSS / "tokens.css").read_text()

# What is written on what. Text needs 4.5:1 (1.4.3), outdoors 7:1 (1.4.6); edges of controls and marks 3:1 (1.4.11).
TEXT = [
    *[(ink, ground) for ink in ("ink", "soft", "moss", "clay", "straw", "slate") for ground in ("paper", "card")],
    ("on-moss", "moss"),
    ("on-moss", "moss-deep"),
    ("ink", "moss-wash"),
    ("moss", "moss-wash"),
    ("ink", "clay-wash"),
    ("clay", "clay-wash"),
    ("ink", "straw-wash"),
    ("soft", "straw-wash"),
    ("ink", "slate-wash"),
    ("slate", "slate-wash"),
    ("on-bar", "bar"),
    ("on-bar-soft", "bar"),
    ("on-bar", "bar-lit"),
    ("warn-ink", "warn-fill"),
]
MARKS = [
    *[(mark, ground) for mark in ("edge", "focus", "moss", "clay", "ink") for ground in ("paper", "card")],
    ("moss", "rail"),
    ("ink", "ground"),
    ("clay", "ground"),
]


def values(block: str) -> dict[str, str]:
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{3,6});", block))


def block_after(selector: str) -> str:
    start = TOKENS.index(selector)
    return TOKENS[TOKENS.index("{", start) : TOKENS.index("}", start)]


LIGHT = values(block_after("\n:root {"))
DARK = values(block_after(':root[data-theme="dark"]'))
OUTDOORS = LIGHT | values(block_after(':root[data-theme="outdoors"]'))


def luminance(color: str) -> float:
    """Relative luminance as WCAG 2.2 defines it (its glossary)."""
    digits = color[1:] if len(color) == 7 else "".join(digit * 2 for digit in color[1:])
    channels = [int(digits[at : at + 2], 16) / 255 for at in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_published_extremes():
    # WCAG 2.2, note to "contrast ratio": from 1:1 to 21:1. #767676 on white is its usual example of 4.54:1.
    assert contrast("#fff", "#000") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize(("scheme", "least"), [("light", 4.5), ("dark", 4.5), ("outdoors", 7)])
def test_text_can_be_read(scheme, least):
    colors = {"light": LIGHT, "dark": DARK, "outdoors": OUTDOORS}[scheme]
    faint = {
        f"{ink} on {ground}": round(contrast(colors[ink], colors[ground]), 2)
        for ink, ground in TEXT
        if contrast(colors[ink], colors[ground]) < least
    }
    assert faint == {}


@pytest.mark.parametrize("scheme", ["light", "dark", "outdoors"])
def test_edges_and_marks_can_be_seen(scheme):
    colors = {"light": LIGHT, "dark": DARK, "outdoors": OUTDOORS}[scheme]
    faint = {
        f"{mark} on {ground}": round(contrast(colors[mark], colors[ground]), 2)
        for mark, ground in MARKS
        if contrast(colors[mark], colors[ground]) < 3
    }
    assert faint == {}


def test_dark_is_the_same_by_wish_of_the_device_and_by_choice():
    wished = values(block_after(':root:not([data-theme="light"]'))
    assert wished == DARK
    assert set(DARK) == set(LIGHT)


def test_no_other_sheet_writes_a_color():
    # Paper has its own tokens; the square code and a shadow are the only literal colors elsewhere.
    allowed = {"print.css": None, "tokens.css": None}
    for sheet in CSS.glob("*.css"):
        if sheet.name in allowed:
            continue
        rules = re.sub(r"/\*.*?\*/", "", sheet.read_text(), flags=re.S)
        found = re.findall(r"#[0-9a-fA-F]{3,8}\b", rules)
        assert set(found) <= {"#fff"}, sheet.name
        assert len(found) <= 1, sheet.name


def test_every_token_used_is_defined():
    defined = set(re.findall(r"--([a-z-]+):", TOKENS))
    for sheet in CSS.glob("*.css"):
        used = set(re.findall(r"var\(--([a-z-]+)\)", sheet.read_text()))
        assert used <= defined, (sheet.name, used - defined)


def test_nothing_is_fetched_from_elsewhere():
    for sheet in CSS.glob("*.css"):
        assert not re.search(r"https?:|@import|url\(\s*[\"']?//", sheet.read_text()), sheet.name


def test_what_is_carried_along_has_its_license():
    root = CSS.parent
    assert "SIL OPEN FONT LICENSE" in (root / "fonts/OFL.txt").read_text()
    assert "Zero-Clause BSD" in (root / "vendor/htmx-LICENSE.txt").read_text()
