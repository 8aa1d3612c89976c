"""Keep or replace: closed forms, enumeration, limits, and advice that never contradicts the spend limit."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import nbinom

from fleet.reliability import keep_or_replace
from fleet.reliability.replacement import replacement_ages
from tests.reliability import published


def closed_form(price, costs, resale, rate):
    """v0 = min over n of [sum_{i<n} d^i c_i + d^n (P - R_n)] / (1 - d^n)."""
    d = 1 / (1 + rate)
    return min(
        (sum(d**i * costs[i] for i in range(n)) + d**n * (price - resale[n])) / -np.expm1(n * np.log(d))
        for n in range(1, len(costs) + 1)
    )


money = st.floats(0, 500)
unit_cases = st.fixed_dictionaries(
    {
        "price": st.floats(100, 800),
        "repairs_per_season": st.lists(st.floats(0, 3), min_size=1, max_size=7),
        "repair_cost": money,
        "downtime_cost": st.floats(0, 100),
        "discount_rate": st.sampled_from([1e-6, 1e-3, 0.02, 0.08, 0.3]),
        "fade": st.floats(0.3, 1.0),
        "share": st.floats(0.0, 0.9),
    }
)


def arguments(case):
    seasons = len(case["repairs_per_season"])
    resale = case["price"] * case["share"] * case["fade"] ** np.arange(seasons + 1)
    rest = {key: value for key, value in case.items() if key not in ("fade", "share")}
    return {**rest, "resale": resale}


@settings(max_examples=60, deadline=None)
@given(unit_cases)
def test_a_new_unit_is_worth_what_the_discounted_closed_form_says(case):
    given_ = arguments(case)
    answer = keep_or_replace(**given_)
    costs = np.array(given_["repairs_per_season"]) * (given_["repair_cost"] + given_["downtime_cost"])
    expected = closed_form(given_["price"], costs, given_["resale"], given_["discount_rate"])
    assert answer.new_unit_values[0] == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_as_the_rate_vanishes_the_limit_is_what_keeping_saves_on_the_least_average():
    costs, price = np.array([10.0, 20, 40, 80, 160]), 100.0
    average = (np.cumsum(costs) + price) / np.arange(1, 6)
    best = int(np.argmin(average)) + 1
    for age in range(5):
        answer = keep_or_replace(
            price=price,
            resale=np.zeros(6),
            repairs_per_season=np.zeros(5),
            repair_cost=0,
            season_cost=costs,
            age=age,
            discount_rate=0,
        )
        expected = sum(average.min() - costs[j] for j in range(age, best)) if age < best else 0.0
        assert answer.spend_limit == pytest.approx(max(expected, 0), abs=1e-3)
        if age == 0:
            assert answer.spend_limit == pytest.approx(price, abs=1e-3)


def test_many_short_seasons_approach_the_continuous_power_law_age():
    """t* = theta (P / ((beta - 1) c))^(1 / beta) with minimal repair."""
    price, repair, theta, beta = 400.0, 90.0, 150.0, 2.2
    best = theta * (price / ((beta - 1) * repair)) ** (1 / beta)
    step = best / 200
    edges = np.arange(401) * step
    answer = keep_or_replace(
        price=price,
        resale=np.zeros(401),
        repairs_per_season=np.diff((edges / theta) ** beta),
        repair_cost=repair,
        discount_rate=0,
        most_repairs=0,
    )
    assert answer.best_age_seasons * step == pytest.approx(best, rel=0.006)


def enumerated_value(price, resale, means, cost, a, d, loss, top):
    """Every stopping rule by (season, repairs), tried one by one: the least v0."""
    seasons = len(means)
    states = [(n, k) for n in range(1, seasons) for k in range(top + 1)]
    chances = {}
    for n in range(seasons):
        passed = sum(means[:n])
        for k in range(top + 1):
            p = nbinom.pmf(np.arange(top + 1), a + k, (a + passed) / (a + passed + means[n]))
            row = np.zeros(top + 1)
            for j, q in enumerate(p):
                row[min(k + j, top)] += q
            row[top] += 1 - row.sum()
            chances[n, k] = row
    best = np.inf
    for rule in itertools.product([False, True], repeat=len(states)):
        go = dict(zip(states, rule, strict=True))
        alpha, gamma = 0.0, 0.0
        live = {0: 1.0}
        for n in range(seasons):
            new: dict[int, float] = {}
            for k, weight in live.items():
                alpha += d**n * weight * cost * means[n] * (a + k) / (a + sum(means[:n]))
                for j, q in enumerate(chances[n, k]):
                    stop = n + 1 == seasons or go.get((n + 1, j), True)
                    if stop:
                        alpha += d ** (n + 1) * weight * q * (price - resale[n + 1] * (1 - loss) ** j)
                        gamma += d ** (n + 1) * weight * q
                    else:
                        new[j] = new.get(j, 0.0) + weight * q
            live = new
        best = min(best, alpha / (1 - gamma))
    return best


@pytest.mark.parametrize("spread", [0.3, 1.5])
def test_policy_iteration_agrees_with_every_stopping_rule_tried_in_turn(spread):
    price, resale, means, cost = 300.0, np.array([250.0, 160, 90, 30]), [0.3, 0.8, 1.6], 110.0
    answer = keep_or_replace(
        price=price,
        resale=resale,
        repairs_per_season=means,
        repair_cost=cost,
        spread=spread,
        resale_loss_per_repair=0.1,
        most_repairs=3,
    )
    expected = enumerated_value(price, resale, means, cost, 1 / spread, 1 / 1.08, 0.1, 3)
    assert answer.new_unit_values[0] == pytest.approx(expected, rel=1e-9)


def test_going_on_after_the_last_season_has_its_closed_form():
    """v0 = min of the replacement ages' values and of never replacing: sum_{i<N} d^i c_i + d^N c_N-1 / (1 - d)."""
    common = {"price": 400.0, "resale": [300.0, 200, 120, 60], "repairs_per_season": [0.2, 0.4, 0.5], "repair_cost": 90}
    d, c = 1 / 1.08, 90 * np.array([0.2, 0.4, 0.5])
    never = c[0] + d * c[1] + d**2 * c[2] + d**3 * c[2] / (1 - d)
    assert never < closed_form(400.0, c, common["resale"], 0.08)
    answer = keep_or_replace(**common, goes_on=True)
    assert answer.new_unit_values[0] == pytest.approx(never, rel=1e-9)
    # Where seasons grow dear, that it might go on changes nothing.
    steep = {**common, "repairs_per_season": [0.2, 1.5, 6.0]}
    assert keep_or_replace(**steep, goes_on=True).new_unit_values[0] == pytest.approx(
        keep_or_replace(**steep).new_unit_values[0], rel=1e-12
    )


