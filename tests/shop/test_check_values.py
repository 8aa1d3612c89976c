"""Check values of the trade, all of them common practice with no source to cite: what the bench must say of each."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.cautions import TASK_CAUTIONS
from fleet.upkeep.review import ModelAdvice
from fleet.vocabulary import TASKS
from shop.first_checks import best_order, chances, symptoms
from shop.repair_options import (
    ASSEMBLY,
    REPAIR,
    REPLACE,
    Way,
    break_even_minutes,
    comeback_chance,
    compare,
    cost_of,
    worth_it,
)
from shop.sheet_lines import SHEET_LINES, STRETCHES


def said(key: str) -> str:
    return str(SHEET_LINES[key].practice)


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("line", ("just to the guard's cutter", "both ends equal", "Guard off and line long go together")),
        ("head", ("left-hand threaded on most",)),
        ("air_gap", ("0.010 to 0.014 in on most", "up to about 0.030 in", "Set per model")),
        ("base_bolts", ("Runs cold, stops hot", "a minute or two", "before the coil is condemned")),
        ("clutch", ("whatever the setting", "not letting go", "spring")),
        ("idle_head", ("Turns whatever the idle setting", "stalls with the head jammed", "spring")),
        ("run_nose", ("nose-down or upside down", "not following the fuel", "weighted filter", "line")),
        ("joints", ("few places", "both crank seals", "base gasket", "insulator and its bolts")),
        ("plug", ("even light tan: mixture about right",)),
        ("port", ("Nearly closed with carbon", "Piston closing the port", "soft scraper", "must not fall into")),
        ("gearbox", ("smoothly", "no ratchet feel, play or drag", "guards are off it is the first to wear")),
        ("grease", ("A couple of pumps at the plug",)),
        ("shaft", ("hammers", "shaft's ends, then the clutch")),
    ],
)
def test_reference_words_stand_on_their_lines(key, words) -> None:
    for word in words:
        assert word in said(key), key


def test_every_figure_is_marked_and_none_is_a_setting() -> None:
    """Where a value is measured the model's manual is named; nothing is filled in for the air gap."""
    measured = {key for key, line in SHEET_LINES.items() if line.measure is not None}
    assert measured == {"plug", "air_gap", "compression", "idle_rpm", "full_rpm"}
    assert all(str(stretch.caution.text) for stretch in STRETCHES)
    assert "left-hand thread" in " ".join(str(p) for p in TASK_CAUTIONS["head"].points)
    assert "(common practice)" in " ".join(str(p) for p in TASK_CAUTIONS["head"].points)


@given(st.dictionaries(st.sampled_from([c.key for c in symptoms()["runs_only_on_choke"].causes]), st.integers(0, 500)))
@settings(max_examples=50, deadline=None)
def test_on_choke_only_the_carburetor_is_opened_after_leak_line_filter_vent_and_primer(counts) -> None:
    symptom = symptoms()["runs_only_on_choke"]
    order = best_order(symptom, chances(symptom, counts))
    ruled_out = [c.key for c in symptom.causes if c.component in ("intake", "fuel", "crank")]
    opened = [c.key for c in symptom.causes if c.opens_carburetor]
    assert order[0] not in opened
    assert max(order.index(k) for k in ruled_out) < min(order.index(k) for k in opened)


def test_the_sheet_opens_the_carburetor_last_too_and_tries_the_base_bolts_before_the_coil() -> None:
    order = list(SHEET_LINES)
    for key in ("joints", "fuel_line", "fuel_filter", "primer"):
        assert order.index(key) < order.index("carburetor")
    assert order.index("base_bolts") < order.index("air_gap")


# A complete loaded starter has sold for 26 to 46, labor for 65 to 75 an hour; a swap takes about 12 minutes.
SWAP_MINUTES = 12


