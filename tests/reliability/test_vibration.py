"""Daily vibration: ISO 5349-1:2001 and the seen figures of a public ready reckoner (c35 in ``data/``)."""

import numpy as np
import pytest

from fleet.reliability import daily_vibration
from tests.reliability import published


def test_every_cell_of_the_published_grid():
    for cell in published.case("c35")["computed"]["grid"]:
        day = daily_vibration(cell["a"], cell["h"])
        assert day.a8 == pytest.approx(cell["A8"], rel=1e-12)
        assert day.points == pytest.approx(cell["points"], rel=1e-12)


def test_machines_add_up_by_energy():
    (case,) = published.case("c35")["computed"]["combined"]
    magnitudes, hours = zip(*case["exposures"], strict=True)
    day = daily_vibration(magnitudes, hours)
    assert day.a8 == pytest.approx(case["A8"], rel=1e-12)
    assert day.points == pytest.approx(case["points"], rel=1e-12)


def test_seen_figures_and_values():
    assert daily_vibration(5.0, 3.0).points == pytest.approx(150)
    assert daily_vibration(2.5, 8.0).level == "action"
    assert daily_vibration(5.0, 8.0).level == "limit"
    assert daily_vibration(2.5, 7.9).level == "below_action"


def test_time_left_matches_the_published_times():
    for row in published.case("c35")["computed"]["time_to"]:
        day = daily_vibration(row["a"], 0.0)
        assert day.hours_to_action * 60 == pytest.approx(row["minutes_to_EAV"])
        assert day.hours_to_limit * 60 == pytest.approx(row["minutes_to_ELV"])
    assert daily_vibration(6.0, 3.0).hours_to_action == 0


def test_bad_figures_are_refused():
    for magnitude, hours in ((-1.0, 2.0), (4.0, -1.0), (np.nan, 1.0), (4.0, 25.0)):
        with pytest.raises(ValueError, match="hours"):
            daily_vibration(magnitude, hours)
