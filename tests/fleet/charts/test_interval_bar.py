"""Bars with caps: where they lie, what they say, what may be written into them."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from fleet.charts.interval_bar import Range, Scale, interval_bar


def drawn(low, at, high, sure=False, others=(1000.0,)):
    scale = Scale.over([low, at, high, *others])
    return interval_bar(Range(low, at, high, sure), scale, "iv1", "North <b>", lambda v: f"${v:.0f}")


def test_the_bar_runs_from_low_to_high_on_the_shared_scale():
    svg = drawn(100, 300, 500)
    caps = [float(x) for x in re.findall(r'class="cap" x1="([\d.]+)"', svg)]
    zero = float(re.search(r'class="zero" x1="([\d.]+)"', svg).group(1))
    assert zero == 14.0
    assert caps == pytest.approx([14 + 0.1 * 302, 14 + 0.5 * 302], abs=0.06)


def test_the_dot_is_filled_only_where_the_record_is_sure():
    assert "sure-dot" in drawn(100, 300, 500, sure=True)
    assert "open-dot" in drawn(100, 300, 500)


def test_amounts_stand_together_where_the_bar_is_short():
    words = re.findall(r"<text[^>]*>([^<]+)</text>", drawn(1, 2, 3))
    assert words[0] == "$1 – $3"
    assert re.findall(r"<text[^>]*>([^<]+)</text>", drawn(100, 500, 900))[:2] == ["$900", "$100"]


def test_words_are_escaped_and_the_drawing_is_well_formed():
    svg = drawn(-50, 0, 400)
    assert "North &lt;b&gt;" in svg
    ElementTree.fromstring(svg)
    with pytest.raises(ValueError, match="id"):
        interval_bar(Range(0, 1, 2, False), Scale(0, 2), 'x"y', "t", str)


def test_a_scale_of_nothing_is_still_a_scale():
    assert Scale.over([]).x(0.0) == 14.0
