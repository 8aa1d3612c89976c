"""Booking: pick units from the Ready list, see the days that can take them, book."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.access import allowed
from fleet.clock import now_at
from fleet.forms.refusals import add_refusal
from fleet.models import Shop, Trimmer
from fleet.record.writing import By, Refused
from fleet.upkeep.crew_units import units_in_use
from fleet.upkeep.job_words import state_words
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.ready import Job, carry_through_default
from fleet.upkeep.stops import Stop, stops_for
from fleet.views.asking import go, show, whole_number
from fleet.views.scope import Scope, scope_of
from fleet.vocabulary import HOLD, LATER, YARD
from shop import access as bench_access
from shop.bench.booking import MOST_UNITS, Booking, Brought, book, minutes_needed
from shop.bench.facts import bench_jobs, due_jobs_of, open_failures
from shop.bench.minutes import MinutesOf, minutes_of
from shop.bench.reading import units_away
from shop.bench.words import day_words, job_words
from shop.forms.booking import DayForm, WhatForm
from shop.models import DropOffLine
from shop.views.day_choices import day_choices
from shop.vocabulary import AT_SHOP, AT_YARD

MOST_LISTED = 400


@dataclass(frozen=True)
class Offer:
    """One unit that may come, with what it would come for."""

    unit: Trimmer
    jobs: tuple[str, ...]
    worst: Job | None
    elsewhere: str
    minutes: int
    chosen: bool
    # A recall or a fault that stops it, whatever its jobs say.
    stop: Stop | None = None

    @property
    def jobs_words(self) -> str:
        if self.jobs:
            return ", ".join(job_words(job) for job in self.jobs)
        if self.worst is not None and self.worst.place == YARD:
            return _("yard jobs only: looked over")
        return _("nothing due at the bench: looked over")

    @property
    def state(self) -> str:
        if self.stop is not None:
            return HOLD
        return self.worst.state if self.worst is not None else LATER

    @property
    def state_words(self) -> str:
        if self.stop is not None:
            return self.stop.sign
        return state_words(self.worst) if self.worst is not None else _("nothing due")


@allowed("book_drop_off")
def unit_book(request: HttpRequest, pk: int) -> HttpResponse:
    """From a unit's row: booking with this unit picked."""
    unit = request.access.unit(pk, "book_drop_off")  # type: ignore[attr-defined]
    query: dict[str, Any] = {"contractor": unit.contractor_id, "crew": "all", "units": unit.pk}
    return redirect(reverse("drop_off_book") + "?" + urlencode(query))


@allowed("book_drop_off")
def drop_off_book(request: HttpRequest) -> HttpResponse:
    """Both steps on one page: what comes stands above, the days that can take it below."""
    access = request.access  # type: ignore[attr-defined]
    scope = scope_of(request)
    if scope.contractor is None and scope.contractors:
        scope = scope.narrowed()
    contractor = scope.contractor
    shops = list(bench_access.shops_for(contractor, access, scope.today)) if contractor is not None else []
    if contractor is None or not shops:
        return show(request, "shop/book_nowhere.html", {"scope": scope})
    wanted = whole_number(request.GET.get("shop"))
    shop = next((s for s in shops if s.pk == wanted), shops[0])
    now = now_at(shop)
    today = now.date()
    units = _listed(request, scope)
    what = WhatForm(request.GET or None)
    picked = what.cleaned_data if what.is_bound and what.is_valid() else {}
    ids = set(picked.get("units", ()))
    minutes = minutes_of(shop)
    offers = _offers(scope, units, ids, minutes, today, yard=bool(picked.get("yard")))
    chosen = [offer for offer in offers if offer.chosen]
    # What is sent is taken as it was asked: a unit that went on a visit meanwhile is refused by name, not left out, and
    # the same press twice is known again.
    asked = [offer for offer in offers if offer.unit.pk in ids] if request.method == "POST" else chosen
    kit = what.kit_names() if picked else ()
    at_yard = picked.get("place") == AT_YARD
    posted = request.POST if request.method == "POST" else None
    form = DayForm(posted)
    booking = Booking(
        shop=shop,
        contractor=contractor,
        day=today,
        crew=scope.crew,
        units=[Brought(offer.unit, offer.jobs) for offer in asked],
        kit=kit,
        place=AT_YARD if at_yard else AT_SHOP,
    )
    if posted is not None and form.is_valid():
        made = _try(request, form, booking, shop, today, now)
        if made is not None:
            return made
    needed = minutes_needed(replace(booking, units=[Brought(o.unit, o.jobs) for o in chosen]), minutes)
    context: dict[str, Any] = {
        "scope": scope,
        "shop": shop,
        "shops": shops,
        "offers": offers,
        "chosen": chosen,
        "kit": kit,
        "what": what,
        "form": form,
        "at_yard": at_yard,
        "by_shop": shop.pk in access.shop_ids,
        "needed": needed,
        "brought": _brought_words(len(chosen), len(kit)),
        "too_many": len(units) >= MOST_LISTED,
        "most": MOST_UNITS,
        "action": _address(request, offers),
        "nothing_picked": what.is_bound and "place" in request.GET and not chosen and not kit and not form.errors,
    }
    if chosen or kit:
        away = units_away(contractor.pk, scope.crew_id)
        choices, passed = day_choices(shop, needed, len(chosen), away, today)
        context |= {"choices": choices, "passed_over": passed, "units": away.units, "day": form["day"].value() or ""}
    return show(request, "shop/book.html", context, status=422 if form.errors else 200)


