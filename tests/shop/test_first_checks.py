"""First checks: order, learning and stop rule. The table is common practice of the trade, with no source to cite."""

from __future__ import annotations

import itertools
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.vocabulary import COMPONENTS
from shop.first_checks import (
    CARBURETOR_OPENED,
    MISSED,
    NONE,
    Symptom,
    after_answers,
    best_order,
    chances,
    expected_minutes,
    stand,
    symptoms,
)
from shop.vocabulary import SYMPTOMS
from tests.benchmarks.bench_first_checks import study

EVERY = list(symptoms())


def counts_of(symptom: Symptom) -> st.SearchStrategy[dict[str, int]]:
    return st.dictionaries(st.sampled_from([NONE, *(c.key for c in symptom.causes)]), st.integers(0, 200))


def test_the_table_and_check_in_speak_of_the_same_symptoms() -> None:
    assert set(EVERY) == set(SYMPTOMS)
    assert {c.component for s in symptoms().values() for c in s.causes} <= set(COMPONENTS)


def test_it_needs_no_web_framework() -> None:
    code = "import sys, shop.first_checks, shop.planning; sys.exit('django' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@given(st.data())
@settings(max_examples=200, deadline=None)
def test_safety_first_prerequisites_and_carburetor_last_whatever_was_found_before(data: st.DataObject) -> None:
    symptom = symptoms()[data.draw(st.sampled_from(EVERY))]
    order = best_order(symptom, chances(symptom, data.draw(counts_of(symptom))))
    assert sorted(order) == sorted(c.key for c in symptom.causes)
    place = {key: i for i, key in enumerate(order)}
    for cause in symptom.causes:
        assert all(place[a] < place[cause.key] for a in cause.after)
    opened = [place[c.key] for c in symptom.causes if c.part in CARBURETOR_OPENED]
    others = [place[c.key] for c in symptom.causes if c.part not in CARBURETOR_OPENED]
    assert not opened or not others or max(others) < min(opened)
    safety = {c.key for c in symptom.causes if c.safety and not c.opens_carburetor}
    needed = {a for key in safety for a in symptom.cause(key).after}
    last_safety = max((place[key] for key in safety), default=0)
    before = [symptom.cause(key) for key in order[:last_safety]]
    assert all(c.safety or c.key in needed for c in before)


def test_on_the_choke_never_opens_with_the_carburetor_and_hot_stops_try_the_base_bolts_before_the_coil() -> None:
    """Check values of the trade, common practice with no source."""
    choke = symptoms()["runs_only_on_choke"]
    order = best_order(choke, chances(choke, {"carburetor_passages": 500}))
    assert order[-1] == "carburetor_passages"
    hot = symptoms()["quits_when_hot"]
    order = best_order(hot, chances(hot, {"coil_hot": 500}))
    assert order.index("base_bolts") < order.index("coil_hot")


def test_the_order_is_the_best_of_all_allowed_ones() -> None:
    """Against trying every order of the symptoms short enough for it."""
    for symptom in symptoms().values():
        free = [c for c in symptom.causes if not c.safety and not c.opens_carburetor]
        needed = {a for c in symptom.causes if c.safety for a in c.after}
        if len(free) > 7 or needed & {c.key for c in free}:
            continue
        only = replace(symptom, causes=tuple(free))
        chance = chances(symptom, {})
        keys = [c.key for c in free]
        least = min(
            expected_minutes(only, order, chance)
            for order in itertools.permutations(keys)
            if all(order.index(a) < order.index(c.key) for c in free for a in c.after if a in keys)
        )
        order = [key for key in best_order(symptom, chance) if key in keys]
        assert expected_minutes(only, order, chance) == pytest.approx(least, abs=1e-9)


def test_own_findings_outgrow_the_table_which_counts_as_fifteen_jobs() -> None:
    symptom = symptoms()["no_spark"]
    at_first = chances(symptom, {})
    assert sum(at_first.values()) == pytest.approx(1)
    assert at_first["plug"] == pytest.approx(0.38 / 1.05)
    assert at_first[NONE] == pytest.approx(0.05 / 1.05)
    later = chances(symptom, {"flywheel": 15})
    assert later["flywheel"] == pytest.approx(0.5 + at_first["flywheel"] / 2)
    with pytest.raises(ValueError):
        chances(symptom, {"plug": -1})


def test_a_clear_check_leaves_a_little_doubt_and_raises_the_others() -> None:
    symptom = symptoms()["no_spark"]
    before = chances(symptom, {})
    now = after_answers(before, {"plug": "clear"})
    assert now["plug"] / now["coil"] == pytest.approx(MISSED * before["plug"] / before["coil"])
    assert now["coil"] > before["coil"]
    assert after_answers(before, {"plug": "skipped"}) == pytest.approx(before)
    assert after_answers(before, {"plug": "found"})["plug"] == 1


def test_checking_ends_when_the_cause_is_found_but_not_before_what_can_hurt_is_looked_at() -> None:
    symptom = symptoms()["no_spark"]
    assert stand(symptom, {}, {}).order[0] == "stop_wire"  # the stop circuit can hurt
    early = stand(symptom, {}, {"plug": "found"})
    assert (early.state, early.found, early.order) == ("found", "plug", ("stop_wire",))
    assert stand(symptom, {}, {"stop_wire": "clear", "plug": "found"}).order == ()


def test_checking_ends_when_something_else_is_as_likely_as_not_or_nothing_is_left() -> None:
    symptom = symptoms()["gearbox_hot_or_ratchety"]
    clear = {}
    for key in stand(symptom, {}, {}).order:
        clear[key] = "clear"
    assert stand(symptom, {}, clear).state == "exhausted"
    elsewhere = stand(symptom, {NONE: 400}, {"bearing_play": "clear"})
    assert elsewhere.state == "look_elsewhere"
    assert elsewhere.order  # what is left may still be done
    with pytest.raises(ValueError, match="no cause"):
        stand(symptom, {}, {"magneto": "clear"})


def test_fewer_minutes_than_the_table_and_learning_halves_the_way_to_the_best() -> None:
    """Simulated shops whose own causes differ from the table; ``bench_first_checks`` prints the whole study."""
    rows = study(shops=40).values()
    assert all(row.new <= row.table * 1.02 and row.learned <= row.table * 1.005 for row in rows)
    mean = lambda values: sum(values) / len(rows)  # noqa: E731
    assert mean([row.saved("new", "written") for row in rows]) > 0.15
    assert mean([row.saved("new", "table") for row in rows]) > 0.03
    assert mean([row.learned - row.best for row in rows]) < 0.5 * mean([row.new - row.best for row in rows])


def test_how_much_can_be_saved_at_all_is_told_beside_what_is_saved() -> None:
    """No allowed order saves more than one that knows each shop's shares; what is learned comes near it."""
    rows = study(shops=40).values()
    assert all(row.best <= min(row.new, row.learned, row.table) + 1e-9 for row in rows)
    most = sum(row.saved("best", "table") for row in rows) / len(rows)
    learned = sum(row.saved("learned", "table") for row in rows) / len(rows)
    assert 0.08 < most < 0.13
    assert learned > 0.8 * most
