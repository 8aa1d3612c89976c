"""The bench's days: technicians' weeks, closed days, the share held for walk-ins, minutes of jobs."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.clock import now_at
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.models import Shop
from fleet.record.writing import Refused
from fleet.views.asking import show
from fleet.vocabulary import COMPONENTS, TASKS
from shop.bench.calendar_keeping import add_closed_days, change_bench, open_again, save_technician
from shop.bench.days import bench_of, calendar_of, loads, walk_in_share
from shop.bench.minutes import START_JOBS, learn_minutes, minutes_of, set_own_minutes
from shop.bench.words import day_words, job_words
from shop.forms.calendar import BenchForm, ClosedForm, MinutesForm, TechnicianForm
from shop.models import ClosedDays, StandardMinutes, Technician
from shop.views.asking import shop_asked
from shop.vocabulary import ALL_JOBS, OTHER_MINUTES, repair_job, task_job

WEEKS_SHOWN = 3


@allowed("set_bench")
def bench_calendar(request: HttpRequest) -> HttpResponse:
    """All of it on one page: this week's and the next weeks' minutes, who works, when it is closed."""
    shop = shop_asked(request, "set_bench")
    today = now_at(shop).date()
    bench, calendar = bench_of(shop), calendar_of(shop)
    form = BenchForm(posted(request), bench=bench)
    if request.method == "POST" and form.is_valid():
        try:
            change_bench(shop=shop, values=form.cleaned_data)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Saved."))
            return redirect("bench_calendar")
    monday = today - dt.timedelta(days=today.weekday())
    by_day = loads(shop, today, monday + dt.timedelta(days=7 * WEEKS_SHOWN - 1), today)
    ahead = [load for load in by_day.values() if load.is_open or load.promised or load.why_closed]
    context = {
        "shop": shop,
        "form": form,
        "technicians": [(t, sum(t.weekday_minutes)) for t in calendar.technicians],
        "closed": calendar.closed,
        "days": [(day_words(load.day), load) for load in ahead],
        "share": walk_in_share(bench, calendar, today),
        "weekly": sum(sum(t.weekday_minutes) for t in calendar.technicians if t.until is None or t.until >= today),
        "taken": sum(load.taken for load in ahead),
        "open_minutes": sum(load.open_minutes for load in ahead),
        "over": [day_words(load.day) for load in ahead if load.left < 0],
    }
    return show(request, "shop/bench_calendar.html", context, status=422 if form.errors else 200)


@allowed("set_bench")
def technician_add(request: HttpRequest) -> HttpResponse:
    """Somebody new at the bench."""
    return _technician(request, shop_asked(request, "set_bench"), None)


@allowed("set_bench")
def technician_change(request: HttpRequest, technician: int) -> HttpResponse:
    """A technician's week, or last day."""
    access = request.access  # type: ignore[attr-defined]
    row = Technician.objects.filter(pk=technician, shop__in=access.shop_ids).select_related("shop").first()
    if row is None:
        raise Http404
    return _technician(request, row.shop, row)


def _technician(request: HttpRequest, shop: Shop, row: Technician | None) -> HttpResponse:
    form = TechnicianForm(posted(request), technician=row)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            save_technician(
                shop=shop, name=data["name"], minutes=form.minutes(), until=data["until"], technician=row
            )  # fmt: skip
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Saved."))
            return redirect("bench_calendar")
    heading = row.name if row is not None else _("Add a technician")
    context = {"form": form, "heading": heading}
    return show(request, "shop/technician.html", context, status=422 if form.errors else 200)


@allowed("set_bench")
def closed_add(request: HttpRequest) -> HttpResponse:
    """Close the bench, or one technician's place, for some days."""
    shop = shop_asked(request, "set_bench")
    form = ClosedForm(posted(request), technicians=Technician.objects.filter(shop=shop).order_by("name"))
    if request.method == "POST" and form.is_valid():
        try:
            row = add_closed_days(shop=shop, **form.cleaned_data)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            _say_booked(request, shop, row)
            return redirect("bench_calendar")
    context = {"form": form, "heading": _("Close days")}
    return show(request, "shop/closed.html", context, status=422 if form.errors else 200)


def _say_booked(request: HttpRequest, shop: Shop, row: ClosedDays) -> None:
    """Visits already booked on days that now lack minutes are not moved by themselves: say which days."""
    today = now_at(shop).date()
    first, last = max(row.first, today), min(row.last, today + dt.timedelta(days=366))
    short = [load for load in loads(shop, first, last, today).values() if load.left < 0] if first <= last else []
    messages.success(request, _("Saved."))
    if short:
        days = ", ".join(day_words(load.day) for load in short[:5])
        messages.warning(request, _("More is booked than these days have now: %(days)s. Move visits.") % {"days": days})


@allowed("set_bench")
@require_POST
def closed_remove(request: HttpRequest, closed: int) -> HttpResponse:
    """Open again."""
    access = request.access  # type: ignore[attr-defined]
    row = ClosedDays.objects.filter(pk=closed, shop__in=access.shop_ids).first()
    if row is None:
        raise Http404
    open_again(closed=row)
    messages.success(request, _("Open again."))
    return redirect("bench_calendar")


@allowed("set_bench")
def job_minutes(request: HttpRequest) -> HttpResponse:
    """Standard minutes: where each figure starts, and what the shop's finished jobs say."""
    shop = shop_asked(request, "set_bench")
    own = dict(StandardMinutes.objects.filter(shop=shop).values_list("job", "own_minutes"))
    form = MinutesForm(posted(request), jobs=ALL_JOBS, own=own)
    if request.method == "POST" and "learn" in request.POST:
        found = learn_minutes(shop=shop, today=now_at(shop).date())
        messages.success(request, _("Worked out anew from %(n)d finished jobs.") % {"n": found})
        return redirect("job_minutes")
    if request.method == "POST" and form.is_valid():
        changed = form.changed(own)
        for job, figure in changed.items():
            set_own_minutes(shop=shop, job=job, minutes=figure)
        messages.success(request, _("Saved.") if changed else _("Nothing to change: it was like this already."))
        return redirect("job_minutes")
    minutes = minutes_of(shop)
    groups: list[tuple[Any, list[str]]] = [
        (_("Every visit"), list(OTHER_MINUTES)),
        (_("Tasks"), [task_job(task) for task in TASKS]),
        (_("Repairs"), [repair_job(part, done) for part in COMPONENTS for done in ("repaired", "replaced")]),
    ]
    rows = [
        (name, [{"words": job_words(job), "about": minutes.about(job), "field": form[job]} for job in jobs])
        for name, jobs in groups
    ]
    context = {
        "form": form,
        "groups": rows,
        "jobs": sum(minutes.about(job).jobs for _name, jobs in groups for job in jobs),
        "start_jobs": START_JOBS,
    }
    return show(request, "shop/job_minutes.html", context, status=422 if form.errors else 200)
