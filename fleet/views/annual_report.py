"""Annual report: one page of answers out of the owner's pages, then their evidence, then what it does not prove."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.access import allowed
from fleet.cautions import KEEP_GUARD, STILL, Caution
from fleet.models import Contractor, Crew, ReviewBasis, UnitReview
from fleet.models import CrewCost as Stored
from fleet.templatetags.money import dollars
from fleet.upkeep.annual import Facts, Spend, season_closes, spend_of, to_dos
from fleet.upkeep.annual_words import to_do_sentence
from fleet.upkeep.crew_cost_store import WHOLE_RECORD, from_data, season_name, stored
from fleet.upkeep.days import month_day_in
from fleet.upkeep.free_repairs import FreeRepair, free_repairs
from fleet.upkeep.misuse import CrewCost, CrewCosts
from fleet.upkeep.review import LOOK_CLOSER
from fleet.upkeep.review_decisions import buying_list
from fleet.views.annual_evidence import evidence
from fleet.views.asking import show, whole_number
from fleet.views.budget import budget_kept, budget_shown
from fleet.views.buying import buying_shown, order_day
from fleet.views.crew_costs import CREWS_SHOWN, crew_costs_shown
from fleet.views.free_repairs import free_repairs_shown
from fleet.views.owner_papers import owner_paper, paper_offer
from fleet.views.owner_scope import OwnerScope, owner_scope
from fleet.views.review import advice_counts

SAFE = Caution(
    gettext_lazy("A cheap unit is kept only where it is safe; nothing here takes the place of a look at it."),
    (KEEP_GUARD, STILL),
)


@dataclass(frozen=True)
class Season:
    """The season reported on; ``running``: its work is not over on the day of the report."""

    number: int
    name: str
    opens: dt.date
    closes: dt.date
    running: bool
    latest: bool


@dataclass(frozen=True)
class Costs:
    """A period's crew costs with what pages show of them."""

    row: Stored
    found: CrewCosts
    shown: dict[str, Any]
    more_crews: int


@dataclass(frozen=True)
class Report:
    """All that page and paper tell."""

    scope: OwnerScope
    seasons: list[tuple[int, str]]
    season: Season
    costs: Costs
    whole: Costs | None
    spend: Spend
    free: list[FreeRepair]
    answers: dict[str, Any]


def _season(contractor: Contractor, number: int, latest: int, today: dt.date) -> Season:
    opens = month_day_in(number, contractor.season_opens)
    closes = season_closes(opens, contractor.season_closes)
    return Season(number, season_name(contractor, number), opens, closes, today < closes, number == latest)


def _costs(row: Stored, names: dict[int, str], most: int, uid: str) -> Costs:
    found = from_data(row.data, names)
    return Costs(row, found, crew_costs_shown(found, found.crews[:most], uid), max(len(found.crews) - most, 0))


def _report(request: HttpRequest, most_crews: int) -> tuple[OwnerScope, Report | None]:
    """The report of the season asked for, else of the latest, with lines for so many crews.

    None where nothing was worked out yet.
    """
    scope = owner_scope(request)
    contractor = scope.contractor
    kept = {} if contractor is None else stored(contractor)
    numbers = sorted((number for number in kept if number != WHOLE_RECORD), reverse=True)
    if contractor is None or not numbers:
        return scope, None
    asked = whole_number(request.GET.get("season"))
    number = asked if asked in numbers else numbers[0]
    names = dict(Crew.objects.filter(contractor=contractor).values_list("pk", "name"))
    costs = _costs(kept[number], names, most_crews, "iv")
    season = _season(contractor, number, numbers[0], scope.today)
    # A first season is all there is on record.
    alone = len(numbers) == 1 or WHOLE_RECORD not in kept
    whole = None if alone else _costs(kept[WHOLE_RECORD], names, most_crews, "ivw")
    free = free_repairs(contractor, today=scope.today)
    answers = _answers(contractor, scope.today, season, costs, whole, free)
    seasons = [(n, season_name(contractor, n)) for n in numbers]
    return scope, Report(scope, seasons, season, costs, whole, spend_of(costs.found), free, answers)