def starter(rebuild: float, assembly: float, rate: float, comeback: float = 0.0) -> str:
    ways = [Way(REPAIR, rebuild, 0.0, comeback), Way(ASSEMBLY, SWAP_MINUTES, assembly)]
    return compare(ways, rate)[0].way.key


def test_starter_swap_beats_a_long_rebuild_and_a_short_one_beats_the_swap() -> None:
    assert starter(45, 26, 75) == ASSEMBLY
    assert starter(10, 46, 65) == REPAIR
    # The rebuild needs more than roughly 33 to 55 minutes in all; sooner if it may come back.
    assert break_even_minutes(Way(ASSEMBLY, SWAP_MINUTES, 26), 75) == pytest.approx(33, abs=0.5)
    assert break_even_minutes(Way(ASSEMBLY, SWAP_MINUTES, 46), 65) == pytest.approx(55, abs=0.6)
    assert starter(30, 26, 75) == REPAIR
    assert starter(30, 26, 75, comeback=0.15) == ASSEMBLY


@given(
    chance=st.floats(0.001, 1), part=st.floats(0, 500), rate=st.floats(20, 200), minutes=st.floats(1, 300),
    slower=st.floats(0, 200),
)  # fmt: skip
@settings(max_examples=200, deadline=None)
def test_carburetor_at_equal_part_prices_is_swapped_for_any_chance_of_coming_back(
    chance, part, rate, minutes, slower
) -> None:
    """Unless swapping takes longer: then the dearer first bill may still be the cheaper way in all."""
    swap = Way(REPLACE, minutes, part)
    rebuild = Way(REPAIR, minutes + slower, part, chance)
    assert cost_of(swap, rate).total < cost_of(rebuild, rate).total
    quick = Way(REPAIR, minutes / 2, 0.0, 0.001)
    assert compare([swap, quick], rate)[0].way is quick


def test_a_chance_is_learned_and_never_leaves_the_table_by_a_few_repairs() -> None:
    assert comeback_chance("carburetor", REPAIR, {}) == 0.5
    assert comeback_chance("starter", REPAIR, {"repaired": (10, 10)}) == pytest.approx((1.5 + 10) / 20)
    assert comeback_chance("starter", REPLACE, {"repaired": (10, 10)}) == 0.05
    for wrong in ({"minutes": -1.0}, {"comeback": 1.1}, {"parts": -2.0}):
        with pytest.raises(ValueError, match="chance"):
            Way(**{"key": REPAIR, "minutes": 5.0, "parts": 0.0, **wrong})


def test_days_out_cost_each_visit_again() -> None:
    way = Way(REPAIR, 60, 10.0, 0.5, downtime_days=2)
    assert cost_of(way, 90, 60).total == pytest.approx(2 * (90 + 10 + 2 * 60))
    assert worth_it(cost_of(way, 90, 60), 200.0)  # a limit is held against bills, not days out


def test_not_worth_it_is_said_only_where_the_unit_s_worth_is_known() -> None:
    best = cost_of(Way(REPLACE, 60, 100), 90)
    assert worth_it(best, None) is None
    assert worth_it(best, 190.0) is True
    assert worth_it(best, 189.0) is False


def test_minutes_of_the_starter_are_those_the_values_speak_of() -> None:
    from shop.vocabulary import practice_minutes, repair_job

    assert practice_minutes(repair_job("starter", "replaced")) == SWAP_MINUTES
    assert "lay_up" in TASKS


@pytest.mark.parametrize(("months", "age"), [(11, None), (12, 1), (23, 1), (24, 2), (None, None)])
def test_new_every_year_to_stay_in_warranty_is_one_of_the_ages_compared(months, age) -> None:
    """Some contractors replace yearly and never pay for service: with a year of warranty that age is the first."""
    model = ModelAdvice(1, "Ostrel Heron", [0.9, 0.7, 0.8], 2, 200.0, 330.0, months, 250.0, 10, 4)
    assert model.warranty_age == age
