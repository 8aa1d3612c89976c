"""The season plan: what falls due put to ``plan_dropoffs``, its answer kept, and offers made from it.

Costs that the plan weighs are rough on purpose and said on the page. A day past due costs the risk the contractor
accepts over one interval, spread over the interval's days, times what a failure costs (a day without the unit and an
hour of labor); a unit on hold costs a day without it. A day too early costs its share of the visit's labor.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from fleet.models import Contractor, Crew, Shop, Trimmer, User
from fleet.models.tenancy import all_tenants
from fleet.record.writing import By, Refused
from fleet.upkeep.job_words import place_of
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.ready import Job
from fleet.vocabulary import BENCH, HOLD
from shop import planning
from shop.bench.booking import MOST_TRAVEL, Booking, Brought, book
from shop.bench.days import bench_of, calendar_of, loads, walk_in_share
from shop.bench.facts import bench_jobs, due_jobs_of, open_failures
from shop.bench.minutes import minutes_of
from shop.bench.yard_mornings import travel_to, yard_mornings
from shop.models import DropOffLine, Placement, SeasonPlan
from shop.vocabulary import AT_SHOP, AT_YARD, EXPECTED

LONGEST_DAYS = 90
FAR_AHEAD_DAYS = 240
BEFORE_OPENING = dt.timedelta(weeks=4)
DAYS_DOWN = 3
LABOR_HOURS_OF_A_FAILURE = 1
TRIP_HOURS = 0.5
# One in so many of a crew's units stands idle on a usual day, so that it can be away at no cost.
SPARE_OF = 4
NO_INTERVAL_DAYS = 180.0


@dataclass(frozen=True)
class Candidate:
    """A unit that should come, with its jobs."""

    unit: Trimmer
    crew: Crew | None
    jobs: tuple[str, ...]
    due: planning.DueUnit


def usual_start(shop: Shop, today: dt.date) -> dt.date:
    """Tomorrow while anybody's season runs on; toward winter four weeks before the first one opens."""
    contractors = list(Contractor.objects.filter(arrangements__shop=shop).distinct())
    seasons = list(seasons_of(contractors).values())
    tomorrow = today + dt.timedelta(days=1)
    if not seasons or any(season.is_open(today + BEFORE_OPENING) for season in seasons):
        return tomorrow
    return max(min(season.next_opening(today) for season in seasons) - BEFORE_OPENING, tomorrow)


def begin_plan(
    *, shop: Shop, first: dt.date, last: dt.date, due_by: dt.date, today: dt.date, author: User,
    yard_minutes: int | None = None,
) -> SeasonPlan:  # fmt: skip
    """A plan to be worked out; ``work_out`` does the rest, beside the request.

    ``yard_minutes`` on the road: mornings at contractors' yards may be planned; none: they may not.
    """
    if first < today:
        raise Refused(_("Plan from today on."), "first_day")
    if not 0 <= (last - first).days < LONGEST_DAYS:
        raise Refused(_("Choose a last day that is not before the first, at most 90 days on."), "last_day")
    if not first <= due_by <= first + dt.timedelta(days=FAR_AHEAD_DAYS):
        raise Refused(_("Choose a day after the plan begins, within eight months of it."), "due_by")
    if yard_minutes is not None and not 0 <= yard_minutes <= MOST_TRAVEL:
        raise Refused(_("Minutes on the road go with a yard visit, up to 240."), "yard_minutes")
    return SeasonPlan.objects.create(
        shop=shop, first_day=first, last_day=last, due_by=due_by, yard_minutes=yard_minutes, made_on=today,
        made_by=author,
    )  # fmt: skip


def work_out(*, plan_id: int) -> None:
    """Gather, plan, keep. Safe to run again: a plan that is worked out stays as it is."""
    with all_tenants():
        plan = SeasonPlan.objects.select_related("shop").filter(pk=plan_id, state="running").first()
        if plan is None:
            return
        try:
            candidates, crews = _candidates(plan)
            wanted, days, terms = [c.due for c in candidates], _days(plan), _terms(plan)
            theirs = {c.unit.contractor_id: c.unit.contractor for c in candidates}
            yards = yard_mornings(plan, theirs.values(), wanted, days, terms.walk_in_share)
            answer = planning.plan_dropoffs(
                wanted, crews, days, booked=_booked(plan, crews), yards=yards, terms=terms
            )  # fmt: skip
        except Exception:
            SeasonPlan.objects.filter(pk=plan_id, state="running").update(state="failed")
            raise
        with transaction.atomic():
            # Of two workers that were handed the same plan, one keeps its answer.
            if not SeasonPlan.objects.filter(pk=plan_id, state="running").update(state="draft", result=_kept(answer)):
                return
            Placement.objects.bulk_create(_placements(plan, candidates, answer))


