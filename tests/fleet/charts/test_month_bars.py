"""Months as bars on one scale, with their band and the year before."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from fleet.charts.month_bars import MonthBar, month_bars


def drawn(months):
    return month_bars(months, "b1", "A & B", lambda v: f"${v:.0f}")


def test_heights_follow_the_amounts():
    svg = drawn([MonthBar("Mar", 100.0, 50.0, 200.0, 80.0), MonthBar("Apr", 50.0, 0.0, 90.0, 0.0)])
    heights = [float(h) for h in re.findall(r'class="booked"[^>]* height="([\d.]+)"', svg)]
    assert heights[0] == pytest.approx(2 * heights[1], abs=0.2)
    assert svg.count('class="cap"') == 4
    assert "A &amp; B" in svg
    ElementTree.fromstring(svg)


def test_months_without_any_amount_are_drawn_flat():
    ElementTree.fromstring(drawn([MonthBar("Dec", 0.0, 0.0, 0.0, 0.0)]))
