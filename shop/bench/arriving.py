"""Check-in: what comes over the counter, what was said about it, and what is seen at once.

Findings that keep people safe go into the ledger in the same transaction, so the unit rests from this moment. A
complaint becomes an open failure with the contractor's words, unless one is open already; the bench records later what
it really was.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import Contractor, Crew, Failure, Shop, Trimmer
from fleet.record.faults import FAULTS, report_fault
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.hours import HoursLine, record_hours
from fleet.record.work import Broken, record_failure
from fleet.record.writing import By, Refused
from shop.bench.booking import Brought, add_lines
from shop.bench.facts import open_failures
from shop.bench.minutes import MinutesOf, minutes_of
from shop.bench.writing import add_event, lines_of_visit, lock_days, lock_parties, lock_visit, move_line, settle
from shop.models import CheckIn, DropOff, DropOffLine, LineJob
from shop.vocabulary import CHECKED_IN, IN_SHOP, SYMPTOMS, fault_job

MOST_FIX = Decimal("99999")


@dataclass(frozen=True)
class Told:
    """What was said and seen at the counter. Empty: not said, not looked at."""

    phone: str = ""
    complaint: str = ""
    symptom: str = ""
    fuel: str = ""
    left_with: str = ""
    promised_on: dt.date | None = None
    fix_up_to: Decimal | None = None
    diagnosis_charge: Decimal | None = None
    hours: Decimal | None = None
    guard: str = ""
    cutting_line: str = ""
    # Keys of FAULTS that hold the unit, found at the counter.
    safety: Sequence[str] = field(default_factory=tuple)
    # Keys of jobs to be done besides those booked.
    more_jobs: Sequence[str] = field(default_factory=tuple)


def check_in(*, line: DropOffLine, told: Told, by: By, today: dt.date, now: dt.datetime) -> CheckIn:
    """Take a line in and record what was said and seen; all of it stands, or none."""
    with transaction.atomic():
        visit = lock_visit(line.drop_off)
        lines = lines_of_visit(visit)
        row = next((found for found in lines if found.pk == line.pk), None)
        if row is None:
            raise Refused(_("This is not on the list any more. Load the page again."))
        said = _check(visit, told, today)
        if row.state not in IN_SHOP:
            move_line(row, CHECKED_IN, by.author, now)
        elif row.state != CHECKED_IN:
            add_event(visit, "said", by.author, now, line=row)
        facts = CheckIn.objects.create(
            contractor_id=visit.contractor_id,
            shop_id=visit.shop_id,
            line=row,
            phone=told.phone.strip(),
            complaint=told.complaint.strip(),
            symptom=told.symptom,
            fuel=told.fuel,
            left_with=told.left_with.strip(),
            promised_on=told.promised_on,
            fix_up_to=told.fix_up_to,
            diagnosis_charge=told.diagnosis_charge,
            hours=told.hours,
            guard=told.guard,
            cutting_line=told.cutting_line,
            author=by.author,
            at=now,
        )
        row.promised_on = told.promised_on
        row.save(update_fields=["promised_on"])
        unit = row.trimmer
        if unit is not None:
            minutes = minutes_of(visit.shop)
            _to_ledger(unit, told, by, today)
            if said:
                _take_complaint(row, unit, said, told, by, today, minutes)
            _add_jobs(row, told.more_jobs, minutes)
        settle(visit, lines)
    return facts


def walk_in(
    *, shop: Shop, contractor: Contractor, crew: Crew | None, unit: Trimmer | None, kit: str, told: Told,
    jobs: Sequence[str], by: By, today: dt.date, now: dt.datetime,
) -> DropOffLine:  # fmt: skip
    """Somebody stands at the counter unannounced: a visit of today with this one line, checked in at once."""
    with transaction.atomic():
        lock_parties(contractor.pk, [] if unit is None else [unit.pk])
        lock_days(shop, [today])
        if by.client_entry_id is not None:
            before = DropOff.objects.known().filter(client_entry_id=by.client_entry_id).first()
            if before is not None:
                return lines_of_visit(before)[0]
        visit = DropOff.objects.create(
            contractor=contractor, shop=shop, crew=crew, day=today, walk_in=True, made_by=by.author,
            client_entry_id=by.client_entry_id,
        )  # fmt: skip
        brought = [] if unit is None else [Brought(unit, tuple(jobs))]
        (line,) = add_lines(visit, brought, [] if unit is not None else [kit], minutes_of(shop), visit.state)
        add_event(visit, "booked", by.author, now, after=today.isoformat(), note=_("walk-in"))
        check_in(line=line, told=told, by=by.part("check-in"), today=today, now=now)
        line.refresh_from_db()
    return line


def link_open_faults(lines: Sequence[DropOffLine]) -> None:
    """Tie each line's fault jobs to the failures that stand open, so that mending one closes the other."""
    ids = [line.trimmer_id for line in lines if line.trimmer_id is not None]
    failures = open_failures(ids)
    unit_of = {line.pk: line.trimmer_id for line in lines}
    rows = LineJob.objects.known().filter(line__in=unit_of, job__startswith="fault.", failure=None, done_at=None)
    for job in rows:
        component = job.job.removeprefix("fault.")
        mine = [f for f in failures.get(unit_of[job.line_id] or 0, []) if f.component == component]
        if mine:
            LineJob.objects.known().filter(pk=job.pk).update(failure=mine[0])