def send_offers(*, plan: SeasonPlan, by: By, today: dt.date, now: dt.datetime) -> tuple[int, list[str]]:
    """One offer for each crew and day of the plan; returns how many went, and why the others did not."""
    with transaction.atomic():
        if not SeasonPlan.objects.filter(pk=plan.pk, state="draft").update(state="sent", sent_at=now):
            return 0, []
    visits: dict[tuple[int, int, dt.date, str], list[Placement]] = {}
    rows = Placement.objects.at_shops([plan.shop_id]).filter(plan=plan, day__gte=today)
    for row in rows.select_related("trimmer__model", "crew", "contractor").order_by("day", "crew_id", "pk"):
        if row.day is not None:
            # One morning at the yard serves all its crews.
            crew = 0 if row.place == AT_YARD else row.crew_id or 0
            visits.setdefault((row.contractor_id, crew, row.day, row.place), []).append(row)
    sent, refused = 0, []
    travel = travel_to(plan.shop_id, {key[0] for key in visits}, plan.yard_minutes or 0)
    for (contractor, _crew, day, place), placed in visits.items():
        units = [Brought(row.trimmer, tuple(row.jobs)) for row in placed]
        first = placed[0]
        together = len({row.crew_id for row in placed}) == 1
        booking = Booking(
            plan.shop, first.contractor, day, first.crew if together else None, units, place=place, offered=True,
            plan=plan, travel_minutes=travel[contractor] if place == AT_YARD else 0,
        )  # fmt: skip
        try:
            visit = book(booking=booking, by=by, today=today, now=now)
        except Refused as refusal:
            refused.append(f"{first.crew or first.contractor}: {refusal.message}")
            continue
        sent += 1
        lines = DropOffLine.objects.known().filter(drop_off=visit).values_list("trimmer_id", "pk")
        line_of = dict(lines)
        for row in placed:
            Placement.objects.at_shops([plan.shop_id]).filter(pk=row.pk).update(line=line_of.get(row.trimmer_id))
    return sent, refused


def _candidates(plan: SeasonPlan) -> tuple[list[Candidate], list[planning.Crew]]:
    """Units with bench work due by the plan's day that are on no visit yet, and the crews they ride with."""
    today, shop = plan.made_on, plan.shop
    running = Q(arrangements__until__isnull=True) | Q(arrangements__until__gte=plan.first_day)
    contractors = list(
        Contractor.objects.filter(running, arrangements__shop=shop, arrangements__from_date__lte=plan.first_day)
        .distinct()
        .order_by("name", "pk")
    )
    units = {
        unit.pk: unit
        for unit in Trimmer.objects.filter(contractor__in=contractors, retired_on__isnull=True).select_related(
            "contractor", "state__crew"
        )
    }
    away = set(DropOffLine.objects.filter(trimmer__in=units, standing=True).values_list("trimmer_id", flat=True))
    due, faults, minutes = due_jobs_of(contractors, units, today, plan.due_by), open_failures(units), minutes_of(shop)
    found: list[Candidate] = []
    riding = dict.fromkeys((_crew_key(unit) for unit in units.values()), 0)
    for pk, unit in units.items():
        riding[_crew_key(unit)] += 1
        mine = [job for job in due.get(pk, []) if place_of(job) == BENCH]
        jobs = bench_jobs(mine, faults.get(pk, []), yard=False)
        if pk in away or not jobs:
            continue
        wanted = _due_unit(unit, mine, minutes.of_unit(jobs), plan, faults=bool(faults.get(pk)))
        found.append(Candidate(unit, unit.state.crew if hasattr(unit, "state") else None, jobs, wanted))
    by_key = {_crew_key(unit): unit.contractor for unit in units.values()}
    return found, [_crew(key, by_key[key], n) for key, n in riding.items()]


def _crew_key(unit: Trimmer) -> str:
    crew = unit.state.crew_id if hasattr(unit, "state") else None
    return f"{unit.contractor_id}:{crew or ''}"


