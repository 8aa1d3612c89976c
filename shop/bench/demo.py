"""The demo's bench, all invented: two technicians, visits past, present and to come, made by the same writers."""

from __future__ import annotations

import datetime as dt
import random
from decimal import Decimal

from django.utils import timezone

from fleet.models import Contractor, Crew, Membership, Role, Shop, User
from fleet.record.writing import By, Refused
from fleet.upkeep.crew_units import units_in_use
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.ready import carry_through_default
from fleet.vocabulary import FINDINGS_OF_TASK, TASKS
from shop.bench.arriving import Told, check_in, link_open_faults, walk_in
from shop.bench.booking import Booking, Brought, book
from shop.bench.calendar_keeping import WEEK, add_closed_days, change_bench, save_technician
from shop.bench.days import calendar_of, days_between
from shop.bench.facts import bench_jobs, due_jobs_of, open_failures
from shop.bench.minutes import learn_minutes
from shop.bench.working import Found, finish_job, step
from shop.models import DropOff, DropOffLine, LineJob, VisitMail
from shop.vocabulary import AT_YARD, PICKED_UP, READY, WAITING

SEED = 7
VISITS_AHEAD = 9
# Days back at which a visit that is over was brought in.
PAST_DAYS = (21, 15, 9)
KIT = ("Blower", "Hedge trimmer", "Edger")


def build_bench(shop: Shop, today: dt.date) -> None:
    """Fill the demo's bench; letters about it are not sent, since nobody of it exists."""
    _Build(shop, today).all()
    VisitMail.objects.at_shops([shop.pk]).update(sent_at=timezone.now())


