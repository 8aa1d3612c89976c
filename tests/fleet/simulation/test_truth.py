"""The files tell what is true, as far as files can: rates, guards, wear, biases."""

import datetime as dt
from collections import defaultdict

import numpy as np
import pytest

from fleet.simulation.columns import COMPONENTS
from fleet.simulation.fleet import simulate
from fleet.simulation.habits import GuardState
from fleet.simulation.parameters import Crew, GuardHabit
from fleet.simulation.scenario import demo_parameters
from tests.fleet.simulation.conftest import TODAY


def test_meters_show_the_true_hours(demo):
    truth, tags = demo.truth, {tag: i for i, tag in enumerate(demo.truth.tags)}
    changed = {row["unit"] for row in demo.files["hours"] if row["meter_replaced"]}
    checked = 0
    for row in demo.files["hours"]:
        if row["meter_hours"] is None or row["unit"] in changed or truth.tags.count(row["unit"]) > 1:
            continue
        true = truth.total_hours(row["date"])[tags[row["unit"]]]
        assert 0 <= true - row["meter_hours"] < 0.1001
        checked += 1
    assert checked > 500


def test_units_run_at_their_true_rates(many_units):
    """Hours of units that were never long away agree with their rates over a full season."""
    truth = many_units.truth
    season = slice(truth.day(dt.date(2025, 3, 15)), truth.day(dt.date(2025, 11, 30)) + 1)
    home = (truth.crew_of[season] == truth.crew).all(axis=0)
    whole = home & (truth.registered < season.start) & ((truth.retired < 0) | (truth.retired > season.stop))
    days = np.busday_count("2025-03-15", "2025-12-01")
    ran = truth.hours[season].sum(axis=0)[whole]
    promised = truth.rates[1][whole] * days
    assert 0.82 < ran.sum() / promised.sum() < 1.0  # less days down and laid up
    assert np.corrcoef(np.log(ran), np.log(promised))[0, 1] > 0.9


def test_spring_flush_is_busier_than_autumn(demo):
    truth = demo.truth
    by_month = defaultdict(float)
    for day, hours in enumerate(truth.hours.sum(axis=1)):
        by_month[truth.date(day).month] += float(hours)
    assert by_month[5] > 1.4 * by_month[9]
    assert by_month[1] == by_month[2] == by_month[12] == 0.0


def test_guard_chain_keeps_its_stationary_share_and_spell():
    habit = GuardHabit(off_share=0.3, spell_days=10)
    rng = np.random.default_rng(3)
    crew = np.zeros(2000, dtype=np.int64)
    guards = GuardState([Crew("A", 2000, guard=habit)], crew, rng)
    off = []
    for _ in range(400):
        guards.step(crew, np.ones(2000, dtype=bool))
        off.append(guards.off.copy())
    off = np.array(off)
    assert off.mean() == pytest.approx(0.3, abs=0.01)
    ended = (off[:-1] & ~off[1:]).sum() / off[:-1].sum()
    assert 1 / ended == pytest.approx(10, rel=0.05)


def test_walks_show_the_crews_true_guard_share(many_units):
    truth = many_units.truth
    crews = [crew.name for crew in truth.parameters.crews]
    contractor_crew = defaultdict(list)
    place = {tag: i for i, tag in enumerate(truth.tags)}
    for row in many_units.files["guard"]:
        if row["seen_by"] == "crew":
            crew = truth.crew_of[truth.day(row["date"]), place[row["unit"]]]
            contractor_crew[crews[crew]].append(row["guard"] in ("off", "damaged", "refitted"))
    share = truth.guard_off_share()
    for name, seen in contractor_crew.items():
        assert np.mean(seen) == pytest.approx(share[crews.index(name)], abs=0.05), name
    assert share[crews.index("Verge")] > 0.3
    assert np.delete(share, crews.index("Verge")).max() < 0.12


def test_reporters_are_biased_as_the_truth_says(many_units):
    """Hours run as written over hours truly run in those weeks, crew by crew."""
    truth = many_units.truth
    place = {tag: i for i, tag in enumerate(truth.tags)}
    told, true = np.zeros(len(truth.parameters.crews)), np.zeros(len(truth.parameters.crews))
    for row in many_units.files["hours"]:
        if row["hours_run"] is None or truth.tags.count(row["unit"]) > 1:
            continue
        day, unit = truth.day(row["date"]), place[row["unit"]]
        crew = truth.crew_of[day, unit]
        told[crew] += row["hours_run"]
        true[crew] += truth.hours[day - row["date"].weekday() : day + 1, unit].sum()
    wrote = true > 300
    assert wrote.sum() >= 8
    np.testing.assert_allclose((told / np.maximum(true, 1))[wrote], truth.reporter_bias[wrote], rtol=0.12)
    river = [crew.name for crew in truth.parameters.crews].index("River")
    assert truth.reporter_bias[river] > 1.7


def test_failures_in_the_files_are_the_true_ones(demo):
    """Every failure written as found in use happened that day; hidden ones are written later or not at all."""
    truth = demo.truth
    shown = {
        (truth.tags[unit], COMPONENTS[component], truth.date(day))
        for unit, component, day, hidden in zip(
            truth.failures.unit, truth.failures.component, truth.failures.day, truth.failures.hidden, strict=True
        )
        if not hidden
    }
    written = {
        (row["unit"], row["component"], row["date"]) for row in demo.files["failures"] if row["found"] == "in_use"
    }
    assert written == shown


def test_gearboxes_without_guard_fail_by_the_true_ratio(many_units):
    """Failures over the hazard that their own hours would have spent: off against on, against the ratio set."""
    parameters = demo_parameters(TODAY).with_units(900)
    table = many_units.truth
    gearbox = COMPONENTS.index("gearbox")
    mine = table.failures.component == gearbox
    off = table.failures.guard_off[mine]
    crews = [crew.name for crew in parameters.crews]
    verge = table.crew_of[table.failures.day[mine], table.failures.unit[mine]] == crews.index("Verge")
    hours = np.array([
        (table.hours * table.guard_off * (table.crew_of == crews.index("Verge"))).sum(),
        (table.hours * ~table.guard_off * (table.crew_of == crews.index("Verge"))).sum(),
    ])  # fmt: skip
    counts = np.array([(off & verge).sum(), (~off & verge).sum()])
    ratio = (counts[0] / hours[0]) / (counts[1] / hours[1])
    assert counts.min() > 5
    assert np.log(ratio) == pytest.approx(np.log(parameters.guard_off_ratio["gearbox"]), abs=0.6)


def test_total_hours_adds_up(demo):
    truth = demo.truth
    np.testing.assert_allclose(
        truth.total_hours(TODAY), truth.start_hours + truth.hours.sum(axis=0, dtype=float), rtol=1e-6
    )
    np.testing.assert_array_equal(truth.total_hours(truth.start - dt.timedelta(days=9)), truth.start_hours)


def test_a_setting_of_other_size_keeps_its_crews():
    small = demo_parameters(TODAY).with_units(24)
    assert len(small.crews) == 12
    assert sum(crew.units for crew in small.crews) == pytest.approx(24, abs=6)
    fleet = simulate(small, seed=1)
    assert {row["crew"] for row in fleet.files["units"]} == {crew.name for crew in small.crews}
