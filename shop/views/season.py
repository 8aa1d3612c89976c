"""The season plan: load before and after, how near the least cost, what found no place and why; sending offers."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet import background
from fleet.access import allowed
from fleet.clock import now_at
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.record.writing import Refused
from fleet.views.asking import show
from shop.bench.season import begin_plan, send_offers, usual_start, work_out
from shop.bench.words import day_words, minutes_words
from shop.bench.yard_mornings import USUAL_TRAVEL
from shop.charts.plan_rail import plan_rail
from shop.forms.season import PlanForm
from shop.models import Placement, SeasonPlan
from shop.views.asking import by_shop, shop_asked
from shop.vocabulary import AT_YARD

USUAL_DAYS = 60


@allowed("set_bench")
def season_plan(request: HttpRequest) -> HttpResponse:
    """Ask for a plan, and see the latest."""
    shop = shop_asked(request, "set_bench")
    today = now_at(shop).date()
    start = usual_start(shop, today)
    last = start + dt.timedelta(days=USUAL_DAYS - 1)
    usual = {"first_day": start, "last_day": last, "due_by": last, "yard_minutes": USUAL_TRAVEL}
    form = PlanForm(posted(request), initial=usual)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            plan = begin_plan(
                shop=shop, first=data["first_day"], last=data["last_day"], due_by=data["due_by"], today=today,
                author=request.user, yard_minutes=data["yard_minutes"],  # type: ignore[arg-type]
            )  # fmt: skip
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            background.start(work_out, task="shop.work_out_plan", plan_id=plan.pk)
            return redirect("season_plan")
    latest = SeasonPlan.objects.filter(shop=shop).select_related("made_by").order_by("-pk").first()
    context = {"shop": shop, "form": form, "plan": latest, "shown": _shown(latest) if latest is not None else None}
    return show(request, "shop/season_plan.html", context, status=422 if form.errors else 200)


@allowed("set_bench")
@require_POST
def season_plan_send(request: HttpRequest, plan: int) -> HttpResponse:
    """Offer each crew its days."""
    access = request.access  # type: ignore[attr-defined]
    row = SeasonPlan.objects.filter(pk=plan, shop__in=access.shop_ids).select_related("shop").first()
    if row is None:
        raise Http404
    now = now_at(row.shop)
    sent, refused = send_offers(plan=row, by=by_shop(request), today=now.date(), now=now)
    if sent:
        messages.success(request, _("%(n)d offers sent. Crew bosses take, move or decline them.") % {"n": sent})
    for words in refused[:10]:
        messages.warning(request, words)
    if not sent and not refused:
        messages.info(request, _("These offers were sent before, or their days are over."))
    return redirect("season_plan")


def _shown(plan: SeasonPlan) -> dict[str, Any]:
    """The plan as the page tells it."""
    if plan.state in ("running", "failed"):
        return {"days": [], "placed": [], "unplaced": [], "visits": 0}
    days = [(dt.date.fromisoformat(day), *rest) for day, *rest in plan.result["days"]]
    longest = max((max(row[1:]) for row in days), default=1)
    rows = Placement.objects.at_shops([plan.shop_id]).filter(plan=plan).select_related("trimmer", "crew", "contractor")
    placed: list[Placement] = []
    unplaced: list[dict[str, Any]] = []
    tags: dict[dt.date, dict[str, list[str]]] = {}
    yards: set[tuple[dt.date, int]] = set()
    for row in rows.order_by("day", "contractor__name", "crew__name", "trimmer__tag_key", "pk"):
        if row.day is None:
            unplaced.append({"tag": row.trimmer.tag, "who": row.crew or row.contractor, "why": why_words(row)})
        else:
            placed.append(row)
            who = str(row.crew or row.contractor)
            if row.place == AT_YARD:
                who = _("%(contractor)s, in their yard") % {"contractor": row.contractor}
                yards.add((row.day, row.contractor_id))
            tags.setdefault(row.day, {}).setdefault(who, []).append(row.trimmer.tag)
    worst_before = max(days, key=lambda d: d[3] - d[1], default=None)
    return {
        "days": [
            {
                "words": day_words(day),
                "rail": plan_rail(
                    uid=f"p{day:%Y%m%d}", available=available, before=before, after=after, longest=longest,
                    title=_("%(day)s: %(before)d min if all came when due, %(after)d with the plan, of %(most)d")
                    % {"day": day_words(day), "before": before, "after": after, "most": available},
                ),
                "before": before,
                "after": after,
                "available": available,
                "visits": [(who, ", ".join(names)) for who, names in tags.get(day, {}).items()],
            }
            for day, available, _agreed, before, after in days
            if before or after
        ],
        "placed": placed,
        "unplaced": unplaced,
        "visits": sum(len(by_crew) for by_crew in tags.values()),
        "yards": len(yards),
        "gap": "" if plan.result["gap"] is None else f"{100 * plan.result['gap']:.1f}",
        "cost": f"{plan.result['cost']:,.0f}",
        "worst": (day_words(worst_before[0]), worst_before[3], worst_before[1]) if worst_before else None,
    }  # fmt: skip


def why_words(row: Placement) -> str:
    """Why a unit found no place."""
    reason, values = (row.why[0], row.why[1]) if row.why else ("", {})
    minutes = minutes_words(row.minutes)
    most = round(values.get("most_free", 0))
    if reason == "no_open_day":
        return _("No day of the plan is open to it.")
    if reason == "longer_than_a_day":
        return _("It needs %(minutes)s; no day has more than %(most)d for planned work.") % {
            "minutes": minutes, "most": most,
        }  # fmt: skip
    if reason == "bench_full":
        return _("The bench is full: it needs %(minutes)s, no day has more than %(most)d left.") % {
            "minutes": minutes, "most": most,
        }  # fmt: skip
    if reason == "crew_away":
        return _("On every day with room, %(n)d units of its crew would be away already.") % {
            "n": round(values.get("limit", 0)),
        }  # fmt: skip
    return _("There is room, but waiting past the plan's last day costs less.")
