"""Scales of the rail: order is kept, round ticks are round."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.charts.axis import Axis, round_ticks
from fleet.charts.calendar import date_ticks, plain_date

values = st.floats(-1_000, 30_000)


@given(base=values, cycle=st.floats(0.5, 4_000), show=st.lists(values, max_size=3), pair=st.tuples(values, values))
def test_a_larger_value_never_stands_further_left(base, cycle, show, pair):
    axis = Axis.around(base, cycle, show, 6, 294)
    low, high = sorted(pair)
    assert 6 <= axis.x(low) <= axis.x(high) <= 294


@given(base=values, cycle=st.floats(0.5, 4_000), value=values)
def test_what_must_be_shown_is_shown(base, cycle, value):
    axis = Axis.around(base, cycle, [value], 6, 294)
    assert axis.far is None or axis.far == value
    assert value < base or axis.shows(value)


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [(212, 276.5, [220, 230, 240, 250, 260, 270]), (0, 8, [0, 1, 2, 3, 4, 5, 6, 7, 8]), (3, 3, []), (5, 1, [])],
)
def test_ticks_are_round(low, high, ticks):
    assert round_ticks(low, high) == pytest.approx(ticks)


def test_ticks_of_the_calendar_are_firsts_of_months():
    half_year = date_ticks(date(2026, 12, 2).toordinal(), date(2027, 6, 1).toordinal())
    assert [date.fromordinal(int(day)) for day in half_year] == [date(2027, month, 1) for month in (1, 2, 3, 4, 5, 6)]
    decade = date_ticks(date(2020, 5, 5).toordinal(), date(2029, 5, 5).toordinal())
    assert [date.fromordinal(int(day)) for day in decade] == [date(year, 1, 1) for year in range(2021, 2030)]


def test_the_year_is_written_only_where_it_differs():
    assert plain_date(date(2027, 4, 2), date(2027, 3, 1)) == "Apr 2"
    assert plain_date(date(2026, 4, 2), date(2027, 3, 1)) == "Apr 2, 2026"