def given_up_by_hand(price, resale, means, bills, down, fixed, broken, a, d, top, new, goes_on):
    """Cost to go of a new unit, repair by repair, where each is made or the unit given up; nothing of ours."""
    middle = math.sqrt(d) * (price + new) - broken - fixed / 2

    def factor(k, passed):
        return (a + k) / (a + passed)

    def season(after, expected):
        """(mean cost, chance of giving up) of a repair that leads to what stands ``after``."""
        limit = middle - down - after - expected * (sum(bills) / len(bills) + down) / 2
        made = [b for b in bills if b <= limit]
        q = 1 - len(made) / len(bills)
        # Share of the season gone: the mean of an exponential time cut off at 1.
        at = (
            quad(lambda t: t * math.exp(-expected * q * t), 0, 1)[0]
            / quad(lambda t: math.exp(-expected * q * t), 0, 1)[0]
        )
        quit_ = d**at * (price + new) - broken - (1 - at) * fixed
        return sum(made) / len(bills) + (1 - q) * down + q * quit_, q

    total = sum(means)
    value = [price - resale[-1] + new] * (top + 1)
    if goes_on:
        for k in range(top + 1):
            e = means[-1] * factor(k, total)
            stay = best = (fixed + e * (sum(bills) / len(bills) + down)) / (1 - d)
            for _ in range(8):
                cost, q = season(d * stay, e)
                gone = 1 - math.exp(-e * q)
                stay = (fixed + (gone / q if q else e) * cost) / (1 - d * (1 - gone))
                best = min(best, stay)
            value[k] = min(value[k], best)
    for n in range(len(means) - 1, -1, -1):
        passed = sum(means[:n])
        expected = [means[n] * factor(k, passed) for k in range(top + 1)]
        repair = [season(d * value[i], expected[i]) for i in range(top + 1)]
        keep = []
        for k in range(top + 1):
            cost = fixed
            chances = nbinom.pmf(np.arange(top + 1 - k), a + k, (a + passed) / (a + passed + means[n]))
            chances[-1] += 1 - chances.sum()
            for more, p in enumerate(chances):
                there = 1.0
                for i in range(k + 1, k + more + 1):
                    cost += p * there * repair[i][0]
                    there *= 1 - repair[i][1]
                cost += p * there * d * value[k + more]
            keep.append(cost)
        value = [min(keep[k], price - resale[n] + new) for k in range(top + 1)]
    return keep[0]


