"""From files to a shorter interval: a model whose gearbox dies far sooner than its maker's grease interval allows for.

The fleet is simulated, so its true best interval is known; nothing of the truth is in the files.
"""

from __future__ import annotations

import datetime as dt
import io
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from django.core.management import call_command

from fleet.models import Contractor, DueFlag, FitSnapshot, FleetSample, TrimmerModel
from fleet.models.tenancy import all_tenants
from fleet.simulation.files import write_files
from fleet.simulation.fleet import SimulatedFleet, simulate
from fleet.simulation.scenario import demo_parameters
from fleet.upkeep.fit_store import latest_fits, read_intervals
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.scan import scan

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
# A day back: around midnight a shop further west still has the day before, and entries of a day to come are refused.
TODAY = dt.date.today() - dt.timedelta(days=1)


def run(*args: str) -> list[dict[str, Any]]:
    out = io.StringIO()
    call_command(*args, "--format", "json", stdout=out)
    return json.loads(out.getvalue())


@pytest.fixture
def fleet(tmp_path: Path, db: None) -> Iterator[SimulatedFleet]:
    simulated = simulate(replace(demo_parameters(TODAY), seasons=2).with_units(130), seed=5)
    write_files(simulated.files, tmp_path / "files")
    call_command("import_fleet", str(tmp_path / "files"), stdout=io.StringIO())
    with all_tenants():
        scan(list(Contractor.objects.all()), as_of=TODAY, today=TODAY)
        yield simulated


def cost_rate(interval: float, shape: float, scale: float, planned: float, failure: float) -> float:
    """True cost an hour of servicing at this interval, the component as new after service and repair alike.

    Age replacement, Barlow & Hunter (1960): [failure F(T) + planned S(T)] / integral of S to T.
    """
    hours = np.linspace(0.0, interval, 2001)
    alive = np.exp(-((hours / scale) ** shape))
    return float((failure * (1 - alive[-1]) + planned * alive[-1]) / np.trapezoid(alive, hours))


def _the_record_shortens_the_interval_and_says_why(fleet: SimulatedFleet) -> None:
    shape, scale = fleet.truth.wear_of("Teal", "gearbox")
    jobs = [row for row in run("due") if row["model"].endswith("Teal") and row["task"] == "grease"]
    on_hold = [row for row in jobs if row["interval_basis"] == "safety"]
    assert jobs
    assert not on_hold
    teal = TrimmerModel.objects.get(name="Teal")
    records = [r for (_m, t, _s), r in read_intervals(latest_fits(), [teal.pk]).items() if t == "grease"]
    free = [record for record in records if not record.at(0.0).limited_by_risk]
    assert free
    for record in free:
        assert record.planned is not None
        assert record.failure is not None
        planned, failure = record.planned.cost, record.failure.cost
        best = min(cost_rate(t, shape, scale, planned, failure) for t in np.linspace(2, record.manual_hours, 200))
        chosen = record.at(0.0).interval_hours
        assert cost_rate(chosen, shape, scale, planned, failure) < 1.10 * best
    for job in jobs:
        assert job["interval_basis"] == "model"
        assert job["interval_hours"] < 0.75 * 50
        assert job["failures_behind"] > 10
        assert any("Sooner than the manual" in sentence and "50 h" in sentence for sentence in job["reasons"])
    [row] = run("model_record", "--model", "Teal", "--component", "gearbox")
    assert row["interval_hours"] < 0.75 * row["manual_hours"]
    assert row["shape"] == pytest.approx(shape, rel=0.3)
    assert row["drawn"] < 0.5
    assert row["guard_off_low"] < row["guard_off_ratio"] < row["guard_off_high"]


def _a_model_that_never_failed_keeps_the_makers_interval() -> None:
    jobs = [row for row in run("due") if row["model"].endswith("Smew") and row["task"] == "clutch"]
    assert jobs
    assert {(row["interval_basis"], row["failures_behind"]) for row in jobs if row["state"] != "hold"} == {
        ("manual", 0)
    }
    [row] = run("model_record", "--model", "Smew", "--component", "clutch")
    assert (row["events"], row["interval_hours"]) == (0, row["manual_hours"])


def _nothing_is_learned_twice_and_flags_agree_with_entries() -> None:
    snapshots = FitSnapshot.objects.count()
    report = scan(list(Contractor.objects.all()), as_of=TODAY, today=TODAY)
    assert (report.learned, report.written.changed, report.written.added) == (False, 0, 0)
    assert FitSnapshot.objects.count() == snapshots
    assert DueFlag.objects.exclude(interval_basis__in=["manual", "safety"]).exists()
    assert refresh_in_shards(unit_ids_of(), "scan", shard=37).changed == 0
    # The same fits, whatever the batches the samples were taken in.
    before = {s.contractor_id: s.content_key for s in FleetSample.objects.all()}
    for contractor in Contractor.objects.all():
        scan([contractor], as_of=TODAY, today=TODAY, learn=False)
    assert {s.contractor_id: s.content_key for s in FleetSample.objects.all()} == before


def _before_anything_was_learned_the_manual_stood() -> None:
    past = (TODAY - dt.timedelta(days=30)).isoformat()
    assert {row["interval_basis"] for row in run("due", "--as-of", past)} <= {"manual", "safety"}
    assert run("model_record", "--model", "Kindrake Teal")


def test_learning_from_files(fleet: SimulatedFleet) -> None:
    _the_record_shortens_the_interval_and_says_why(fleet)
    _a_model_that_never_failed_keeps_the_makers_interval()
    _before_anything_was_learned_the_manual_stood()
    _nothing_is_learned_twice_and_flags_agree_with_entries()


def test_unknown_names_are_refused(db: None) -> None:
    for option in (("--model", "Nothing"), ("--component", "sprocket")):
        with pytest.raises(Exception, match="There is no") as refused:
            call_command("model_record", *option)
        assert refused.value.returncode == 2  # type: ignore[attr-defined]
