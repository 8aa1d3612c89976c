"""Months as bars on one scale, with their band and the year before."""

from __future__ import annotations

import re
from itertools import pairwise
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


def test_on_a_phone_all_twelve_fit_beside_each_other():
    months = [MonthBar(name, 90.0, 50.0, 200.0, 80.0) for name in ("Jan", "Feb", "Mar") * 4]
    svg = month_bars(months, "b2", "Year", lambda v: f"${v:,.0f}", phone=True)
    root = ElementTree.fromstring(svg)
    width = float(root.get("viewBox").split()[2])
    assert width <= 350, "narrower than the smallest phone's page, so that type keeps its size"
    edges = [(float(r.get("x")), float(r.get("x")) + float(r.get("width"))) for r in root if r.get("class") == "booked"]
    assert all(0 < a < b < width for a, b in edges)
    assert all(b < a for (_, b), (a, _) in pairwise(edges))
    assert [t.text for t in root if (t.text or "") in "JFM"].count("J") == 4