@pytest.mark.parametrize("goes_on", [False, True])
@pytest.mark.parametrize("spread", [0.3, 1.5])
def test_dear_repairs_given_up_agree_with_counting_repair_by_repair(spread, goes_on):
    resale, means, bills = [250.0, 160, 90, 30], [0.3, 0.8, 1.6], [20.0, 60, 90, 320]
    answer = keep_or_replace(
        price=300.0,
        resale=resale,
        repairs_per_season=means,
        repair_cost=sum(bills) / 4,
        bill_shares=4 * np.array(bills) / sum(bills),
        downtime_cost=25.0,
        season_cost=40.0,
        broken_resale=15.0,
        spread=spread,
        most_repairs=20,
        goes_on=goes_on,
    )
    new = 0.0
    for _ in range(300):
        new = given_up_by_hand(300.0, resale, means, bills, 25.0, 40.0, 15.0, 1 / spread, 1 / 1.08, 20, new, goes_on)
    every = keep_or_replace(
        price=300.0, resale=resale, repairs_per_season=means, repair_cost=sum(bills) / 4, downtime_cost=25.0,
        season_cost=40.0, spread=spread, most_repairs=20, goes_on=goes_on,
    )  # fmt: skip
    assert answer.new_unit_values[0] == pytest.approx(new, rel=1e-9)
    assert answer.new_unit_values[0] < every.new_unit_values[0]


def test_a_bad_record_shortens_a_units_life():
    common = {
        "price": 400,
        "resale": [300, 200, 120, 60, 0],
        "repairs_per_season": [0.3, 0.6, 1.1, 1.8],
        "repair_cost": 90,
        "spread": 0.6,
        "age": 2,
        "resale_loss_per_repair": 0.05,
    }
    margins = [keep_or_replace(repairs=k, **common).margin for k in range(6)]
    assert all(b < a for a, b in itertools.pairwise(margins))
    assert keep_or_replace(repairs=0, **common).advice == "keep"
    assert keep_or_replace(repairs=5, **common).advice == "replace"


