"""Bench week and today: one line a day, one line a visit, along the minutes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.access import MANAGER, allowed
from fleet.charts.svg import Svg
from fleet.clock import now_at
from fleet.models import Shop
from fleet.views.asking import show
from shop.bench.days import DayLoad, bench_of, calendar_of, loads, walk_in_share
from shop.bench.reading import LineRow, VisitRow, bench_lines, names_of, visit_rows, what_is_late
from shop.bench.words import day_words, job_words, minutes_words
from shop.charts.day_rail import Block, day_rail
from shop.models import DropOff
from shop.views.asking import day_asked, shop_asked
from shop.views.stopped import signs_of
from shop.vocabulary import (
    AT_YARD,
    CANCELLED,
    CHECKED_IN,
    EXPECTED,
    IN_SHOP,
    INTAKE,
    NO_SHOW,
    OFFERED,
    ON_BENCH,
    READY,
    VISIT_STATES,
    WAITING,
)


@dataclass(frozen=True)
class ShownVisit:
    """One visit on its day: who, what, how long, how far."""

    url: str
    who: str
    what: str
    minutes: str
    state: str
    state_key: str
    notes: list[str]


@dataclass(frozen=True)
class ShownDay:
    """One day with its rail and visits."""

    load: DayLoad
    heading: str
    words: str
    rail: Svg | None
    visits: list[ShownVisit]
    today: bool


@allowed("work_bench")
def bench_week(request: HttpRequest) -> HttpResponse:
    """The week asked for, a line a day."""
    shop = shop_asked(request, "work_bench")
    now = now_at(shop)
    today = now.date()
    asked = day_asked(request.GET.get("week")) or today
    monday = asked - dt.timedelta(days=asked.weekday())
    sunday = monday + dt.timedelta(days=6)
    bench, calendar = bench_of(shop), calendar_of(shop)
    by_day = loads(shop, monday, sunday, today)
    rows = visit_rows(
        DropOff.objects.at_shops([shop.pk])
        .filter(day__gte=monday, day__lte=sunday)
        .exclude(state=CANCELLED)
        .order_by("day", "walk_in", "pk")
    )
    longest = max((load.open_minutes for load in by_day.values()), default=0)
    days = [
        shown_day(load, [row for row in rows if row.visit.day == load.day], longest, today)
        for load in by_day.values()
        if load.is_open or load.promised or load.why_closed or load.day.weekday() < 5
    ]
    share = walk_in_share(bench, calendar, today)
    late = what_is_late(
        bench_lines(shop, states=IN_SHOP | EXPECTED | {NO_SHOW}), now, bench.bring_by, bench.unclaimed_days
    )
    context = {
        "shop": shop,
        "first_words": date_format(monday, _("F j")),
        # Translators: the last day of a week that lies in one month, and of one that runs into the next
        "last_words": date_format(sunday, _("j") if monday.month == sunday.month else _("F j")),
        "days": days,
        "over_end": any(day.load.taken > day.load.open_minutes for day in days),
        "nothing_set": not calendar.technicians,
        "fullest": fullest(by_day.values(), today),
        "share": share,
        "late": late,
        "late_count": len(late.not_come) + len(late.past_promise) + len(late.unclaimed),
        "earlier_url": _week_url(shop, request, monday - dt.timedelta(days=7)),
        "later_url": _week_url(shop, request, monday + dt.timedelta(days=7)),
        "may_set": MANAGER in request.access.roles,  # type: ignore[attr-defined]
    }
    return show(request, "shop/bench_week.html", context)


@allowed("work_bench")
def bench_today(request: HttpRequest) -> HttpResponse:
    """Who is still to come today, what is on the bench, what waits to be fetched, what is late."""
    shop = shop_asked(request, "work_bench")
    now = now_at(shop)
    today = now.date()
    bench = bench_of(shop)
    rows = bench_lines(shop, states=IN_SHOP | EXPECTED | {NO_SHOW})
    late = what_is_late(rows, now, bench.bring_by, bench.unclaimed_days)
    late_ids = {row.line.pk for row in (*late.not_come, *late.past_promise, *late.unclaimed)}
    signs = signs_of(request.access, [row.line.trimmer for row in rows], today)  # type: ignore[attr-defined]
    load = loads(shop, today, today, today)[today]
    visits = visit_rows(
        DropOff.objects.at_shops([shop.pk]).filter(day=today).exclude(state=CANCELLED).order_by("walk_in", "pk")
    )
    coming = [row for row in rows if row.line.state in EXPECTED and row.line.drop_off.day == today]
    groups = [
        (_("Late"), [row for row in rows if row.line.pk in late_ids and row.line.state in EXPECTED | {NO_SHOW}]),
        (_("Still to come today"), [row for row in coming if row.line.pk not in late_ids]),
        (_("Checked in"), [row for row in rows if row.line.state == CHECKED_IN]),
        (_("On the bench"), [row for row in rows if row.line.state == ON_BENCH]),
        (_("Waiting on parts"), [row for row in rows if row.line.state == WAITING]),
        (_("Ready"), [row for row in rows if row.line.state == READY]),
    ]
    context = {
        "shop": shop,
        "today": today,
        "day": shown_day(load, visits, load.open_minutes, today),
        "over_end": load.taken > load.open_minutes,
        "groups": [(name, [_line(row, today, late_ids, signs) for row in found]) for name, found in groups if found],
        "coming": len(coming),
        "in_shop": sum(row.line.state in IN_SHOP - {READY} for row in rows),
        "ready": sum(row.line.state == READY for row in rows),
        "late_count": len(late_ids),
    }
    return show(request, "shop/bench_today.html", context)


def shown_day(load: DayLoad, rows: Sequence[VisitRow], longest: int, today: dt.date) -> ShownDay:
    """One day with a block for each visit, in the order booked; walk-ins last."""
    blocks = [Block("carried", load.carried)] if load.carried else []
    visits = []
    for row in rows:
        lapsed = row.visit.state == OFFERED and row.visit.offer_until is not None and row.visit.offer_until < today
        if row.minutes and not lapsed:
            kind = "walk_in" if row.visit.walk_in else "offered" if row.visit.state == OFFERED else "booked"
            blocks.append(Block(kind, row.minutes))
        visits.append(shown_visit(row, lapsed))
    words = _day_words(load)
    rail = None
    if load.open_minutes or blocks:
        rail = day_rail(
            uid=f"d{load.day:%Y%m%d}",
            open_minutes=load.open_minutes,
            held=load.held,
            blocks=blocks,
            longest=longest,
            title=f"{day_words(load.day)}: {words}",
        )
    return ShownDay(load, date_format(load.day, _("D j")), words, rail, visits, load.day == today)


def shown_visit(row: VisitRow, lapsed: bool = False) -> ShownVisit:
    """One visit in a line."""
    visit = row.visit
    notes = [_("walk-in")] if visit.walk_in else []
    if visit.place == AT_YARD:
        notes.append(_("in their yard"))
    return ShownVisit(
        url=reverse("drop_off", args=[visit.pk]),
        who=f"{visit.crew}" if visit.crew else f"{visit.contractor}",
        what=names_of(row),
        minutes=_("%(n)d min") % {"n": row.minutes},
        state=_("offer lapsed") if lapsed else str(VISIT_STATES[visit.state]),
        state_key=visit.state,
        notes=notes,
    )


def fullest(days: Iterable[DayLoad], today: dt.date) -> tuple[str, str, bool] | None:
    """The day from today on with least left, how much that is, and whether it is over instead."""
    ahead = [load for load in days if load.day >= today and load.is_open]
    if not ahead:
        return None
    worst = min(ahead, key=lambda load: load.left)
    return date_format(worst.day, "l"), minutes_words(abs(worst.left)), worst.left < 0


def _day_words(load: DayLoad) -> str:
    if not load.open_minutes:
        return load.why_closed or _("closed")
    return _("%(promised)d of %(open)d min") % {"promised": load.taken, "open": load.open_minutes}


def _line(row: LineRow, today: dt.date, late_ids: set[int], signs: Mapping[int, str]) -> dict[str, object]:
    line = row.line
    jobs = [job_words(job.job) for job in row.jobs if job.job != INTAKE and not job.done_at and not job.left_out]
    when = ""
    if line.state in EXPECTED | {NO_SHOW}:
        when = day_words(line.drop_off.day) if line.drop_off.day != today else ""
    elif line.promised_on:
        when = _("promised for %(day)s") % {"day": day_words(line.promised_on)}
    if line.waiting_for:
        when = _("for %(what)s") % {"what": line.waiting_for} + (f"; {when}" if when else "")
    action = ""
    if line.state in EXPECTED | {NO_SHOW}:
        action = reverse("line_check_in", args=[line.pk])
    return {
        "pk": line.pk,
        "name": line.name,
        "sign": signs.get(line.trimmer_id or 0, ""),
        "model": str(line.trimmer.model) if line.trimmer else _("other kit"),
        "who": f"{line.drop_off.crew or line.drop_off.contractor}",
        "jobs": ", ".join(jobs) or (_("nothing left to do") if line.state in IN_SHOP else ""),
        # What is done takes no minutes any more.
        "minutes": line.minutes if jobs or line.state not in IN_SHOP else 0,
        "state": VISIT_STATES[line.state],
        "when": when,
        "late": line.pk in late_ids,
        "url": reverse("bench_line", args=[line.pk]),
        "check_in_url": action,
        "open_jobs": row.open_jobs,
        "count": ngettext("%(n)d job open", "%(n)d jobs open", row.open_jobs) % {"n": row.open_jobs},
    }


def _week_url(shop: Shop, request: HttpRequest, monday: dt.date) -> str:
    named = f"&shop={shop.pk}" if request.GET.get("shop") else ""
    return f"{reverse('bench_week')}?week={monday.isoformat()}{named}"
