"""What the counter is told about a unit: what was found last time, what is open, what is due, warranty."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q

from fleet.models import Contractor, Failure, GuardCheck, Service, Trimmer
from fleet.record.standing import standing
from fleet.upkeep.catalog import CONTRACTOR, Holder, model_sheets
from fleet.upkeep.entry_words import entry_words
from fleet.upkeep.job_words import place_of
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.lists import stored_rows
from fleet.upkeep.ready import Job, jobs_on, sort_key
from fleet.vocabulary import BENCH, LATER, OWNER, WARRANTY_GROUPS, Label
from shop.vocabulary import fault_job, task_job

LAST_FINDINGS = 4


@dataclass(frozen=True)
class Warranty:
    """One group of components: until when the maker answers for it; None: not known, and why."""

    label: Label
    until: dt.date | None
    running: bool
    months: int | None


@dataclass(frozen=True)
class UnitFacts:
    """All of it for one unit, as of a day."""

    unit: Trimmer
    last_time: list[tuple[dt.date, str]]
    open_faults: list[Failure]
    due: list[Job]
    warranty: list[Warranty]

    @property
    def held(self) -> bool:
        return any(job.flag.on_hold for job in self.due)


def open_failures(unit_ids: Iterable[int]) -> dict[int, list[Failure]]:
    """Failures that nobody has mended since, by unit, oldest first, in one query."""
    mended = standing(Failure.objects.filter(trimmer=OuterRef("trimmer"), component=OuterRef("component")), "failure")
    later = mended.exclude(done="").filter(
        Q(occurred_on__gt=OuterRef("occurred_on")) | Q(occurred_on=OuterRef("occurred_on"), pk__gt=OuterRef("pk"))
    )
    rows = standing(Failure.objects.filter(trimmer__in=list(unit_ids), done=""), "failure")
    found: dict[int, list[Failure]] = {}
    for row in rows.exclude(Exists(later)).order_by("occurred_on", "pk"):
        found.setdefault(row.trimmer_id, []).append(row)
    return found


def due_jobs_of(
    contractors: Sequence[Contractor], unit_ids: Iterable[int], today: dt.date, before: dt.date | None = None
) -> dict[int, list[Job]]:
    """Jobs due on these units by a day, worst first; two queries."""
    ids = list(unit_ids)
    rows = stored_rows([c.pk for c in contractors], unit_ids=ids)
    jobs = [job for job in jobs_on(rows, seasons_of(contractors), today, before or today) if job.state != LATER]
    found: dict[int, list[Job]] = {}
    for job in sorted(jobs, key=sort_key):
        if job.place != OWNER:
            found.setdefault(job.unit.unit, []).append(job)
    return found


def bench_jobs(due: Iterable[Job], faults: Iterable[Failure], *, yard: bool) -> tuple[str, ...]:
    """Keys of what a unit comes to the bench for: bench jobs, holds the shop clears, faults; yard jobs if wanted."""
    jobs = [task_job(job.task) for job in due if yard or place_of(job) == BENCH]
    return tuple(dict.fromkeys([*(fault_job(f.component) for f in faults), *jobs]))


def last_findings(unit: Trimmer, today: dt.date) -> list[tuple[dt.date, str]]:
    """What the bench found on this unit before today, newest first: entries made on the shop's word."""
    found: list[tuple[dt.date, int, str]] = []
    services = standing(Service.objects.filter(trimmer=unit, done_by="shop"), "service").exclude(as_found="")
    failures = standing(Failure.objects.filter(trimmer=unit), "failure").exclude(done="")
    walks = standing(GuardCheck.objects.filter(trimmer=unit, seen_by="shop"), "guard")
    for rows in (services, failures, walks):
        for entry in rows.filter(occurred_on__lt=today).order_by("-occurred_on", "-pk")[:LAST_FINDINGS]:
            found.append((entry.occurred_on, entry.pk, entry_words(entry)))
    found.sort(key=lambda row: row[:2], reverse=True)
    return [(day, words) for day, _pk, words in found[:LAST_FINDINGS]]


def warranties(unit: Trimmer, today: dt.date) -> list[Warranty]:
    """The maker's warranty of each group of components, counted in months from the day the unit was bought."""
    holder = Holder(CONTRACTOR, contractor_id=unit.contractor_id)
    (sheet,) = model_sheets([unit.model], holder)
    answers = []
    for group, (label, _parts) in WARRANTY_GROUPS.items():
        figure = sheet.groups[group] if sheet.groups[group].given else sheet.terms["warranty_months"]
        months = figure.value if figure.given else None
        until = None if unit.bought_on is None or months is None else months_after(unit.bought_on, int(months))
        answers.append(Warranty(label, until, until is not None and today <= until, months))
    return answers


def months_after(day: dt.date, months: int) -> dt.date:
    """The same day of the month so many months on; the month's last where it has no such day."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    first_after = dt.date(year + (month == 11), (month + 1) % 12 + 1, 1)
    return min(dt.date(year, month + 1, 1) + dt.timedelta(days=day.day - 1), first_after - dt.timedelta(days=1))


def unit_facts(unit: Trimmer, today: dt.date, before: dt.date | None = None) -> UnitFacts:
    """Read all of it, in a constant number of queries."""
    return UnitFacts(
        unit=unit,
        last_time=last_findings(unit, today),
        open_faults=open_failures([unit.pk]).get(unit.pk, []),
        due=due_jobs_of([unit.contractor], [unit.pk], today, before).get(unit.pk, []),
        warranty=warranties(unit, today),
    )