class _Build:
    def __init__(self, shop: Shop, today: dt.date) -> None:
        self.shop, self.today = shop, today
        self.dice = random.Random(SEED)
        self.now = timezone.now()
        staff = Membership.objects.filter(shop=shop, role=Role.TECHNICIAN).select_related("user").first()
        self.technician: User | None = staff.user if staff is not None else None
        self.bench_by = By(self.technician, "screen", "shop")
        self.queue = self._due_units()

    def all(self) -> None:
        self._calendar()
        for days in PAST_DAYS:
            self._past_visit(self.today - dt.timedelta(days=days))
        self._in_hand()
        self._ahead()
        learn_minutes(shop=self.shop, today=self.today)

    def _calendar(self) -> None:
        full = dict.fromkeys(WEEK[:5], 300)
        save_technician(shop=self.shop, name="Ana", minutes={**full, "wednesday": 180})
        save_technician(shop=self.shop, name="Lou", minutes={"monday": 180, "tuesday": 180, "thursday": 180})
        change_bench(shop=self.shop, values={"phone": "555-0140 (invented)", "address": "14 Alder Street (invented)"})
        friday = self.today + dt.timedelta(days=(4 - self.today.weekday()) % 7 + 7)
        add_closed_days(shop=self.shop, first=friday, last=friday, why="Stock count")

    def _due_units(self) -> list[tuple[Contractor, Crew | None, list[Brought]]]:
        """For each crew, its units with something for the bench, worst first."""
        found: list[tuple[Contractor, Crew | None, list[Brought]]] = []
        for contractor in Contractor.objects.filter(arrangements__shop=self.shop).order_by("name"):
            before = carry_through_default(seasons_of([contractor])[contractor.pk], self.today)
            for crew in Crew.objects.filter(contractor=contractor).order_by("name"):
                units = units_in_use([contractor], crew.pk)
                ids = [unit.pk for unit in units]
                due, faults = due_jobs_of([contractor], ids, self.today, before), open_failures(ids)
                brought = [
                    Brought(u, bench_jobs(due.get(u.pk, []), faults.get(u.pk, []), yard=False)[:4]) for u in units
                ]
                found.append((contractor, crew, [b for b in brought if b.jobs]))
        return found

    def _take(self, crew_number: int, units: int) -> tuple[Contractor, Crew | None, list[Brought]]:
        contractor, crew, waiting = self.queue[crew_number % len(self.queue)]
        taken, waiting[:] = waiting[:units], waiting[units:]
        return contractor, crew, taken

    def _open_day(self, day: dt.date) -> dt.date:
        """This day, or the next one on which the bench is open."""
        calendar = calendar_of(self.shop)
        return next(d for d in days_between(day, day + dt.timedelta(days=14)) if calendar.open_minutes(d)[0])

    def _book(self, crew_number: int, units: int, day: dt.date, **more: object) -> DropOff | None:
        contractor, crew, brought = self._take(crew_number, units)
        if not brought and not more.get("kit"):
            return None
        booking = Booking(self.shop, contractor, self._open_day(day), crew, brought, **more)  # type: ignore[arg-type]
        by = self.bench_by if more.get("offered") else By(self._boss(crew), "screen", "crew")
        try:
            return book(booking=booking, by=by, today=min(day, self.today), now=self.now)
        except Refused:
            return None  # the day filled up; the demo goes on with what fits

    def _boss(self, crew: Crew | None) -> User | None:
        found = Membership.objects.filter(crew=crew, role=Role.CREW_BOSS).select_related("user").first()
        return found.user if found is not None else None

    def _past_visit(self, day: dt.date) -> None:
        """A visit that was brought in, worked on and fetched."""
        day = self._open_day(day)
        visit = self._book(len(self.queue) - day.day, 2, day)
        if visit is None:
            return
        at = dt.datetime.combine(day, dt.time(13), tzinfo=dt.UTC)
        for line in list(DropOffLine.objects.filter(drop_off=visit).select_related("trimmer", "drop_off__shop")):
            self._arrive(line, day, at, Told(guard="on", cutting_line="ok", fuel="fresh"))
            self._do_jobs(line, day, at + dt.timedelta(hours=3))
            step(line=self._again(line), to=READY, by=self.bench_by, now=at + dt.timedelta(hours=5))
            step(line=self._again(line), to=PICKED_UP, by=self.bench_by, now=at + dt.timedelta(days=1))

    def _in_hand(self) -> None:
        """Today: some on the bench, one waiting on a part, one ready, one walk-in."""
        visit = self._book(1, 3, self.today)
        lines = [] if visit is None else list(
            DropOffLine.objects.filter(drop_off=visit).select_related("trimmer", "drop_off__shop").order_by("pk")
        )  # fmt: skip
        promised = self._open_day(self.today + dt.timedelta(days=1))
        for number, line in enumerate(lines):
            told = Told(
                phone="555-0117 (invented)", complaint="Loses power after lunch" if number == 0 else "",
                symptom="loses_power_gradually" if number == 0 else "", fuel="old" if number == 0 else "fresh",
                left_with="Harness", promised_on=promised, fix_up_to=Decimal("80"), diagnosis_charge=Decimal("25"),
                guard="on", cutting_line="long" if number == 1 else "ok",
            )  # fmt: skip
            self._arrive(line, self.today, self.now, told)
            if number == 1:
                step(line=self._again(line), to=WAITING, by=self.bench_by, now=self.now, note="gearbox, ordered")
            if number == 2:
                self._do_jobs(line, self.today, self.now)
                step(line=self._again(line), to=READY, by=self.bench_by, now=self.now)
        contractor, crew, brought = self._take(6, 1)
        if brought:
            told = Told(
                complaint="Will not start", symptom="no_start", fuel="unknown", guard="on", promised_on=promised
            )
            walk_in(
                shop=self.shop, contractor=contractor, crew=crew, unit=brought[0].unit, kit="", told=told, jobs=(),
                by=self.bench_by, today=self.today, now=self.now,
            )  # fmt: skip

    def _ahead(self) -> None:
        """Visits to come: booked ones, two offers, a yard visit."""
        for number in range(VISITS_AHEAD):
            kit = (self.dice.choice(KIT),) if number % 3 == 1 else ()
            offered = number in (4, 7)
            self._book(
                number, 2 + number % 2, self.today + dt.timedelta(days=number * 2 // 2), kit=kit, offered=offered
            )
        day = self.today + dt.timedelta(days=12)
        self._book(4, 4, day, place=AT_YARD, travel_minutes=40, note="The yard behind the depot, from 8")

    def _arrive(self, line: DropOffLine, day: dt.date, at: dt.datetime, told: Told) -> None:
        check_in(line=line, told=told, by=self.bench_by, today=day, now=at)
        link_open_faults([line])

    def _do_jobs(self, line: DropOffLine, day: dt.date, at: dt.datetime) -> None:
        for job in list(LineJob.objects.filter(line=line, done_at=None).order_by("pk")):
            job.line = self._again(line)
            kind, _dot, rest = job.job.partition(".")
            minutes = max(2, round(job.minutes * self.dice.uniform(0.8, 1.3)))
            found = Found(minutes=minutes)
            if kind == "task":
                sound = FINDINGS_OF_TASK[rest][0]
                found = Found(sound, "looked" if TASKS[rest].renewed_by_look else "serviced", minutes=minutes)
            elif kind == "fault":
                found = Found(done="repaired", cause="wear", minutes=minutes, parts_cost=Decimal("9.50"))
            finish_job(job=job, found=found, by=self.bench_by, today=day, now=at)

    @staticmethod
    def _again(line: DropOffLine) -> DropOffLine:
        return DropOffLine.objects.select_related("trimmer", "drop_off__shop").get(pk=line.pk)
