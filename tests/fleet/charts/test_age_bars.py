"""Replacement ages on one line: the lowest filled, the last age in warranty squared."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from fleet.charts.age_bars import age_bars


def drawn(costs, best, warranty=None):
    return age_bars(costs, best, warranty, "a1", "Heron & co", lambda v: f"${v:.2f}")


def test_the_lowest_cost_lies_lowest_and_is_filled():
    svg = drawn([3.0, 2.5, 2.0, 2.4], 3, 2)
    y = float(re.search(r'class="best" cx="[\d.]+" cy="([\d.]+)"', svg).group(1))
    assert y == pytest.approx(62.0)
    assert svg.count("<rect") == 1
    assert [w for w in re.findall(r"<text[^>]*>([^<]+)<", svg) if w.startswith("$")] == ["$3.00", "$2.00", "$2.40"]


def test_it_is_well_formed_for_one_age_and_for_equal_costs():
    for costs in ([2.0], [2.0, 2.0, 2.0]):
        ElementTree.fromstring(drawn(costs, 1))
    assert "Heron &amp; co" in drawn([1.0, 2.0], 1)
