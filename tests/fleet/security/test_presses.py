"""A form sent again: the same is recorded once, anything else is refused and never passed off as saved."""

from __future__ import annotations

import datetime as dt
import uuid

import pytest
from django.urls import reverse

from fleet.models import GuardCheck, HoursEntry, Postponement, Service, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_crew_hours, record_hours
from fleet.record.postponing import postpone, resume
from fleet.record.undo import take_back
from fleet.record.units import move_unit
from fleet.record.work import Work, record_service
from fleet.record.writing import By, Refused
from tests import factories
from tests.fleet.views.pages import errors, text

TODAY = dt.date.today()


@pytest.fixture(autouse=True)
def everyone(db):
    with all_tenants():
        yield


def press(person, press_id=None):
    return By(person, "screen", "crew", press_id or uuid.uuid4())


def job(unit, on=TODAY, task="grease"):
    return Work(unit, task, on, "ok", "serviced")


def test_the_same_press_records_once(portal):
    by, unit = press(portal.people["boss"]), portal.units["due"]
    first, again = (record_service(work=job(unit), by=by, today=TODAY) for _time in range(2))
    assert first.pk == again.pk


@pytest.mark.parametrize("change", ["day", "unit", "person"])
def test_an_old_form_with_something_changed_is_not_called_saved(portal, change):
    by, unit = press(portal.people["boss"]), portal.units["due"]
    record_service(work=job(unit), by=by, today=TODAY)
    if change == "person":
        by = By(portal.people["owner"], "screen", "crew", by.client_entry_id)
    work = job(portal.units["fresh"] if change == "unit" else unit, factories.days_ago(int(change == "day")))
    with pytest.raises(Refused, match="Load the page again"):
        record_service(work=work, by=by, today=TODAY)
    assert Service.objects.count() == 1


def test_another_contractors_press_is_no_error_and_changes_nothing(portal):
    by = press(portal.people["boss"])
    record_service(work=job(portal.units["due"]), by=by, today=TODAY)
    url = reverse("done", args=[portal.units["theirs"].pk, "grease"])
    data = {"client_entry_id": by.client_entry_id, "as_found": "ok", "done": "serviced", "occurred_on": TODAY}
    said = errors(portal.client("neighbor").post(url, data))
    assert "Load the page again" in said[""]
    assert Service.objects.count() == 1


def test_what_was_taken_back_is_not_saved_by_the_old_form(portal):
    by, unit = press(portal.people["boss"]), portal.units["due"]
    entry = record_service(work=job(unit), by=by, today=TODAY)
    take_back(entries=[("service", entry.pk)], by=by)
    with pytest.raises(Refused, match="Load the page again"):
        record_service(work=job(unit), by=by, today=TODAY)


def test_a_line_emptied_before_the_repeat_does_not_double_those_below_it(portal):
    by = press(portal.people["boss"])
    a, b = (HoursLine(portal.units[name], TODAY, hours_run=3) for name in ("due", "fresh"))
    before = HoursEntry.objects.count()
    assert len(record_hours(lines=[a, b], by=by, today=TODAY)) == 2
    assert record_hours(lines=[b], by=by, today=TODAY) == []
    assert HoursEntry.objects.count() == before + 2


def test_a_changed_figure_on_an_old_hours_page_is_refused_on_its_line(portal):
    unit, client = portal.units["due"], portal.client("boss")
    data = {"client_entry_id": uuid.uuid4(), "occurred_on": TODAY, f"u{unit.pk}-kind": "run"}
    url = reverse("hours") + f"?unit={unit.pk}"
    assert client.post(url, {**data, f"u{unit.pk}-figure": "3"}).status_code == 302
    assert "Load the page again" in text(client.post(url, {**data, f"u{unit.pk}-figure": "5"}), 422)
    assert list(HoursEntry.objects.filter(hours_run__gt=0).values_list("hours_run", flat=True)) == [3]


def test_walks_moves_weeks_and_jobs_put_off_keep_to_the_same_rule(portal):
    person, unit, other = portal.people["boss"], portal.units["due"], portal.units["fresh"]
    later = TODAY + dt.timedelta(days=9)
    acts = [
        lambda by, odd: record_walk(
            seen=[Seen(unit, guard="on", line="long" if odd else "ok")], on=TODAY, by=by, today=TODAY
        ),
        lambda by, odd: move_unit(
            unit=unit, crew=portal.north if odd else portal.south, on=TODAY, by=by, today=TODAY
        ),
        lambda by, odd: record_crew_hours(
            crew=portal.north, week_of=TODAY, crew_hours=4 + odd, by=by, today=TODAY
        ),
        lambda by, odd: postpone(
            unit=other, task="plug", until=later, reason="later" if odd else "no part", by=by, today=TODAY
        ),
    ]  # fmt: skip
    for act in acts:
        by = press(person)
        act(by, 0)
        act(by, 0)
        with pytest.raises(Refused, match="Load the page again"):
            act(by, 1)
    assert GuardCheck.objects.filter(trimmer=unit).count() == 1


def test_a_job_back_on_the_list_is_not_put_off_by_the_old_form(portal):
    by, unit = press(portal.people["boss"]), portal.units["fresh"]
    said = {"unit": unit, "task": "plug", "until": TODAY + dt.timedelta(days=9), "reason": "no part"}
    postpone(**said, by=by, today=TODAY)
    resume(unit=unit, task="plug")
    with pytest.raises(Refused, match="Load the page again"):
        postpone(**said, by=by, today=TODAY)
    assert not Postponement.objects.filter(ended_at__isnull=True).exists()


def test_undo_takes_back_all_of_a_save_or_nothing(portal):
    person, unit = portal.people["owner"], portal.units["fresh"]
    day = factories.days_ago(2)
    swap = HoursLine(unit, day, meter_hours=1, meter_replaced=True)
    (swapped,) = record_hours(lines=[swap], by=press(person), today=TODAY)
    served = record_service(work=job(unit), by=press(person), today=TODAY)
    factories.log_meter(unit, 2)
    # Without the exchange the meter would run backwards, so it cannot go; then the service stays as well.
    with pytest.raises(Refused):
        take_back(entries=[("hours", swapped.pk), ("service", served.pk)], by=By(person))
    assert not Withdrawal.objects.exists()
