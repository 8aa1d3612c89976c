"""Figures behind a learned interval changed between two learnings: the manual stands for now, and pages say so."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest

from fleet.models import DueFlag, TaskInterval
from fleet.models.tenancy import all_tenants
from fleet.record.organizations import change_settings, refresh_season
from fleet.upkeep.lists import due_jobs
from fleet.upkeep.reasons import sentences
from fleet.upkeep.record_page import ComponentLine, model_pages
from fleet.upkeep.record_words import act_words, basis_words
from fleet.upkeep.refresh import refresh_in_shards, unit_ids_of
from fleet.upkeep.scan import scan
from tests.fleet.upkeep.worn_fleet import TODAY, WornFleet, worn_fleet

pytestmark = pytest.mark.django_db
TONIGHT = "worked out tonight"


@pytest.fixture
def fleet(db: None) -> Iterator[WornFleet]:
    with all_tenants():
        found = worn_fleet()
        scan(found.contractors, as_of=TODAY, today=TODAY)
        yield found


def greased(fleet: WornFleet, whose: int) -> list[tuple[str, float | None, bool]]:
    jobs = due_jobs([fleet.contractors[whose]], as_of=TODAY)
    return [
        (j.flag.interval_basis, j.flag.interval_hours, TONIGHT in " ".join(sentences(j)))
        for j in jobs
        if j.task == "grease"
    ]


def record(fleet: WornFleet, whose: int) -> ComponentLine:
    owner = fleet.contractors[whose]
    (page,) = model_pages([fleet.model], {fleet.model.pk: 1}, [owner.pk], owner)
    line = page.line("gearbox")
    assert line is not None
    return line


def test_a_changed_risk_limit_waits_for_the_night(fleet: WornFleet) -> None:
    learned = greased(fleet, 0)
    assert {(basis, told) for basis, _hours, told in learned} == {("model", False)}
    mine = fleet.contractors[0]
    change_settings(contractor=mine, values={"risk_limit": Decimal("0.05")})
    refresh_season(contractor_id=mine.pk)
    assert set(greased(fleet, 0)) == {("manual", 50.0, True)}
    # The other contractor's stand.
    assert {(basis, told) for basis, _hours, told in greased(fleet, 1)} == {("model", False)}
    line = record(fleet, 0)
    assert (line.interval_hours, line.manual_hours, line.shortened) == (50.0, 50.0, False)
    assert "every 50 h, as the manual says" in act_words(line)
    assert TONIGHT in " ".join(basis_words(line))
    assert record(fleet, 1).shortened
    # Entries and scans agree meanwhile, and the night brings an interval again, no longer at less risk.
    assert refresh_in_shards(unit_ids_of(), "scan").changed == 0
    assert scan(fleet.contractors, as_of=TODAY, today=TODAY).learned
    now = greased(fleet, 0)
    assert {(basis, told) for basis, _hours, told in now} == {("model", False)}
    assert now[0][1] is not None
    assert learned[0][1] is not None
    assert now[0][1] <= learned[0][1]
    assert TONIGHT not in " ".join(basis_words(record(fleet, 0)))


def test_a_manuals_figure_of_its_own_stands_at_once(fleet: WornFleet) -> None:
    """The manual entered anew is below what was learned under the old one: never the old one's interval."""
    mine = fleet.contractors[0]
    TaskInterval.objects.create(
        model=fleet.model, task="grease", contractor=mine, hours=12, hours_given=True, source="maker"
    )
    refresh_in_shards(unit_ids_of([mine.pk]), "catalog")
    assert set(greased(fleet, 0)) == {("manual", 12.0, True)}
    line = record(fleet, 0)
    assert (line.interval_hours, line.manual_hours) == (12.0, 12.0)
    scan(fleet.contractors, as_of=TODAY, today=TODAY)
    hours = DueFlag.objects.filter(contractor=mine, task="grease").values_list("interval_hours", flat=True)
    assert all(h is not None and h <= 12 for h in hours)
    assert not any(told for _basis, _hours, told in greased(fleet, 0))
