"""Every figure of the model record, worked out again by other code from the files that the portal writes out.

Counts and the manual's hours are the same. Estimates come from the same model of wear by an altogether different
way (sampling instead of integrating), so they agree within the sampling error and what normal approximations leave:
a third of the posterior's own standard deviation, and half of it at the ends of the 95 % ranges. The upper end of
the scale is left more: with few failures its tail is longer than the normal mixture behind the portal's range.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest

from tests.recomputed.components import COMPONENTS, TASK_OF, Stretch, stretches
from tests.recomputed.conftest import LAST, Exported
from tests.recomputed.pooled import Posterior
from tests.recomputed.reading import Party, read
from tests.recomputed.record import Fleet, fleet_of
from tests.recomputed.wear import Study, cells_of, cost_of, event_costs, settings_most_run_under

ESTIMATE, RANGE, TAIL, LIMIT = 0.35, 0.5, 1.25, 0.1
# Of the components, those most told of: sampling all of them takes minutes. One wears by hours since its task with
# failures in use, one is found at looks, one wears by its own age.
SAMPLED = ("gearbox", "exhaust", "clutch")
COSTED = ("gearbox", "fuel")

pytestmark = pytest.mark.django_db
Record = dict[tuple[str, str], dict[str, Any]]


@pytest.fixture(scope="module")
def fleet(exported: Exported) -> Fleet:
    return fleet_of(read(exported.folder, LAST), COMPONENTS)


@pytest.fixture(scope="module")
def posterior(fleet: Fleet) -> Callable[[str], Posterior]:
    """Sampled once for each component."""
    return cache(lambda component: fleet.posterior(component, draws=9_000))


@pytest.fixture
def said(exported: Exported) -> Record:
    return {(r["model"], r["component"]): r for r in exported.ask("model_record")}


def test_counts_are_the_same(said: Record, fleet: Fleet) -> None:
    ours = {key: found for key, found in fleet.stretches.items() if found}
    assert ours.keys() <= said.keys()
    counted = {key: (sum(s.failed for s in found), len(found)) for key, found in ours.items()}
    assert counted == {key: (said[key]["events"], said[key]["rows"]) for key in counted}
    assert sum(events for events, _rows in counted.values()) > 50


def test_manuals_are_what_the_files_say_and_no_interval_goes_past_them(exported: Exported, said: Record) -> None:
    parties = read(exported.folder, LAST)
    for (model, component), row in said.items():
        given = {
            limits[model][TASK_OF[component]].hours
            for party in parties.values()
            if component in TASK_OF and model in (limits := party.limits)
        }
        assert (row["manual_hours"] is None and given <= {None}) or row["manual_hours"] in given
        if row["interval_hours"] is None:
            continue
        assert component in TASK_OF
        assert 0 < row["interval_hours"] <= row["manual_hours"]
        if not any(said[m, component]["events"] for m in fleet_models(said)):
            assert row["interval_hours"] == row["manual_hours"], "no failure in any model: the manual's stands"


def fleet_models(said: Record) -> set[str]:
    return {model for model, _component in said}


def test_what_never_failed_has_no_made_up_fit(said: Record) -> None:
    for component in COMPONENTS:
        rows = [r for (_m, c), r in said.items() if c == component]
        if not any(r["events"] for r in rows):
            assert all(r["shape"] is None and r["scale"] is None and r["guard_off_ratio"] is None for r in rows)


@pytest.mark.slow
@pytest.mark.parametrize("component", SAMPLED)
def test_fits_are_the_posterior_of_the_same_rows(
    said: Record, fleet: Fleet, posterior: Callable[[str], Posterior], component: str
) -> None:
    drawn = posterior(component)
    wrong: list[str] = []

    def compare(name: str, told: float, low: float, high: float, logs: np.ndarray, tail: float = RANGE) -> None:
        spread = float(logs.std())
        ours = (float(logs.mean()), *np.quantile(logs, [0.025, 0.975]))
        for kind, value, mine, room in zip(
            ("", " low", " high"), (told, low, high), ours, (ESTIMATE, RANGE, tail), strict=True
        ):
            if abs(math.log(value) - mine) > room * spread + 0.01:
                wrong.append(f"{name}{kind}: the portal says {value:.4g}, worked out again {math.exp(mine):.4g}")

    for g, model in enumerate(fleet.models):
        row = said[model, component]
        compare(f"{model} shape", row["shape"], row["shape_low"], row["shape_high"], drawn.log_shape[:, g])
        compare(f"{model} scale", row["scale"], row["scale_low"], row["scale_high"], drawn.log_scale[:, g], TAIL)
        b10 = np.log(drawn.b10()[:, g])
        if abs(math.log(row["b10_hours"]) - b10.mean()) > ESTIMATE * b10.std() + 0.01:
            wrong.append(f"{model} b10_hours: {row['b10_hours']:.4g}, worked out again {math.exp(b10.mean()):.4g}")
        mean = drawn.mean_life(g)
        if abs(math.log(row["mean_hours"] / mean)) > ESTIMATE * drawn.log_scale[:, g].std() + 0.01:
            wrong.append(f"{model} mean_hours: {row['mean_hours']:.4g}, worked out again {mean:.4g}")
        assert 0 <= row["drawn"] <= 1
    row = said[fleet.models[0], component]
    compare("guard", row["guard_off_ratio"], row["guard_off_low"], row["guard_off_high"], drawn.coef[:, 0])
    assert not wrong, "\n".join(wrong)


@pytest.mark.slow
def test_screens_are_looked_at_before_too_many_are_blocked(
    said: Record, fleet: Fleet, posterior: Callable[[str], Posterior]
) -> None:
    """The longest interval by which no more than the risk limit are found blocked; all here keep one in ten."""
    drawn = posterior("exhaust")
    for g, model in enumerate(fleet.models):
        row = said[model, "exhaust"]
        hours = np.linspace(0.05, 1, 200) * row["manual_hours"]
        shape, scale = np.exp(drawn.log_shape[:, g]), np.exp(drawn.log_scale[:, g])
        chance = np.array([float(np.mean(-np.expm1(-((t / scale) ** shape)))) for t in hours])
        longest = float(hours[chance <= LIMIT].max(initial=hours[0]))
        assert row["interval_hours"] == pytest.approx(longest, rel=0.08), model


@pytest.mark.slow
@pytest.mark.parametrize("component", COSTED)
def test_intervals_cost_the_least_that_the_record_allows(
    exported: Exported, said: Record, fleet: Fleet, component: str
) -> None:
    """Cost, risk and sureness of every interval worked out again, and the portal's choice judged by them.

    Costs are flat near their least, so the interval itself may be another; what it costs may be 3 % more, and where a
    limit decides (risk, or how sure it is to be cheaper) a tenth of the limit's own is left for the two ways to differ.
    """
    parties = read(exported.folder, LAST)
    task = TASK_OF[component]
    rows: dict[str, list[Stretch]] = {model: [] for model in fleet.models}
    mine = fleet_of(parties, ())
    for party in parties.values():
        for unit in party.units:
            rows[unit.model] += stretches(unit, mine.lines[id(unit)], component, by_age=True)
    manuals = [{p.limits[m][task].hours or 0.0 for p in parties.values() if m in p.limits} for m in fleet.models]
    longest = [max(found) for found in manuals]
    cells, failures = cells_of([rows[m] for m in fleet.models], longest, mine.guards)
    if not sum(failures):
        assert all(said[m, component]["interval_hours"] == said[m, component]["manual_hours"] for m in fleet.models)
        return
    study = Study(cells, longest)
    for g, model in enumerate(fleet.models):
        row = said[model, component]
        judged = [
            _complaint(parties, whose, row, study.draws(g), longest[g], component)
            for whose in settings_most_run_under(parties, model, task)
            if whose.limits[model][task].hours == row["manual_hours"]
        ]
        assert judged, f"{model}: no contractor has the manual's {row['manual_hours']} h"
        assert None in judged, f"{model}: {judged}"


def _complaint(
    parties: dict[str, Party], whose: Party, row: dict[str, Any], draws: np.ndarray, reference: float, component: str
) -> str | None:
    manual, chosen = row["manual_hours"], row["interval_hours"]
    planned, failure = event_costs(parties, whose, component)
    limit, gate = float(whose.settings["risk_limit"]), float(whose.settings["confidence_gate"])

    def cost(every: float) -> tuple[np.ndarray, float]:
        rates, risks = cost_of(draws, reference, every, planned, failure)
        return rates, float(risks.mean())

    tried = {every: cost(every) for every in (*np.geomspace(0.1, 1, 24) * manual, manual)}
    here, risk = cost(chosen)
    at_manual, risk_at_manual = tried[manual]
    least = min(
        float(rates.mean()) for rates, r in tried.values() if r <= 0.9 * limit or r == min(v[1] for v in tried.values())
    )
    sure = float((here < at_manual).mean()) if chosen < manual else 1.0
    told = f"every {chosen} h: cost {here.mean():.4f}, least {least:.4f}, risk {risk:.3f}, cheaper {sure:.2f}"
    if risk > 1.1 * limit + 0.01 and chosen > 0.11 * manual:
        return "too risky: " + told
    if chosen == manual:
        # The manual's stands unless something shorter is surely cheaper.
        better = [r for r, _risk in tried.values() if r.mean() < 0.97 * at_manual.mean()]
        unsure = all(float((r < at_manual).mean()) < gate + 0.1 for r in better)
        return None if unsure else "the manual's stands though shorter is cheaper: " + told
    if risk_at_manual > 0.9 * limit:
        return None if here.mean() <= 1.03 * least or risk > 0.85 * limit else "shorter than the risk asks for: " + told
    if sure < gate - 0.1:
        return "not surely cheaper than the manual's: " + told
    return None if here.mean() <= 1.03 * least else "dearer than need be: " + told
