"""Drop-offs: what is booked and offered, one visit, and its steps before it arrives."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.clock import now_at, today_at
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.views.asking import go, show, whole_number
from shop import access as bench_access
from shop.bench.booking import accept, cancel, cancel_line, move
from shop.bench.reading import LineRow, VisitRow, names_of, units_away, visit_rows
from shop.bench.words import day_words, job_words
from shop.forms.booking import MoveForm
from shop.models import DropOff, VisitEvent
from shop.views.asking import by_for
from shop.views.day_choices import day_choices
from shop.views.estimate_marks import estimates_of_visit
from shop.views.stopped import signs_of
from shop.views.visit_papers import papers_of, slip_of_line
from shop.vocabulary import (
    AT_YARD,
    CANCELLED,
    EXPECTED,
    IN_SHOP,
    INTAKE,
    NO_SHOW,
    OFFERED,
    OVER,
    STANDING,
    VISIT_PLACES,
    VISIT_STATES,
)

PAST_SHOWN = 20
MOST_SHOWN = 200

_WHAT = {
    "moved": gettext_lazy("moved"),
    "said": gettext_lazy("told at the counter"),
    "job": gettext_lazy("job added"),
    "left_out": gettext_lazy("job left out"),
    "not_broken": gettext_lazy("nothing broken"),
    "checked": gettext_lazy("cause found"),
    "sheet": gettext_lazy("bench sheet recorded"),
    "quick_look": gettext_lazy("quick look"),
    "estimate": gettext_lazy("estimate"),
}


@allowed("see_drop_offs")
def drop_offs(request: HttpRequest) -> HttpResponse:
    """Offers to answer, visits to come, units in the shop, and the latest that are over."""
    access = request.access  # type: ignore[attr-defined]
    seen = bench_access.drop_offs_of(access)
    now_rows = visit_rows(seen.filter(state__in=STANDING).order_by("day", "pk")[:MOST_SHOWN])
    past = visit_rows(seen.filter(state__in=OVER).order_by("-day", "-pk")[:PAST_SHOWN])
    shown = [_visit(row, access) for row in now_rows]
    today = access.today
    offered = [v for v in shown if v["state_key"] == OFFERED]
    booked = [v for v in shown if v["state_key"] in (EXPECTED - {OFFERED}) | {NO_SHOW}]
    context = {
        "offered": offered,
        "booked": booked,
        "in_shop": [v for v in shown if v["state_key"] in IN_SHOP],
        "past": [_visit(row, access) for row in past],
        "next": next((v for v in booked if v["day_date"] >= today), None),
        "may_book": access.can("book_drop_off"),
    }
    return show(request, "shop/drop_offs.html", context)


@allowed("see_drop_offs")
def drop_off(request: HttpRequest, pk: int) -> HttpResponse:
    """One visit: its lines, its steps, and what can be done about it."""
    access = request.access  # type: ignore[attr-defined]
    visit = bench_access.drop_off(access, pk)
    (row,) = visit_rows(DropOff.objects.known().filter(pk=pk))
    works = bench_access.may(access, "work_bench", visit)
    books = bench_access.may(access, "book_drop_off", visit)
    told = estimates_of_visit(visit) if access.can("answer_estimate", visit.contractor_id) else {}
    signs = signs_of(access, [one.line.trimmer for one in row.lines], access.today, action="see_fleet")
    events = VisitEvent.objects.known().filter(drop_off=visit).select_related("author", "line__trimmer")
    context = {
        "visit": visit,
        "shown": _visit(row, access),
        "lines": [
            _line(one, works, books, visit)
            | {"estimates": told.get(one.line.pk, []), "sign": signs.get(one.line.trimmer_id or 0, "")}
            for one in row.lines
        ],
        "minutes": row.minutes,
        "events": [
            {"at": e.at, "who": e.author, "words": _event_words(e), "note": e.note}
            for e in events.order_by("-at", "-pk")[:100]
        ],
        "can_move": books and visit.state in EXPECTED | {NO_SHOW},
        "can_cancel": books and visit.state in EXPECTED | {NO_SHOW},
        "can_accept": books and visit.state == OFFERED and visit.contractor_id in bench_access.own_contractors(access),
        "works": works,
        "papers": papers_of(access, row),
    }
    return show(request, "shop/drop_off.html", context)


@allowed("book_drop_off")
def drop_off_move(request: HttpRequest, pk: int) -> HttpResponse:
    """Choose another day among those with room."""
    access = request.access  # type: ignore[attr-defined]
    visit = bench_access.drop_off(access, pk, "book_drop_off")
    if visit.state not in EXPECTED | {NO_SHOW}:
        raise Http404
    now = now_at(visit.shop)
    posted = request.POST if request.method == "POST" else None
    form = MoveForm(posted, initial={"version": visit.version})
    if posted is not None and form.is_valid():
        by, chosen = by_for(request, visit), form.cleaned_data
        try:
            moved = move(visit=visit, day=chosen["day"], version=chosen["version"], by=by, today=now.date(), now=now)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Moved to %(day)s.") % {"day": day_words(moved.day)})
            return go(request, reverse("drop_off", args=[pk]))
    (row,) = visit_rows(DropOff.objects.known().filter(pk=pk))
    # A morning in their own yard takes no unit away.
    units = 0 if visit.place == AT_YARD else sum(one.line.trimmer_id is not None for one in row.coming)
    away = units_away(visit.contractor_id, visit.crew_id, without=pk)
    choices, passed = day_choices(visit.shop, row.minutes, units, away, now.date(), without=(pk,), instead_of=visit.day)
    context = {
        "visit": visit,
        "shown": _visit(row, access),
        "form": form,
        "choices": choices,
        "passed_over": passed,
        "needed": row.minutes,
        "units": away.units,
        "chosen": form["day"].value() or "",
    }
    return show(request, "shop/drop_off_move.html", context, status=422 if form.errors else 200)


def _press(request: HttpRequest, pk: int, write: Callable[[DropOff], Any], done: str) -> HttpResponse:
    """A button on a visit: do it, or say why not."""
    visit = bench_access.drop_off(request.access, pk, "book_drop_off")  # type: ignore[attr-defined]
    try:
        write(visit)
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, done)
    return go(request, reverse("drop_off", args=[pk]))


def _version(request: HttpRequest) -> int:
    found = whole_number(request.POST.get("version"))
    return -1 if found is None else found


@allowed("book_drop_off")
@require_POST
def drop_off_accept(request: HttpRequest, pk: int) -> HttpResponse:
    """The crew takes an offer."""

    def write(visit: DropOff) -> None:
        access = request.access  # type: ignore[attr-defined]
        if visit.contractor_id not in bench_access.own_contractors(access):
            raise Http404
        now = now_at(visit.shop)
        accept(visit=visit, by=by_for(request, visit), today=now.date(), now=now, version=_version(request))

    return _press(request, pk, write, _("Taken: the day is yours."))


@allowed("book_drop_off")
@require_POST
def drop_off_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Call a visit off, or say no to an offer."""

    def write(visit: DropOff) -> None:
        why = request.POST.get("why", "")[:200]
        cancel(visit=visit, by=by_for(request, visit), now=now_at(visit.shop), version=_version(request), why=why)

    return _press(request, pk, write, _("Called off. What was due is still due."))