def _brought_words(units: int, kit: int) -> str:
    """How much comes: *2 units and 1 piece of other kit*."""
    some = [ngettext("%(n)d unit", "%(n)d units", units) % {"n": units}] if units else []
    if kit:
        some.append(ngettext("%(n)d piece of other kit", "%(n)d pieces of other kit", kit) % {"n": kit})
    return _("%(units)s and %(kit)s") % {"units": some[0], "kit": some[1]} if len(some) > 1 else "".join(some)


def _address(request: HttpRequest, offers: list[Offer]) -> str:
    """This page's address without units that are on a visit already."""
    gone = {str(offer.unit.pk) for offer in offers if offer.elsewhere}
    query = request.GET.copy()
    query.setlist("units", [pk for pk in query.getlist("units") if pk not in gone])
    return f"{request.path}?{query.urlencode()}"


def _try(
    request: HttpRequest, form: DayForm, booking: Booking, shop: Shop, today: dt.date, now: dt.datetime
) -> HttpResponse | None:
    access, data = request.access, form.cleaned_data  # type: ignore[attr-defined]
    at_shop = booking.contractor.pk not in bench_access.own_contractors(access)
    by = By(request.user, "screen", "shop" if at_shop else "crew", data["client_entry_id"])  # type: ignore[arg-type]
    offered = at_shop and "offer" in request.POST
    whole = Booking(
        **{**booking.__dict__, "day": data["day"], "note": data["note"], "offered": offered,
           "travel_minutes": (data["travel_minutes"] or 0) if booking.place == AT_YARD and at_shop else 0}
    )  # fmt: skip
    try:
        visit = book(booking=whole, by=by, today=today, now=now)
    except Refused as refusal:
        add_refusal(form, refusal)
        return None
    words = _("Offered: %(day)s at %(shop)s.") if offered else _("Booked: %(day)s at %(shop)s.")
    messages.success(request, words % {"day": day_words(visit.day), "shop": shop})
    return go(request, reverse("drop_off", args=[visit.pk]))


def _listed(request: HttpRequest, scope: Scope) -> list[Trimmer]:
    """The crew's units, and any named in the address that is in sight beside them."""
    units = units_in_use(scope.chosen, scope.crew_id)
    return units[:MOST_LISTED]


def _offers(
    scope: Scope, units: list[Trimmer], ids: set[int], minutes: MinutesOf, today: dt.date, *, yard: bool
) -> list[Offer]:
    """Units with what they would come for, worst first; those on their way elsewhere cannot be picked."""
    seasons = seasons_of(scope.chosen)
    before = carry_through_default(seasons[scope.chosen[0].pk], today)
    unit_ids = [unit.pk for unit in units]
    due = due_jobs_of(scope.chosen, unit_ids, today, before)
    faults = open_failures(unit_ids)
    lines = DropOffLine.objects.known().filter(trimmer__in=unit_ids, standing=True)
    elsewhere = {pk: day_words(day) for pk, day in lines.values_list("trimmer_id", "drop_off__day")}
    stops = stops_for(((unit.pk, unit.model_id) for unit in units), today)
    offers = []
    for unit in units:
        jobs = bench_jobs(due.get(unit.pk, []), faults.get(unit.pk, []), yard=yard)
        worst = next(iter(due.get(unit.pk, [])), None)
        there = elsewhere.get(unit.pk, "")
        stop = next(iter(stops.get(unit.pk, [])), None)
        chosen = unit.pk in ids and not there
        offers.append(Offer(unit, jobs, worst, there, minutes.of_unit(jobs), chosen, stop))
    order = {pk: n for n, pk in enumerate(due)}
    offers.sort(
        key=lambda o: (
            not o.jobs and o.stop is None,
            bool(o.elsewhere),
            o.stop is None,
            order.get(o.unit.pk, len(order)),
            o.unit.tag_key,
        )
    )
    return offers
