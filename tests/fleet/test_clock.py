"""Today is the day at the contractor's yard, whatever day it is where the server stands."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Callable

import pytest
from django.core.management import call_command
from django.urls import reverse

from fleet.access import access_of
from fleet.clock import by_day, day_at, today_at
from fleet.management.commands import due, scan
from fleet.models import Membership
from fleet.record.refresh import refresh_contractor

# Auckland is 13 hours ahead of UTC in its summer, New York 5 behind (tz database, zones Pacific/Auckland and
# America/New_York): its midnight comes at 11:00 UTC, and by 23:30 UTC it is well into the morning.
BEFORE = dt.datetime(2026, 11, 25, 10, 59, tzinfo=dt.UTC)
AFTER = dt.datetime(2026, 11, 25, 11, 1, tzinfo=dt.UTC)
LATE = dt.datetime(2026, 11, 25, 23, 59, tzinfo=dt.UTC)
THAT_DAY, NEXT_DAY = dt.date(2026, 11, 25), dt.date(2026, 11, 26)


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Callable[[dt.datetime], None]:
    """Sets the time it is."""
    return lambda moment: monkeypatch.setattr("django.utils.timezone.now", lambda: moment)


@pytest.fixture
def abroad(portal):
    """The portal with Quarry Hill Grounds in Auckland; its shop stays in New York."""
    portal.quarry.time_zone = "Pacific/Auckland"
    portal.quarry.save()
    return portal


def test_one_moment_is_two_days(clock, abroad) -> None:
    clock(BEFORE)
    assert (today_at(abroad.quarry), today_at(abroad.millrace)) == (THAT_DAY, THAT_DAY)
    for moment in (AFTER, LATE):
        clock(moment)
        assert (today_at(abroad.quarry), today_at(abroad.millrace)) == (NEXT_DAY, THAT_DAY)
        assert day_at(abroad.quarry, moment) == NEXT_DAY
        assert by_day([abroad.quarry, abroad.millrace]) == [
            (THAT_DAY, [abroad.millrace]), (NEXT_DAY, [abroad.quarry])
        ]  # fmt: skip
        assert by_day([abroad.quarry, abroad.millrace], THAT_DAY) == [(THAT_DAY, [abroad.quarry, abroad.millrace])]


def test_a_role_ends_when_the_day_comes_where_it_is_held(clock, abroad) -> None:
    for who in ("owner", "boss"):
        Membership.objects.filter(user=abroad.people[who]).update(ended_on=NEXT_DAY)
        clock(BEFORE)
        assert abroad.quarry.pk in access_of(abroad.people[who]).contractor_ids
        clock(AFTER)
        assert abroad.quarry.pk not in access_of(abroad.people[who]).contractor_ids


def test_an_arrangement_starts_and_ends_on_the_contractors_day(clock, abroad) -> None:
    abroad.quarry.arrangements.update(until=THAT_DAY)
    abroad.millrace.arrangements.update(from_date=NEXT_DAY)
    clock(BEFORE)
    assert access_of(abroad.people["technician"]).contractor_ids == {abroad.quarry.pk}
    clock(AFTER)
    assert access_of(abroad.people["technician"]).contractor_ids == set()
    clock(dt.datetime(2026, 11, 26, 5, 1, tzinfo=dt.UTC))
    assert access_of(abroad.people["technician"]).contractor_ids == {abroad.millrace.pk}


def test_the_list_is_of_the_contractors_day(clock, abroad) -> None:
    page = reverse("ready_print")
    for moment, day in ((BEFORE, THAT_DAY), (LATE, NEXT_DAY)):
        clock(moment)
        assert abroad.client("boss").get(page).context["today"] == day
        assert abroad.client("owner").get(page).context["today"] == day
    # All contractors together: the reader's own day, which is the shop's for its people.
    assert abroad.client("technician").get(page).context["today"] == THAT_DAY


def test_commands_and_refreshes_ask_for_each_contractors_day(clock, abroad, monkeypatch, capsys) -> None:
    clock(LATE)
    asked: list[tuple[str, dt.date]] = []
    monkeypatch.setattr(
        "fleet.record.refresh.scan", lambda cs, *, as_of, today, progress: asked.extend((c.name, today) for c in cs)
    )
    refresh_contractor(abroad.quarry)
    refresh_contractor(abroad.millrace)
    assert asked == [("Quarry Hill Grounds", NEXT_DAY), ("Millrace Estates", THAT_DAY)]

    asked.clear()
    monkeypatch.setattr(due, "due_jobs", lambda cs, *, as_of, **_: asked.extend((c.name, as_of) for c in cs) or [])
    call_command("due", format="json")
    assert ("Quarry Hill Grounds", NEXT_DAY) in asked
    assert ("Millrace Estates", THAT_DAY) in asked

    asked.clear()
    real = scan.scan

    def noted(contractors, *, today, **options):  # type: ignore[no-untyped-def]
        asked.extend((c.name, today) for c in contractors)
        return real(contractors, today=today, **options)

    monkeypatch.setattr(scan, "scan", noted)
    capsys.readouterr()
    call_command("scan", format="json")
    (row,) = json.loads(capsys.readouterr().out)
    assert row["contractors"] == len(asked) == 3
    assert ("Quarry Hill Grounds", NEXT_DAY) in asked
    assert ("Millrace Estates", THAT_DAY) in asked
