"""The demo is what the product says it is, and alive on the day it is built."""

import datetime as dt
from collections import Counter

import numpy as np
import pytest

from fleet.simulation.columns import TASKS
from fleet.simulation.fleet import simulate
from fleet.simulation.scenario import closing_their_seasons, demo_parameters
from fleet.simulation.services import manual_intervals
from tests.fleet.simulation.conftest import TODAY


def in_use(fleet):
    return [row for row in fleet.files["units"] if row["retired_on"] is None]


def last_guard(fleet):
    """Each unit's last guard row."""
    return {row["unit"]: row for row in fleet.files["guard"]}


def held(fleet):
    here = {row["unit"] for row in in_use(fleet)}
    return [
        row
        for tag, row in last_guard(fleet).items()
        if tag in here and (row["guard"] in ("off", "damaged") or row["safety"] != "ok")
    ]


def test_names_and_sizes(demo):
    assert {row["shop"] for row in demo.files["contractors"]} == {"Alder Street Small Engine"}
    crews = {name: set() for name in ("Quarry Hill Grounds", "Fenwick Verge Care", "Millrace Estates")}
    for row in demo.files["units"]:
        crews[row["contractor"]].add(row["crew"])
    assert [len(names) for names in crews.values()] == [4, 5, 3]
    makers = {(row["maker"], row["model"]) for row in demo.files["models"]}
    assert makers == {("Ostrel", "Wren"), ("Ostrel", "Heron"), ("Ostrel", "Rook"), ("Kindrake", "Teal"),
                      ("Kindrake", "Smew")}  # fmt: skip
    assert 165 <= len(in_use(demo)) <= 185
    assert {row["unit"][:3] for row in demo.files["units"]} == {"QH-", "FV-", "ME-"}
    assert len({row["serial"] for row in demo.files["units"]}) == len(demo.files["units"])


def test_three_seasons_of_rows(demo):
    units = len(demo.files["units"])
    assert 25 <= len(demo.files["hours"]) / units <= 90
    assert 15 <= len(demo.files["guard"]) / units <= 45
    assert 15 <= len(demo.files["services"]) / units <= 60
    assert 1 <= len(demo.files["failures"]) / units <= 4
    assert {row["date"].year for row in demo.files["failures"]} == {2024, 2025, 2026}


def test_history_counts_the_running_season_once_it_is_past_its_middle():
    assert demo_parameters(dt.date(2026, 11, 25)).first_opening() == dt.date(2024, 3, 15)
    assert demo_parameters(dt.date(2027, 2, 1)).first_opening() == dt.date(2024, 3, 15)
    assert demo_parameters(dt.date(2027, 5, 1)).first_opening() == dt.date(2024, 3, 15)
    assert demo_parameters(dt.date(2027, 9, 1)).first_opening() == dt.date(2025, 3, 15)


def test_the_weak_gearbox_and_the_clutch_that_never_failed(demo):
    model = {row["unit"]: row["model"] for row in demo.files["units"]}
    units = Counter(row["model"] for row in demo.files["units"])
    gearboxes = Counter(model[row["unit"]] for row in demo.files["failures"] if row["component"] == "gearbox")
    per_unit = {name: gearboxes[name] / units[name] for name in units}
    assert min(per_unit["Teal"] / per_unit[name] for name in units if name != "Teal") > 2
    clutches = Counter(model[row["unit"]] for row in demo.files["failures"] if row["component"] == "clutch")
    assert clutches["Smew"] == 0
    assert sum(clutches.values()) >= 10


def test_meters_changed_and_the_count_goes_on(demo):
    replaced = [row for row in demo.files["hours"] if row["meter_replaced"] == "yes"]
    assert len(replaced) == 2
    for row in replaced:
        after = [
            r["meter_hours"]
            for r in demo.files["hours"]
            if r["unit"] == row["unit"] and r["meter_hours"] is not None and r["date"] > row["date"]
        ]
        assert after
        assert after == sorted(after)
        late = [r for r in demo.files["services"] if r["unit"] == row["unit"] and r["date"] >= row["date"]]
        assert all(r["hours"] is None for r in late)


