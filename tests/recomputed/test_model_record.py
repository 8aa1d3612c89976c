"""Every figure of the model record, worked out again by other code from the files that the portal writes out.

Counts and the manual's hours are the same. Estimates come from the same model of wear by an altogether different
way (sampling instead of integrating), so they agree within the sampling error and what approximations leave: a third of
the posterior's own standard deviation, and half of it at the ends of the 95 % ranges. The upper end of the scale, where
with few failures the sampled tail itself is uncertain, is left a little more.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from tests.recomputed.choices import Judge
from tests.recomputed.components import COMPONENTS, TASK_OF
from tests.recomputed.conftest import LAST, Exported
from tests.recomputed.reading import Party, read
from tests.recomputed.record import Fleet
from tests.recomputed.wear import settings_most_run_under

ESTIMATE, RANGE, TAIL, DRAWN = 0.3, 0.45, 0.6, 0.2
FIGURES = (
    "shape", "shape_low", "shape_high", "scale", "scale_low", "scale_high", "drawn", "b10_hours", "mean_hours",
    "guard_off_ratio", "guard_off_low", "guard_off_high",
)  # fmt: skip

pytestmark = pytest.mark.django_db
Record = dict[tuple[str, str], dict[str, Any]]


@pytest.fixture(scope="module")
def parties(exported: Exported) -> dict[str, Party]:
    return read(exported.folder, LAST)


@pytest.fixture(scope="module")
def fleet(judge: Judge) -> Fleet:
    return judge.fleet


@pytest.fixture
def said(exported: Exported) -> Record:
    return {(r["model"], r["component"]): r for r in exported.ask("model_record")}


def test_counts_are_the_same(said: Record, fleet: Fleet) -> None:
    ours = {key: found for key, found in fleet.stretches.items() if found}
    assert ours.keys() <= said.keys()
    counted = {key: (sum(s.failed for s in found), len(found)) for key, found in ours.items()}
    assert counted == {key: (said[key]["events"], said[key]["rows"]) for key in counted}
    assert sum(events for events, _rows in counted.values()) > 50


def test_manuals_are_what_the_files_say_and_no_interval_goes_past_them(parties: dict[str, Party], said: Record) -> None:
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
@pytest.mark.parametrize("component", COMPONENTS)
def test_fits_are_the_posterior_of_the_same_rows(said: Record, judge: Judge, component: str) -> None:
    models, wrong = judge.fleet.models, list[str]()
    if not any(said[model, component]["events"] for model in models):
        assert all(said[model, component][name] is None for model in models for name in FIGURES), "a made-up fit"
        return
    posterior = judge.posterior(component)
    drawn = posterior.drawn()

    def compare(name: str, row: dict[str, Any], figures: str, logs: np.ndarray, tail: float = RANGE) -> None:
        """Estimate and both limits; ``figures`` with a %s for low and high."""
        ours = (float(logs.mean()), *np.quantile(logs, [0.025, 0.975]))
        keys = (name, figures % "low", figures % "high")
        for key, mine, room in zip(keys, ours, (ESTIMATE, RANGE, tail), strict=True):
            same(row, key, mine, room * float(logs.std()))

    def same(row: dict[str, Any], name: str, mine: float, room: float) -> None:
        if abs(math.log(row[name]) - mine) > room + 0.01:
            told = f"the portal says {row[name]:.4g}, worked out again {math.exp(mine):.4g}"
            wrong.append(f"{row['model']} {name}: {told}")

    for g, model in enumerate(models):
        row = said[model, component]
        compare("shape", row, "shape_%s", posterior.log_shape[:, g])
        compare("scale", row, "scale_%s", posterior.log_scale[:, g], TAIL)
        b10 = np.log(posterior.b10()[:, g])
        same(row, "b10_hours", b10.mean(), ESTIMATE * b10.std())
        same(row, "mean_hours", math.log(posterior.mean_life(g)), ESTIMATE * posterior.log_scale[:, g].std())
        if abs(row["drawn"] - drawn[g]) > DRAWN:
            wrong.append(f"{model} drawn: the portal says {row['drawn']}, worked out again {drawn[g]:.3f}")
        compare("guard_off_ratio", row, "guard_off_%s", posterior.coef[:, 0])
    assert not wrong, f"{len(wrong)} differ\n" + "\n".join(wrong[:25])


@pytest.mark.slow
@pytest.mark.parametrize("component", TASK_OF)
def test_intervals_are_what_the_record_asks_for(
    parties: dict[str, Party], said: Record, judge: Judge, component: str
) -> None:
    """Cost, risk and sureness of every interval worked out again, and the portal's choice judged by them."""
    for model in judge.fleet.models:
        row = said[model, component]
        judged = [
            judge.complaint(component, model, whose, row["interval_hours"])
            for whose in settings_most_run_under(parties, model, TASK_OF[component])
            if whose.limits[model][TASK_OF[component]].hours == row["manual_hours"]
        ]
        assert judged, f"{model}: no contractor has the manual's {row['manual_hours']} h"
        assert None in judged, f"{model}: {judged}"
