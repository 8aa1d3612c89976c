"""Check-in: by tag or from the list, booked or walked in."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import allowed
from fleet.cautions import caution_for_finding
from fleet.clock import now_at, today_at
from fleet.forms.refusals import add_refusal
from fleet.models import Contractor, Crew, Shop, Trimmer, UnitState
from fleet.record.faults import FAULTS
from fleet.record.words import name_key
from fleet.record.writing import Refused
from fleet.upkeep.job_words import state_words
from fleet.upkeep.lines import seasons_of
from fleet.upkeep.ready import carry_through_default
from fleet.views.asking import go, show
from fleet.views.jobs import say_holds
from shop import access as bench_access
from shop.bench.arriving import Told, link_open_faults
from shop.bench.arriving import check_in as take_in
from shop.bench.arriving import walk_in as take_walk_in
from shop.bench.days import bench_of
from shop.bench.facts import UnitFacts, bench_jobs, unit_facts
from shop.bench.reading import bench_lines
from shop.bench.words import day_words, job_words
from shop.forms.check_in import CheckInForm, WalkInForm
from shop.models import DropOffLine, LineJob
from shop.views.asking import by_shop, shop_asked
from shop.views.stopped import signs_of, stopped
from shop.vocabulary import EXPECTED, IN_SHOP, NO_SHOW, STANDING, SYMPTOMS, fault_job, task_job

MOST_FOUND = 20


@allowed("work_bench")
def check_in(request: HttpRequest) -> HttpResponse:
    """Type or scan a tag, or pick from what is expected."""
    shop = shop_asked(request, "work_bench")
    today = now_at(shop).date()
    query = request.GET.get("tag", "").strip()[:40]
    found = _search(request, query) if query else []
    expected = bench_lines(shop, states=EXPECTED | {NO_SHOW})
    units = [*(row.line.trimmer for row in expected), *(one["unit"] for one in found)]
    signs = signs_of(request.access, units, today)  # type: ignore[attr-defined]
    near = [row for row in expected if row.line.drop_off.day <= today]
    later = [row for row in expected if row.line.drop_off.day > today][:MOST_FOUND]
    context = {
        "shop": shop,
        "query": query,
        "found": [one | {"sign": signs.get(one["unit"].pk, "")} for one in found],
        "near": [_expected(row.line, today, signs) for row in near],
        "later": [_expected(row.line, today, signs) for row in later],
    }
    return show(request, "shop/check_in.html", context)


@allowed("work_bench")
def unit_check_in(request: HttpRequest, pk: int) -> HttpResponse:
    """From a unit: to its booked line, its bench sheet, or as a walk-in."""
    access = request.access  # type: ignore[attr-defined]
    unit = access.unit(pk, "work_bench")
    line = bench_access.lines_of(access).filter(trimmer=unit, standing=True, shop__in=access.shop_ids).first()
    if line is None:
        return redirect("walk_in_unit", pk=pk)
    return redirect("bench_line" if line.state in IN_SHOP else "line_check_in", pk=line.pk)


@allowed("work_bench")
def line_check_in(request: HttpRequest, pk: int) -> HttpResponse:
    """A booked line comes over the counter."""
    line = bench_access.line(request.access, pk, "work_bench")  # type: ignore[attr-defined]
    if line.state not in STANDING:
        raise Http404
    shop, unit = line.shop, line.trimmer
    now = now_at(shop)
    facts = _facts(request, unit, now.date())
    there = set(LineJob.objects.known().filter(line=line).values_list("job", flat=True))
    more, chosen = _more_jobs(facts, there)
    posted = request.POST if request.method == "POST" else None
    form = CheckInForm(
        posted, of_unit=facts is not None, more=more, chosen=chosen, charge=bench_of(shop).diagnosis_charge
    )
    if posted is not None and form.is_valid():
        by = by_shop(request, form.cleaned_data["client_entry_id"])
        try:
            take_in(line=line, told=form.told(), by=by, today=now.date(), now=now)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            link_open_faults([line])
            return _taken(request, line, form.told())
    context = _page(request, line.name, unit, facts, form, shop) | {"line": line}
    return show(request, "shop/line_check_in.html", context, status=422 if form.errors else 200)


@allowed("work_bench")
def walk_in_unit(request: HttpRequest, pk: int) -> HttpResponse:
    """A unit nobody booked."""
    access = request.access  # type: ignore[attr-defined]
    unit: Trimmer = access.unit(pk, "work_bench")
    shop = _shop_for(request, unit.contractor)
    line = DropOffLine.objects.known().filter(trimmer=unit, standing=True).first()
    if line is not None:
        if line.shop_id not in access.shop_ids:
            messages.info(request, _("%(unit)s is booked at another shop.") % {"unit": unit.tag})
            return redirect("check_in")
        return redirect("bench_line" if line.state in IN_SHOP else "line_check_in", pk=line.pk)
    now = now_at(shop)
    facts = _facts(request, unit, now.date())
    more, chosen = _more_jobs(facts, set())
    posted = request.POST if request.method == "POST" else None
    form = CheckInForm(posted, of_unit=True, more=more, chosen=chosen, charge=bench_of(shop).diagnosis_charge)
    if posted is not None and form.is_valid():
        state = UnitState.objects.filter(pk=unit.pk).select_related("crew").first()
        made = _walk(request, form, shop, unit.contractor, state.crew if state else None, unit, now)
        if made is not None:
            return made
    context = _page(request, unit.tag, unit, facts, form, shop) | {"walk_in": True}
    return show(request, "shop/line_check_in.html", context, status=422 if form.errors else 200)


@allowed("work_bench")
def walk_in_kit(request: HttpRequest) -> HttpResponse:
    """Other kit nobody booked: a blower, a hedge trimmer."""
    shop = shop_asked(request, "work_bench")
    now = now_at(shop)
    contractors = request.access.contractors()  # type: ignore[attr-defined]
    posted = request.POST if request.method == "POST" else None
    form = WalkInForm(posted, contractors=contractors, charge=bench_of(shop).diagnosis_charge)
    if posted is not None and form.is_valid():
        data = form.cleaned_data
        made = _walk(request, form, shop, data["contractor"], data["crew"], None, now, kit=data["kit"])
        if made is not None:
            return made
    context = _page(request, _("Other kit"), None, None, form, shop) | {"walk_in": True}
    return show(request, "shop/line_check_in.html", context, status=422 if form.errors else 200)


def _walk(
    request: HttpRequest, form: CheckInForm, shop: Shop, contractor: Contractor, crew: Crew | None,
    unit: Trimmer | None, now: dt.datetime, kit: str = "",
) -> HttpResponse | None:  # fmt: skip
    told = form.told()
    by = by_shop(request, form.cleaned_data["client_entry_id"])
    try:
        line = take_walk_in(
            shop=shop, contractor=contractor, crew=crew, unit=unit, kit=kit, told=told, jobs=(), by=by,
            today=now.date(), now=now,
        )  # fmt: skip
    except Refused as refusal:
        add_refusal(form, refusal)
        return None
    link_open_faults([line])
    return _taken(request, line, told)


def _taken(request: HttpRequest, line: DropOffLine, told: Told) -> HttpResponse:
    """Say what follows: what rests from now on, and the caution that goes with it."""
    messages.success(request, _("%(name)s is checked in.") % {"name": line.name})
    if line.trimmer is not None:
        say_holds(request, [line.trimmer])
        symptom = SYMPTOMS.get(told.symptom)
        found = [*told.safety, *([symptom.safety] if symptom is not None and symptom.safety else [])]
        for key in dict.fromkeys(found):
            caution = caution_for_finding(FAULTS[key].caution)
            if caution is not None:
                messages.warning(request, " ".join([str(caution.text), *(str(point) for point in caution.points)]))
        if symptom is not None and symptom.holds and not symptom.safety:
            messages.warning(request, _("Do not run it before the cause is found: %(what)s.") % {"what": symptom.label})
    return go(request, reverse("bench_line", args=[line.pk]))


def _shop_for(request: HttpRequest, contractor: Contractor) -> Shop:
    access = request.access  # type: ignore[attr-defined]
    shops = [s for s in bench_access.shops_for(contractor, access, today_at(contractor)) if s.pk in access.shop_ids]
    if not shops:
        raise Http404
    return shops[0]


def _facts(request: HttpRequest, unit: Trimmer | None, today: dt.date) -> UnitFacts | None:
    """What is known of the unit; nothing once the arrangement with its contractor has ended."""
    if unit is None or not request.access.can("work_bench", unit.contractor_id):  # type: ignore[attr-defined]
        return None
    season = seasons_of([unit.contractor])[unit.contractor_id]
    return unit_facts(unit, today, carry_through_default(season, today))


def _more_jobs(facts: UnitFacts | None, there: set[str]) -> tuple[list[tuple[str, str]], list[str]]:
    """Due jobs that are not on the line yet; those of the bench are ticked to begin with."""
    if facts is None:
        return [], []
    usual = bench_jobs(facts.due, facts.open_faults, yard=False)
    faults = [fault_job(f.component) for f in facts.open_faults]
    keys = dict.fromkeys([*faults, *(task_job(job.task) for job in facts.due)])
    due = {task_job(job.task): state_words(job) for job in facts.due}
    more = [(key, f"{job_words(key)} · {due.get(key, _('reported'))}") for key in keys if key not in there]
    return more, [key for key, _words in more if key in usual]


def _page(
    request: HttpRequest, name: str, unit: Trimmer | None, facts: UnitFacts | None, form: CheckInForm, shop: Shop
) -> dict[str, Any]:
    today = now_at(shop).date()
    return {
        "name": name,
        "unit": unit,
        "facts": facts,
        "form": form,
        "today": today,
        "shop": shop,
        **stopped(request.access, unit, today),  # type: ignore[attr-defined]
    }


def _search(request: HttpRequest, query: str) -> list[dict[str, Any]]:
    """Units in sight whose tag or serial begins like this, with where each stands."""
    access = request.access  # type: ignore[attr-defined]
    rows = Trimmer.objects.filter(contractor__in=access.contractor_ids, retired_on__isnull=True)
    wanted = Q(tag_key__startswith=name_key(query)) | Q(serial__iexact=query)
    units = list(rows.filter(wanted).select_related("model", "contractor").order_by("tag_key", "pk")[:MOST_FOUND])
    lines = bench_access.lines_of(access).filter(trimmer__in=units, standing=True).select_related("drop_off")
    by_unit = {line.trimmer_id: line for line in lines}
    found = []
    for unit in units:
        line = by_unit.get(unit.pk)
        words = _("not booked")
        if line is not None:
            words = _("in the shop") if line.state in IN_SHOP else day_words(line.drop_off.day)
        found.append({"unit": unit, "url": reverse("unit_check_in", args=[unit.pk]), "words": words})
    return found


def _expected(line: DropOffLine, today: dt.date, signs: dict[int, str]) -> dict[str, Any]:
    return {
        "pk": line.pk,
        "name": line.name,
        "sign": signs.get(line.trimmer_id or 0, ""),
        "model": str(line.trimmer.model) if line.trimmer else _("other kit"),
        "who": f"{line.drop_off.contractor}, {line.drop_off.crew}"
        if line.drop_off.crew
        else str(line.drop_off.contractor),
        "day": day_words(line.drop_off.day),
        "late": line.drop_off.day < today,
        "url": reverse("line_check_in", args=[line.pk]),
    }