def test_a_tag_goes_on_to_the_unit_that_took_its_place(demo):
    worn = Counter(row["unit"] for row in demo.files["units"])
    assert [count for count in worn.values() if count > 1] == [2]


def test_recall_names_units_in_use(demo):
    (notice,) = demo.truth.parameters.recalls
    first, last = notice.serials[0].split(" - ")
    covered = [row for row in in_use(demo) if row["model"] == notice.model and first <= row["serial"] <= last]
    assert covered
    assert "invented" in notice.text.lower()


def test_units_left_for_every_reason(many_units):
    assert {row["retired_why"] for row in many_units.files["units"]} == {None, "sold", "stolen", "scrapped", "lost"}


def test_units_move_between_crews_of_their_contractor(demo):
    assert len(demo.files["moves"]) > 30


@pytest.mark.parametrize("today", [TODAY, dt.date(2027, 1, 20), dt.date(2027, 4, 20), dt.date(2027, 6, 30)])
def test_the_end_is_alive(today):
    """A few units on hold, among them a dead stop switch; some work overdue, most of it not."""
    fleet = simulate(demo_parameters(today), seed=1)
    holds = held(fleet)
    assert 2 <= len(holds) <= 25
    assert any(row["safety"] == "no_stop" for row in holds)
    assert any(row["guard"] in ("off", "damaged") for row in holds)
    overdue, every = 0, 0
    truth = fleet.truth
    hours_allowed, days_allowed = manual_intervals(truth.parameters)
    cumulative = truth.start_hours + truth.hours.cumsum(axis=0, dtype=float)
    last = {(row["unit"], row["task"]): row["date"] for row in fleet.files["services"]}
    for unit, row in enumerate(fleet.files["units"]):
        if row["retired_on"] is not None:
            continue
        for task, name in enumerate(TASKS):
            since = last.get((row["unit"], name), row["registered_on"])
            ran = cumulative[-1, unit] - cumulative[truth.day(since), unit]
            model = truth.model[unit]
            overdue += ran > hours_allowed[model, task] or (today - since).days > days_allowed[model, task]
            every += 1
    assert 0.003 < overdue / every < 0.10


@pytest.mark.parametrize(
    "today", [TODAY, dt.date(2026, 12, 20), dt.date(2027, 3, 10), dt.date(2027, 7, 10), dt.date(2027, 10, 1)]
)
def test_the_demo_shows_fleets_whose_seasons_were_closed(today):
    """On any day nearly every unit was reviewed within the year and laid up for the last winter, and not all were."""
    fleet = simulate(closing_their_seasons(demo_parameters(today)).with_units(90), seed=1)
    close = dt.date(today.year - (today < dt.date(today.year, 11, 25)), 11, 30)
    old = {row["unit"] for row in in_use(fleet) if row["registered_on"] < close - dt.timedelta(days=120)}
    last = {(row["unit"], row["task"]): row["date"] for row in fleet.files["services"]}
    never = dt.date.min
    reviewed = np.mean([last.get((unit, "review"), never) >= today - dt.timedelta(days=365) for unit in old])
    laid_up = np.mean([last.get((unit, "lay_up"), never) >= close - dt.timedelta(days=60) for unit in old])
    assert reviewed > (0.9 if today.month != 10 else 0.8)
    assert 0.7 < laid_up < 1
    # The review is the portal's rule, not a maker's.
    assert all(row["review_months"] is None and row["review_hours"] is None for row in fleet.files["models"])


def test_guards_come_off_with_one_crew_and_line_runs_long_there(demo):
    crew_of = {row["unit"]: row["crew"] for row in demo.files["units"]}
    long = {True: [], False: []}
    for row in demo.files["guard"]:
        if row["seen_by"] == "crew":
            long[crew_of[row["unit"]] == "Verge"].append(row["line"] == "long")
    assert np.mean(long[True]) > 2.5 * np.mean(long[False])


def test_fuel_left_in_over_winter_is_felt_in_spring(many_units):
    stale = [row for row in many_units.files["failures"] if row["cause"] == "stale_fuel"]
    spring = [row for row in stale if row["date"].month in (3, 4, 5, 6)]
    assert len(spring) > 0.9 * len(stale) > 5