def _answers(
    contractor: Contractor, today: dt.date, season: Season, costs: Costs, whole: Costs | None, free: list[FreeRepair]
) -> dict[str, Any]:
    """What the first page says, each from the page that shows it."""
    basis = ReviewBasis.objects.filter(contractor=contractor).first()
    budget = None if basis is None else budget_kept(basis)
    in_use = UnitReview.objects.filter(contractor=contractor, trimmer__retired_on__isnull=True)
    counts = advice_counts(in_use)
    buying = buying_shown(buying_list(contractor))
    closing = order_day(contractor, today)
    costing: list[CrewCost] = costs.shown["answer"]["costing"]
    # A season alone seldom tells; where only the whole record does, the figure is that of the whole.
    whole_costs = not costing and whole is not None and bool(whole.shown["answer"]["costing"])
    if whole_costs and whole is not None:
        costing = whole.shown["answer"]["costing"]
    facts = Facts(
        today=today,
        closes=season.closes,
        next_opens=_next_opening(contractor, today),
        order_day=closing,
        to_buy=buying["count"],
        undecided=buying["advised"],
        look_closer=counts[LOOK_CLOSER],
        free=free,
        costing=[c.crew for c in costing],
        more_hours=costs.shown["more_hours"] if whole is None else whole.shown["more_hours"],
    )
    return {
        "whole_costs": whole_costs,
        "guards": _guards(costing, costs),
        # What it does not prove is said once, beside the figure that it is about.
        "said_before": not whole_costs and costs.found.within_crews is not None,
        "basis": basis,
        "budget": budget,
        "money": None if budget is None else budget_shown(budget),
        # The year before the budget's is this season's, and its purchases stand nowhere else.
        "bought": budget.total("was_bought") if budget is not None and season.latest else 0.0,
        "all": sum(counts.values()),
        "counts": counts,
        "buying": buying,
        "order_day": closing,
        "free": {"count": len(free), **free_repairs_shown(free)},
        "to_dos": [(one.by, to_do_sentence(one)) for one in to_dos(facts)],
    }


def _guards(costing: list[CrewCost], costs: Costs) -> str:
    """What guards left off have cost, in a figure or two words; figures of several crews are not added up."""
    if len(costing) == 1 and costing[0].excess is not None:
        return dollars(costing[0].excess.cost)
    if costing:
        return _("%d crews") % len(costing)
    if costs.found.within_crews is None:
        return _("nothing to compare")
    return _("cannot tell yet") if costs.shown["answer"]["cannot_tell"] else _("no excess")


def _next_opening(contractor: Contractor, today: dt.date) -> dt.date:
    this_year = month_day_in(today.year, contractor.season_opens)
    return this_year if this_year > today else month_day_in(today.year + 1, contractor.season_opens)


def _context(scope: OwnerScope, report: Report | None) -> dict[str, Any]:
    return {"scope": scope, "report": report, **({} if report is None else report.answers)}


@allowed("see_costs")
def annual_report(request: HttpRequest) -> HttpResponse:
    """The page of answers on the screen, and the whole report to take as PDF."""
    scope, report = _report(request, 0)
    context = _context(scope, report)
    if report is not None and scope.contractor is not None:
        query = {"contractor": scope.contractor.pk, "season": report.season.number}
        context |= {"offer": paper_offer(request, "annual_report_pdf", query), "query": urlencode(query)}
    return show(request, "fleet/annual_report.html", context)


@allowed("see_costs")
def annual_report_pdf(request: HttpRequest) -> HttpResponse:
    """The whole report on paper; where nothing was worked out, back to the page that says why."""
    scope, report = _report(request, CREWS_SHOWN)
    if report is None or scope.contractor is None:
        query = {} if scope.contractor is None else {"contractor": scope.contractor.pk}
        return redirect(reverse("annual_report") + ("?" + urlencode(query) if query else ""))
    context = {
        **_context(scope, report),
        **evidence(request, scope.contractor, report.answers["basis"]),
        "caution": SAFE,
    }
    title = _("Annual report, season %s") % report.season.name
    return owner_paper(request, "print/annual_report.html", scope, context, title=title, back="annual_report")
