"""Tasks of the queue: run where they are called when there are no workers, and safe to run twice."""

from __future__ import annotations

import pytest
from django.conf import settings

from fleet.models import Contractor, Snapshot
from fleet.models.tenancy import all_tenants
from fleet.tasks import scan_contractor, scan_everyone

pytestmark = pytest.mark.django_db


def test_scan_of_a_contractor_that_is_gone_does_nothing() -> None:
    assert scan_contractor(10**9) == 0


def test_everyone_is_scanned_and_a_second_run_keeps_no_second_snapshot() -> None:
    for name in ("Quarry Hill Grounds", "Millrace Estates"):
        Contractor.objects.create(name=name)
    assert scan_everyone.delay().get() == 2
    with all_tenants():
        first = Snapshot.objects.count()
        assert scan_everyone.delay().get() == 2
        assert Snapshot.objects.count() == first


def test_no_task_may_outlive_the_time_after_which_it_is_handed_out_again() -> None:
    assert settings.CELERY_BROKER_TRANSPORT_OPTIONS["visibility_timeout"] > settings.CELERY_TASK_TIME_LIMIT


def test_nightly_schedule_names_a_task_that_exists() -> None:
    app = scan_everyone.app
    app.loader.import_default_modules()
    assert {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()} <= set(app.tasks)
