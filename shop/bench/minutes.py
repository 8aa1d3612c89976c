"""How long jobs take at a shop: common practice or the shop's own figure, drawn toward what its finished jobs say."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Avg, Count, Exists, OuterRef
from django.db.models.functions import Ln

from fleet.models import Contractor, Failure, Service, Shop, Withdrawal
from fleet.models.tenancy import all_tenants
from fleet.record.writing import Refused
from fleet.vocabulary import TASKS
from shop.bench.words import too_many_minutes
from shop.models import LineJob, StandardMinutes
from shop.vocabulary import (
    ALL_JOBS,
    INTAKE,
    KIT,
    QUICK_LOOK,
    practice_minutes,
    repair_job,
    task_job,
)

# The figure to start from counts as so many finished jobs.
START_JOBS = 10
MOST_MINUTES = 600


@dataclass(frozen=True)
class JobMinutes:
    """One job's minutes and what they rest on: where it started from, and how many finished jobs drew it on."""

    job: str
    minutes: int
    start: int
    own: bool
    jobs: int
    learned: float | None


@dataclass(frozen=True)
class MinutesOf:
    """Minutes of every job at one shop, read once."""

    rows: dict[str, StandardMinutes]

    def about(self, job: str) -> JobMinutes:
        """The minutes of a job with what they rest on."""
        kind, _dot, component = job.partition(".")
        if kind == "fault":
            look = self.about(QUICK_LOOK)
            worst = max(
                (self.about(repair_job(component, d)) for d in ("repaired", "replaced")), key=lambda a: a.minutes
            )
            return JobMinutes(job, worst.minutes + look.minutes, worst.start + look.start, worst.own, worst.jobs, None)
        row = self.rows.get(job)
        own = row is not None and row.own_minutes is not None
        start = row.own_minutes if row is not None and row.own_minutes is not None else practice_minutes(job)
        if row is None or not row.jobs:
            return JobMinutes(job, start, start, own, 0, None)
        drawn = (START_JOBS * math.log(start) + row.jobs * row.mean_log) / (START_JOBS + row.jobs)
        return JobMinutes(job, max(1, round(math.exp(drawn))), start, own, row.jobs, math.exp(row.mean_log))

    def of(self, job: str) -> int:
        """Minutes of a job."""
        return self.about(job).minutes

    def of_unit(self, jobs: Iterable[str]) -> int:
        """Minutes of a unit with these jobs, taking it in among them."""
        return self.of(INTAKE) + sum(self.of(job) for job in jobs if job != INTAKE)


def minutes_of(shop: Shop) -> MinutesOf:
    """Minutes of every job at this shop, in one query."""
    return MinutesOf({row.job: row for row in StandardMinutes.objects.filter(shop=shop)})


def set_own_minutes(*, shop: Shop, job: str, minutes: int | None) -> None:
    """The shop's own figure to start from; None gives it back to common practice."""
    if job not in ALL_JOBS or (minutes is not None and not 1 <= minutes <= MOST_MINUTES):
        raise Refused(too_many_minutes(MOST_MINUTES), "minutes")
    StandardMinutes.objects.update_or_create(shop=shop, job=job, defaults={"own_minutes": minutes})


def learn_minutes(*, shop: Shop, today: dt.date) -> int:
    """Work out anew what the shop's finished jobs say; returns how many jobs have been learned from.

    Tasks and repairs are read from the ledger, as the shop recorded them on the units of contractors it looks after or
    has looked after; taking in and other kit from the bench's own rows. Withdrawn entries do not count.
    """
    found: dict[str, tuple[int, float]] = {}
    with all_tenants(), transaction.atomic():
        contractors = Contractor.objects.filter(arrangements__shop=shop).values("pk")
        services = _standing(Service, "service").filter(contractor__in=contractors, done_by="shop", minutes__gte=1)
        for task, done, n, mean in _means(services, "task", "done"):
            if done != "looked" or TASKS[task].renewed_by_look:
                _add(found, task_job(task), n, mean)
        failures = _standing(Failure, "failure").filter(
            contractor__in=contractors, minutes__gte=1, done__in=("repaired", "replaced")
        )
        for component, done, n, mean in _means(failures, "component", "done"):
            _add(found, repair_job(component, done), n, mean)
        own = LineJob.objects.at_shops([shop.pk]).filter(job__in=(INTAKE, KIT, QUICK_LOOK), minutes_taken__gte=1)
        for job, n, mean in own.values_list("job").annotate(n=Count("pk"), m=Avg(Ln("minutes_taken"))).order_by():
            _add(found, job, n, mean)
        StandardMinutes.objects.filter(shop=shop).exclude(job__in=found).update(jobs=0, mean_log=0.0)
        for job, (n, mean) in found.items():
            StandardMinutes.objects.update_or_create(
                shop=shop, job=job, defaults={"jobs": n, "mean_log": mean, "learned_on": today}
            )
    return sum(n for n, _mean in found.values())


def _standing(model: type, kind: str):
    gone = Withdrawal.objects.filter(kind=kind, entry_id=OuterRef("pk"))
    return model.objects.exclude(Exists(gone))  # type: ignore[attr-defined]


def _means(rows, *keys: str):
    return rows.values_list(*keys).annotate(n=Count("pk"), m=Avg(Ln("minutes"))).order_by()


def _add(found: dict[str, tuple[int, float]], job: str, n: int, mean: float) -> None:
    before, mean_before = found.get(job, (0, 0.0))
    together = before + n
    found[job] = (together, (before * mean_before + n * float(mean)) / together)
