"""Two groups' repairs compared: a published test, R's log-rank score, and how seldom chance is called a difference."""

import numpy as np
import pytest

from fleet.reliability import compare_repairs
from tests.reliability import published


def test_the_test_printed_by_an_r_package_on_its_simulated_data():
    """Source: R package reda, documentation of mcf(), data simuDat; Cook, Lawless & Nadeau (1996)."""
    case = published.case("c38")
    data, printed = case["data"], case["published"]
    found = compare_repairs(data["event_unit"], data["event_time"], data["unit"], 0, data["end"], data["treated"])
    assert round(found.score, 4) == printed["statistic"]
    assert round(found.variance, 4) == printed["variance"]
    assert round(found.statistic, 4) == printed["chisq"]
    assert round(found.p_value, 6) == printed["p"]
    assert (sum(found.units), sum(found.repairs)) == (100, 400)


def test_where_units_fail_once_the_score_is_that_of_the_log_rank_test():
    """c13, R survdiff: its chi-square is our score squared over the hypergeometric variance, worked out here."""
    data = published.case("c13")["data"]
    time, event = np.array(data["time"], float), np.array(data["status"]) == 1
    first = np.array(data["x"]) == "Maintained"
    unit = np.arange(len(time))
    found = compare_repairs(unit[event], time[event], unit, 0, time, ~first)
    variance = 0.0
    for at in np.unique(time[event]):
        n, n1, d = (time >= at).sum(), (first & (time >= at)).sum(), (event & (time == at)).sum()
        if n > 1:
            variance += d * n1 / n * (1 - n1 / n) * (n - d) / (n - 1)
    assert found.score**2 / variance == pytest.approx(published.case("c13")["computed"]["logrank"]["chisq"], rel=1e-9)


def fleet(rng, sizes, rates, spread):
    """Two groups of units with gamma factors of their own, late entries and unequal ends."""
    group = np.repeat([False, True], sizes)
    n = len(group)
    entry, end = rng.uniform(0, 100, n), rng.uniform(150, 500, n)
    factor = rng.gamma(1 / spread, spread, n) if spread else np.ones(n)
    count = rng.poisson(np.where(group, rates[1], rates[0]) * factor * (end - entry))
    who = np.repeat(np.arange(n), count)
    return who, rng.uniform(entry[who], end[who]), np.arange(n), entry, end, group


@pytest.mark.parametrize(("sizes", "spread"), [((40, 40), 0.0), ((40, 40), 0.6), ((12, 25), 0.6)])
def test_groups_that_are_alike_are_seldom_called_different(sizes, spread):
    """1,000 fleets without a difference: near one in twenty below 0.05, somewhat more with few units; never far off."""
    rng = np.random.default_rng(5)
    low = np.mean([compare_repairs(*fleet(rng, sizes, (0.01, 0.01), spread)).p_value < 0.05 for _ in range(1000)])
    assert 0.03 < low < (0.075 if min(sizes) >= 40 else 0.1)


def test_a_real_difference_is_found():
    rng = np.random.default_rng(6)
    low = np.mean([compare_repairs(*fleet(rng, (40, 40), (0.01, 0.017), 0.4)).p_value < 0.05 for _ in range(200)])
    assert low > 0.8


def test_what_must_not_matter_does_not():
    who, when, unit, entry, end, group = fleet(np.random.default_rng(7), (20, 15), (0.01, 0.02), 0.5)
    found = compare_repairs(who, when, unit, entry, end, group)
    swapped = compare_repairs(who, when, unit, entry, end, ~group)
    assert (swapped.score, swapped.units) == (pytest.approx(-found.score), found.units[::-1])
    assert swapped.p_value == pytest.approx(found.p_value)
    scaled = compare_repairs(who, 7 * when, unit, 7 * entry, 7 * end, group)
    assert scaled.statistic == pytest.approx(found.statistic)
    mixed = np.random.default_rng(8).permutation(len(unit))
    moved = compare_repairs(who[::-1], when[::-1], unit[mixed], entry[mixed], end[mixed], group[mixed])
    assert moved.statistic == pytest.approx(found.statistic)


def test_fleets_are_compared_within_themselves():
    """One fleet has hard ground and mostly the second model: taken together they differ, within the fleets not."""
    rng = np.random.default_rng(9)
    easy, hard = fleet(rng, (60, 20), (0.01, 0.01), 0.3), fleet(rng, (20, 60), (0.03, 0.03), 0.3)
    both = [
        np.concatenate([a, b + 1000 if k in (0, 2) else b]) for k, (a, b) in enumerate(zip(easy, hard, strict=True))
    ]
    stratum = np.repeat([1, 2], [80, 80])
    assert compare_repairs(*both).p_value < 0.01
    within = compare_repairs(*both, stratum=stratum)
    assert within.p_value > 0.05
    assert within.strata == (1, 2)
    alone = [compare_repairs(*one) for one in (easy, hard)]
    assert within.score == pytest.approx(sum(one.score for one in alone))
    assert within.variance == pytest.approx(sum(one.variance for one in alone))


def test_without_shared_hours_there_is_no_answer_and_bad_rows_are_named():
    assert compare_repairs([1], [20], [1, 2], [0, 50], [40, 90], [0, 1]) is None
    assert compare_repairs([], [], [1, 2], 0, 100, [0, 1]) is None
    assert compare_repairs([1], [5], [1, 2], 0, 100, [0, 0]) is None
    assert compare_repairs([1], [5], [1, 2], 0, 100, [0, 1], stratum=["a", "b"]) is None
    with pytest.raises(ValueError, match="more than one window"):
        compare_repairs([1], [5], [1, 1], 0, 100, [0, 1])
    with pytest.raises(ValueError, match="unit 2 is not watched at 500 h"):
        compare_repairs([2], [500], [1, 2], 0, 100, [0, 1])
    with pytest.raises(ValueError, match=r"unit 1: \(50, 40\] is no span"):
        compare_repairs([1], [5], [1], 50, [40], [0])
