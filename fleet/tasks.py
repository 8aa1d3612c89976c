"""Work for the queue: load by id, call upkeep. Each may run twice, or be killed half-way and run again."""

from __future__ import annotations

from collections.abc import Callable

from django.core.cache import cache
from django.utils import timezone

from fleet.celery import app
from fleet.clock import today_at
from fleet.models import Contractor
from fleet.models.tenancy import all_tenants
from fleet.record.catalog import refresh_after_change
from fleet.record.import_runs import take_files
from fleet.record.organizations import refresh_season
from fleet.upkeep.crew_cost_store import refresh_crew_costs
from fleet.upkeep.review_store import refresh_reviews
from fleet.upkeep.scan import learn_and_refresh, scan


@app.task(name="fleet.scan_contractor")
def scan_contractor(contractor_id: int) -> int:
    """Learn one contractor's usage, keep its rows for the fits, refresh its flags; returns how many flags stand.

    A vanished contractor has none. Learning from all fleets together is ``learn_from_all``'s.
    """
    with all_tenants():
        contractor = Contractor.objects.filter(pk=contractor_id).first()
        if contractor is None:
            return 0
        today = today_at(contractor)
        flags = scan([contractor], as_of=today, today=today, learn=False).written.flags
        refresh_crew_costs([contractor], today=today)
        refresh_reviews([contractor], today=today)
        return flags


@app.task(name="fleet.scan_everyone")
def scan_everyone() -> int:
    """Queue a scan for each contractor; returns how many."""
    ids = list(Contractor.objects.order_by("pk").values_list("pk", flat=True))
    for pk in ids:
        scan_contractor.delay(pk)
    return len(ids)


def _refreshed(refresh: Callable[..., int], contractor_id: int) -> int:
    """``refresh`` for one contractor on its own day; nothing for one that has vanished."""
    with all_tenants():
        contractor = Contractor.objects.filter(pk=contractor_id).first()
        return 0 if contractor is None else refresh([contractor], today=today_at(contractor))


@app.task(name="fleet.refresh_crew_costs")
def refresh_contractors_crew_costs(contractor_id: int) -> int:
    """Work out a contractor's crew costs again where its ledger moved; returns how many answers were."""
    return _refreshed(refresh_crew_costs, contractor_id)


@app.task(name="fleet.refresh_reviews")
def refresh_contractors_reviews(contractor_id: int) -> int:
    """Advise again on a contractor's units where its ledger moved; returns for how many contractors."""
    return _refreshed(refresh_reviews, contractor_id)


# Reads what the scans kept, fits, and brings up to it whose intervals moved. Ends before the queue hands it out again.
@app.task(name="fleet.learn_from_all", soft_time_limit=1680, time_limit=1740)
def learn_from_all() -> int:
    """Fits over all fleets and the intervals chosen from them; returns how many flags changed."""
    with all_tenants():
        return learn_and_refresh(as_of=today_at(None)).changed


@app.task(name="fleet.answer")
def answer(question: str) -> None:
    """Leave a mark that this question came through the queue, for ``manage.py health``."""
    cache.set(f"answer:{question}", timezone.now().timestamp(), 3600)


# An import of several seasons takes its time, but must end before the queue would hand it out a second time.
@app.task(name="fleet.take_files", soft_time_limit=1680, time_limit=1740)
def take_uploaded_files(run_id: int, only: list[int] | None) -> None:
    """Take in a set of files that was handed in on the screen."""
    take_files(run_id=run_id, only=only)


@app.task(name="fleet.refresh_after_change")
def refresh_units_after_change(unit_ids: list[int]) -> None:
    """Bring the flags of these units up to a changed catalog."""
    refresh_after_change(unit_ids=unit_ids)


@app.task(name="fleet.refresh_season")
def refresh_contractors_season(contractor_id: int) -> None:
    """Bring a contractor's flags up to a changed season."""
    refresh_season(contractor_id=contractor_id)