def _crew(key: str, contractor: Contractor, units: int) -> planning.Crew:
    days = frozenset(n for n, worked in enumerate(contractor.working_days) if worked == "1")
    return planning.Crew(
        key=key,
        contractor=str(contractor.pk),
        away_limit=max(1, (units + 1) // 2),
        spares=max(1, units // SPARE_OF) + int(contractor.spare_on_trailer),
        away_per_day=float(contractor.downtime_per_day),
        trip=float(contractor.labour_rate) * TRIP_HOURS,
        working_days=days or frozenset(range(5)),
    )


def _due_unit(
    unit: Trimmer, jobs: Sequence[Job], minutes: int, plan: SeasonPlan, *, faults: bool
) -> planning.DueUnit:  # fmt: skip
    """The earliest of its jobs sets the day; a unit on hold, or with a fault alone, is due at once.

    What is on hold or broken needs the bench; the rest can be done in the yard.
    """
    contractor, first = unit.contractor, plan.made_on
    held = not jobs or any(job.state == HOLD for job in jobs)
    days = [(job.due_on or first, job.due_on_early or first, job.due_on_late or first) for job in jobs]
    due, early, late = min(days, default=(first, first, first))
    if held:
        due = early = late = first
    interval = min((_interval_days(job) for job in jobs), default=NO_INTERVAL_DAYS)
    failure = DAYS_DOWN * float(contractor.downtime_per_day) + LABOR_HOURS_OF_A_FAILURE * float(contractor.labour_rate)
    risk = float(contractor.risk_limit) * failure / interval
    return planning.DueUnit(
        key=str(unit.pk),
        crew=_crew_key(unit),
        minutes=minutes,
        due_early=min(early, due),
        due=due,
        due_late=max(late, due),
        late_per_day=float(contractor.downtime_per_day) if held else risk,
        early_per_day=0.0 if held else minutes / 60 * float(contractor.labour_rate) / interval,
        yard=not held and not faults,
    )


def _interval_days(job: Job) -> float:
    spans = []
    if job.flag.interval_hours and job.unit.day_rate > 0:
        spans.append(7 / max(job.days_per_week, 1) * job.flag.interval_hours / job.unit.day_rate)
    if job.flag.interval_months:
        spans.append(30.4 * job.flag.interval_months)
    return max(min(spans, default=NO_INTERVAL_DAYS), 7.0)


def _days(plan: SeasonPlan) -> list[planning.BenchDay]:
    by_day = loads(plan.shop, plan.first_day, plan.last_day, plan.made_on)
    visits = _visits(plan)
    agreed = {day: sum(v.minutes for v in visits if v.on == day) for day in by_day}
    return [
        planning.BenchDay(
            load.day,
            load.open_minutes,
            max(load.promised - agreed[load.day], 0) + max(load.walk_in - load.held, 0),
            not load.is_open,
        )
        for load in by_day.values()
    ]


def _visits(plan: SeasonPlan) -> list[planning.Booked]:
    """Visits booked or offered that stand, by crew and day."""
    lines = DropOffLine.objects.at_shops([plan.shop_id]).filter(
        state__in=EXPECTED, drop_off__day__gte=plan.first_day, drop_off__day__lte=plan.last_day
    )
    lapsed = Q(drop_off__state="offered", drop_off__offer_until__lt=plan.made_on)
    found: dict[tuple[str, dt.date], tuple[int, int]] = {}
    names = ("contractor_id", "drop_off__crew_id", "drop_off__day", "minutes", "trimmer_id")
    for contractor, crew, day, minutes, unit in lines.exclude(lapsed).values_list(*names):
        units, total = found.get((f"{contractor}:{crew or ''}", day), (0, 0))
        found[f"{contractor}:{crew or ''}", day] = (units + (unit is not None), total + minutes)
    return [planning.Booked(crew, day, units, minutes) for (crew, day), (units, minutes) in found.items()]


def _booked(plan: SeasonPlan, crews: Iterable[planning.Crew]) -> list[planning.Booked]:
    known = {crew.key for crew in crews}
    missing = [v for v in _visits(plan) if v.crew not in known]
    # A visit of the whole yard, or of a crew without units now, keeps its minutes under any crew of that contractor.
    stand_in = {crew.key.partition(":")[0]: crew.key for crew in crews}
    moved = [
        planning.Booked(stand_in[v.crew.partition(":")[0]], v.on, 0, v.minutes)
        for v in missing
        if v.crew.partition(":")[0] in stand_in
    ]
    return [v for v in _visits(plan) if v.crew in known] + moved


def _terms(plan: SeasonPlan) -> planning.PlanTerms:
    share = walk_in_share(bench_of(plan.shop), calendar_of(plan.shop), plan.made_on)
    return planning.PlanTerms(walk_in_share=share.value)


def _kept(answer: planning.BenchPlan) -> dict[str, object]:
    """The answer as it is kept: numbers only; placements are rows of their own."""
    return {
        "days": [
            [load.on.isoformat(), round(load.available), round(load.agreed), round(load.when_due), round(load.planned)]
            for load in answer.loads
        ],
        "gap": _finite(answer.gap),
        "bound": _finite(answer.bound),
        "cost": answer.costs.total,
        "parts": {
            "waiting": answer.costs.waiting, "early": answer.costs.early, "trips": answer.costs.trips,
            "away": answer.costs.away, "left_over": answer.costs.left_over,
        },
        "ended": answer.ended,
        "trips": answer.trips,
        "seconds": answer.seconds,
    }  # fmt: skip


def _finite(value: float) -> float | None:
    """A number as it can be kept; none where there is no bound to speak of."""
    return value if math.isfinite(value) else None


def _placements(plan: SeasonPlan, candidates: Sequence[Candidate], answer: planning.BenchPlan) -> list[Placement]:
    placed = {p.unit: p for p in answer.placed}
    unplaced = {u.unit: u for u in answer.unplaced}
    rows = []
    for c in candidates:
        there, nowhere = placed.get(c.due.key), unplaced.get(c.due.key)
        why = [nowhere.reason, dict(nowhere.values)] if nowhere is not None else []
        in_yard = there is not None and there.place == "yard"
        rows.append(
            Placement(
                contractor_id=c.unit.contractor_id, shop_id=plan.shop_id, plan=plan, trimmer=c.unit, crew=c.crew,
                day=there.on if there is not None else None, place=AT_YARD if in_yard else AT_SHOP,
                minutes=round(c.due.minutes), due_on=c.due.due, jobs=list(c.jobs), why=why,
            )
        )  # fmt: skip
    return rows