@settings(max_examples=80, deadline=None)
@given(
    unit_cases,
    st.integers(0, 7),
    st.integers(0, 5),
    st.floats(0, 1),
    st.floats(0, 0.3),
    st.floats(0, 200),
    st.floats(0, 800),
    st.floats(0, 1),
)
def test_advice_and_spend_limit_are_the_cheapest_of_the_three_ways_out(
    case, age, repairs, spread, loss, replacement_downtime, estimate, broken_share
):
    given_ = arguments(case)
    age = min(age, len(given_["repairs_per_season"]) - 1)
    sold = given_["resale"][age] * (1 - loss) ** repairs
    broken = broken_share * sold
    answer = keep_or_replace(
        **given_,
        age=age,
        repairs=repairs,
        spread=spread,
        resale_loss_per_repair=loss,
        broken_resale=broken,
        replacement_downtime=replacement_downtime,
    )
    new = given_["price"] + answer.new_unit_values[0]
    keep = new - sold - answer.margin
    ways = {
        "repair_and_keep": estimate + given_["downtime_cost"] + keep,
        "repair_and_sell": estimate + given_["downtime_cost"] + new - sold,
        "replace": replacement_downtime + new - broken,
    }
    chosen = ways[answer.decide(estimate)]
    assert chosen <= min(ways.values()) + 1e-7 * (1 + abs(chosen))
    if answer.advice == "keep":
        assert answer.decide(min(estimate, answer.spend_limit)) in ("repair_and_keep", "replace")
        assert answer.decide(estimate) != "repair_and_sell"
    if answer.advice == "replace":
        assert answer.decide(estimate) != "repair_and_keep"


def test_uncertain_figures_ask_to_look_closer():
    seasons = np.array([0.5, 1.0, 1.6, 2.2])
    rng = np.random.default_rng(1)
    draws = seasons * np.exp(0.6 * rng.normal(size=(60, 1)))
    common = {"price": 400, "resale": [300, 220, 150, 100, 60], "repair_cost": 120, "age": 2}
    answer = keep_or_replace(repairs_per_season=seasons, unit_repairs_per_season=draws, **common)
    assert answer.margins.shape == (60,)
    assert 0.2 < answer.probability_keep < 0.8
    assert answer.advice == "look_closer"


def test_warranty_and_the_price_of_each_replacement_age():
    common = {
        "price": 400,
        "resale": [300, 200, 120, 60, 0],
        "repairs_per_season": [1.0, 1.2, 1.5, 1.9],
        "repair_cost": 90,
    }
    bare = keep_or_replace(**common, hours_per_season=200)
    covered = keep_or_replace(**common, warranty_share=[1, 0, 0, 0], hours_per_season=200)
    assert covered.cost_per_hour_by_age[0] == pytest.approx(bare.cost_per_hour_by_age[0] - 90 / 200)
    assert covered.best_age_seasons == 1 + int(np.argmin(covered.cost_per_hour_by_age))
    again = keep_or_replace(**common, new_value=bare.new_unit_values)
    assert again.margin == bare.margin


def test_after_the_last_season_a_unit_has_to_go():
    answer = keep_or_replace(price=400, resale=[300, 200], repairs_per_season=[0.5], repair_cost=90, age=1)
    assert answer.advice == "replace"
    assert answer.decide(10.0) == "repair_and_sell"


def test_economic_life_of_the_textbook_forklift():
    """Sullivan, Wicks & Koelling, Engineering Economy, example 9-4, table 9-2 (c33)."""
    data = published.case("c33")["data"]
    ours = replacement_ages(data["P"], data["E"], data["MV"], data["i"], costs_at="end")
    assert ours == pytest.approx(published.case("c33")["computed"]["EUAC"], rel=1e-9)
    assert ours.round().tolist() == published.case("c33")["published"]["EUAC"]
    assert 1 + int(np.argmin(ours)) == published.case("c33")["published"]["N_star"]


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"resale": [1, 2]}, "resale has shape"),
        ({"age": 9}, "age 9"),
        ({"price": 0}, "price"),
        ({"repairs_per_season": [-1, 1, 1, 1]}, "repairs_per_season"),
        ({"repair_cost": -1}, "costs"),
    ],
)
def test_bad_input_is_refused(change, message):
    good = {
        "price": 400,
        "resale": [300, 200, 120, 60, 0],
        "repairs_per_season": [0.2, 0.5, 1.0, 1.8],
        "repair_cost": 90,
    }
    with pytest.raises(ValueError, match=message):
        keep_or_replace(**{**good, **change})