def _check(visit: DropOff, told: Told, today: dt.date) -> str:
    """Refuse what cannot be; returns the complaint in words, the symptom's where nobody said more."""
    if told.symptom and told.symptom not in SYMPTOMS:
        raise Refused(_("Choose one of the answers offered."), "symptom")
    if told.promised_on is not None and told.promised_on < today:
        raise Refused(_("This day is over. Promise one that is still to come."), "promised_on")
    for name, amount in (("fix_up_to", told.fix_up_to), ("diagnosis_charge", told.diagnosis_charge)):
        if amount is not None and not 0 <= amount <= MOST_FIX:
            raise Refused(_("This figure is too large or below zero. Check it."), name)
    if any(key not in FAULTS or not FAULTS[key].holds for key in told.safety):
        raise Refused(_("Choose one of the answers offered."), "safety")
    symptom = str(SYMPTOMS[told.symptom].label) if told.symptom else ""
    return ". ".join(part for part in (symptom, told.complaint.strip()) if part)[:200]


def _to_ledger(unit: Trimmer, told: Told, by: By, today: dt.date) -> None:
    """Hours, guard, line and safety as found: entries of the shop's, in the order they count."""
    if told.hours is not None:
        line = HoursLine(unit, today, meter_hours=told.hours)
        try:
            record_hours(lines=[line], by=by.part("hours"), today=today, confirmed=True)
        except Refused as refusal:
            raise Refused(refusal.message, "hours", unit=unit) from refusal
    if told.guard or told.cutting_line:
        seen = Seen(unit, guard=told.guard, line=told.cutting_line)
        record_walk(seen=[seen], on=today, by=by.part("guard"), today=today)
    found = list(dict.fromkeys(told.safety))
    symptom = SYMPTOMS.get(told.symptom)
    if symptom is not None and symptom.safety and symptom.safety not in found:
        found.append(symptom.safety)
    for key in found:
        report_fault(unit=unit, fault=key, on=today, by=by.part(f"safety-{key}"), today=today)


def _take_complaint(
    line: DropOffLine, unit: Trimmer, said: str, told: Told, by: By, today: dt.date, minutes: MinutesOf
) -> None:
    symptom = SYMPTOMS.get(told.symptom)
    component = symptom.component if symptom is not None else "fuel"
    mine = [f for f in open_failures([unit.pk]).get(unit.pk, []) if f.component == component]
    job = fault_job(component)
    # A safety symptom is in the ledger as a finding already; as an open failure it would be told twice.
    failure: Failure | None = mine[0] if mine else None
    if failure is None and (symptom is None or not symptom.safety):
        broken = Broken(unit, component, today, what=said)
        failure = record_failure(broken=broken, by=by.part("complaint"), today=today)
    there = LineJob.objects.known().filter(line=line, job=job, done_at=None).first()
    if there is None:
        _add_jobs(line, [job], minutes, failure)
    elif failure is not None and there.failure_id is None:
        LineJob.objects.known().filter(pk=there.pk).update(failure=failure)


def _add_jobs(line: DropOffLine, jobs: Sequence[str], minutes: MinutesOf, failure: Failure | None = None) -> None:
    there = set(LineJob.objects.known().filter(line=line, done_at=None).values_list("job", flat=True))
    for job in dict.fromkeys(jobs):
        if job in there:
            continue
        took = minutes.of(job)
        LineJob.objects.create(
            contractor_id=line.contractor_id, shop_id=line.shop_id, line=line, job=job, minutes=took, added="check_in",
            failure=failure,
        )  # fmt: skip
        line.minutes += took
    line.save(update_fields=["minutes"])