@allowed("book_drop_off")
@require_POST
def line_cancel(request: HttpRequest, pk: int) -> HttpResponse:
    """Take one unit, or one piece of kit, off a visit."""
    line = bench_access.line(request.access, pk, "book_drop_off")  # type: ignore[attr-defined]
    visit = line.drop_off
    try:
        cancel_line(visit=visit, line=line, by=by_for(request, visit), now=now_at(visit.shop))
    except Refused as refusal:
        messages.error(request, refusal.message)
    else:
        messages.success(request, _("%(name)s is off this visit.") % {"name": line.name})
    return go(request, reverse("drop_off", args=[visit.pk]))


def _visit(row: VisitRow, access: Any) -> dict[str, Any]:
    visit = row.visit
    at_shop = visit.shop_id in access.shop_ids
    return {
        "pk": visit.pk,
        "url": reverse("drop_off", args=[visit.pk]),
        "day": day_words(visit.day),
        "day_date": visit.day,
        "who": f"{visit.contractor}, {visit.crew}" if visit.crew else str(visit.contractor),
        "where": VISIT_PLACES[AT_YARD] if visit.place == AT_YARD else str(visit.shop),
        "what": names_of(row),
        "minutes": row.minutes,
        "state": VISIT_STATES[visit.state],
        "state_key": visit.state,
        "until": day_words(visit.offer_until) if visit.offer_until else "",
        "lapsed": visit.offer_until is not None and visit.offer_until < today_at(visit.shop),
        "version": visit.version,
        "walk_in": visit.walk_in,
        "show_who": at_shop or len(access.crew_ids) != 1 or visit.crew_id not in access.crew_ids,
    }


def _line(row: LineRow, works: bool, books: bool, visit: DropOff) -> dict[str, Any]:
    line = row.line
    expected = line.state in EXPECTED | {NO_SHOW}
    return {
        "pk": line.pk,
        "name": line.name,
        "model": str(line.trimmer.model) if line.trimmer else _("other kit"),
        "jobs": ", ".join(
            job_words(job.job) for job in row.jobs if job.job not in (INTAKE, "kit") and not job.left_out
        ),
        "minutes": line.minutes,
        "state": VISIT_STATES[line.state],
        "waiting_for": line.waiting_for,
        "promised": day_words(line.promised_on) if line.promised_on else "",
        "gone": line.state == CANCELLED,
        "check_in_url": reverse("line_check_in", args=[line.pk]) if works and expected else "",
        "sheet_url": reverse("bench_line", args=[line.pk])
        if works and line.state not in EXPECTED | {CANCELLED}
        else "",
        "slip_url": slip_of_line(line),
        "cancel_url": reverse("line_cancel", args=[line.pk]) if books and expected and visit.state in STANDING else "",
    }


def _event_words(event: VisitEvent) -> str:
    what = str(VISIT_STATES.get(event.what) or _WHAT.get(event.what, event.what))
    if event.line is not None:
        what = f"{event.line.name}: {what}"
    if event.what == "moved":
        return f"{what}, {event.before} → {event.after}"
    if event.what == "job":
        return f"{what}: {job_words(event.after)}"
    return what
