"""Work for the queue: load by id, call upkeep. Each may run twice, or be killed half-way and run again."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from django.core.cache import cache
from django.utils import timezone

from fleet.celery import app
from fleet.models import Contractor
from fleet.models.tenancy import all_tenants
from fleet.upkeep.scan import scan


@app.task(name="fleet.scan_contractor")
def scan_contractor(contractor_id: int) -> int:
    """Refit one contractor's usage and refresh its flags; returns how many flags stand. A vanished one has none."""
    with all_tenants():
        contractor = Contractor.objects.filter(pk=contractor_id).first()
        if contractor is None:
            return 0
        today = timezone.now().astimezone(ZoneInfo(contractor.time_zone)).date()
        return scan([contractor], as_of=today, today=today).written.flags


@app.task(name="fleet.scan_everyone")
def scan_everyone() -> int:
    """Queue a scan for each contractor; returns how many."""
    ids = list(Contractor.objects.order_by("pk").values_list("pk", flat=True))
    for pk in ids:
        scan_contractor.delay(pk)
    return len(ids)


@app.task(name="fleet.answer")
def answer(question: str) -> None:
    """Leave a mark that this question came through the queue, for ``manage.py health``."""
    cache.set(f"answer:{question}", timezone.now().timestamp(), 3600)
