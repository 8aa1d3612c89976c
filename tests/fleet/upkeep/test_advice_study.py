"""The study of what following the advice costs: its ledger by plain arithmetic, and a short run of it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.benchmarks.study_advice import Difference, differences
from tests.fleet.upkeep.advice_study import Rule, costs, run
from tests.fleet.upkeep.advice_world import IN_SEASON, KNOWN, SETTINGS, draw_world, service_an_hour

SMALL = replace(SETTINGS[0], places=6, seasons=8)


def test_what_never_replacing_costs_is_the_sum_of_one_units_bills():
    setting = replace(SMALL, places=1, warranty=0, price=1e9, resale=0.5)
    world = draw_world(setting, np.random.default_rng(3))
    lives, usual = world.lives, float(world.usual[0])
    # Repairs dearer than half a price of a thousand million never come: the first unit stays to the end.
    first = lives.first[world.unit(0, 0, False)], lives.first[world.unit(0, 0, False) + 1]
    begin = float(world.first_age[0]) * usual
    ends = begin + np.concatenate([[0.0], np.cumsum(world.hours[0])])
    parts, labor = service_an_hour(setting)
    total, repairs = 0.0, 0
    for f in range(*first):
        if lives.hour[f] < begin:
            continue
        repairs += 1
        season = int(np.searchsorted(ends, lives.hour[f], side="right")) - 1
        share = (lives.hour[f] - ends[season]) / (ends[season + 1] - ends[season])
        if season >= KNOWN:
            bill = lives.parts[f] + lives.labor[f] * setting.labor + lives.days[f] * setting.day_down
            total += bill / 1.08 ** (season - KNOWN + share * IN_SEASON)
    for season in range(KNOWN, world.seasons):
        total += world.hours[0, season] * (parts + labor * setting.labor) / 1.08 ** (season - KNOWN)
    age = world.seasons + int(world.first_age[0])
    total -= setting.price * 0.5**age * 0.95**repairs / 1.08 ** (world.seasons - KNOWN)
    assert run(world, Rule()) == pytest.approx(total, rel=1e-9)


def test_following_the_advice_beats_running_units_into_the_ground():
    rows = [costs(SMALL, seed) for seed in (1, 2, 3)]
    assert rows[0] == costs(SMALL, 1)
    found = {d.rule: d for d in differences(rows)}
    assert list(found) == ["yearly", "at 3 seasons", "never", "half price"]
    assert found["never"].mean < -0.05
    assert all(d.mean < 0.05 for d in found.values())


def test_a_goal_is_met_only_by_the_upper_limit():
    assert not Difference("never", -0.2, -0.5, 0.011).met
    assert Difference("never", 0.0, -0.01, 0.009).met
    two = differences([{"advice": 99.0, "never": 100.0}, {"advice": 97.0, "never": 100.0}])
    assert two[0].mean == pytest.approx(-0.02)
    # Student's t of one degree of freedom: 12.706 (any table).
    assert two[0].high == pytest.approx(-0.02 + 12.706 * 0.01, abs=1e-5)
