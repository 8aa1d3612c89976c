"""Season budget: expected bills by month with their band, beside the same months a year before."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.http import urlencode
from django.utils.text import slugify
from django.utils.translation import gettext as _

from fleet.access import allowed
from fleet.charts.month_bars import MonthBar, month_bars
from fleet.models import ReviewBasis
from fleet.spreadsheets import csv_download, xlsx_download
from fleet.templatetags.money import dollars
from fleet.upkeep.budget import Budget, Month
from fleet.views.asking import show
from fleet.views.owner_papers import owner_paper, paper_offer
from fleet.views.owner_scope import OwnerScope, owner_scope

COLUMNS = (
    "month", "repairs", "services", "replacements", "expected", "low", "high", "year_before_repairs",
    "year_before_services", "year_before_bought", "year_before",
)  # fmt: skip


def _ask(request: HttpRequest) -> tuple[OwnerScope, ReviewBasis | None, Budget | None]:
    scope = owner_scope(request)
    if scope.contractor is None:
        return scope, None, None
    kept = ReviewBasis.objects.filter(contractor=scope.contractor).defer("basis", "model_ages").first()
    return scope, kept, None if kept is None else budget_kept(kept)


def budget_kept(kept: ReviewBasis) -> Budget | None:
    """The budget as it was worked out; None where the record said too little."""
    if kept.budget is None:
        return None
    months = [Month(**line) for line in kept.budget["months"]]
    return Budget(**{**kept.budget, "months": months})


@allowed("see_costs")
def season_budget(request: HttpRequest) -> HttpResponse:
    """The page."""
    scope, kept, budget = _ask(request)
    context: dict[str, Any] = {"scope": scope, "kept": kept, "budget": budget}
    if budget is not None and scope.contractor is not None:
        query = {"contractor": scope.contractor.pk}
        context |= budget_shown(budget) | {
            "csv_url": reverse("season_budget_csv") + "?" + urlencode(query),
            "xlsx_url": reverse("season_budget_xlsx") + "?" + urlencode(query),
            "offer": paper_offer(request, "season_budget_pdf", query),
        }
    return show(request, "fleet/season_budget.html", context)


@allowed("see_costs")
def season_budget_pdf(request: HttpRequest) -> HttpResponse:
    """The same on paper; where nothing was worked out, back to the page that says why."""
    scope, kept, budget = _ask(request)
    if budget is None:
        return redirect("season_budget")
    context = {"kept": kept, "budget": budget, **budget_shown(budget)}
    title = _("Season budget")
    return owner_paper(request, "print/season_budget.html", scope, context, title=title, back="season_budget")


def budget_shown(budget: Budget) -> dict[str, Any]:
    """What page and papers show of a budget."""
    return {
        "lines": [(_day(month), month) for month in budget.months],
        "chart": _chart(budget),
        "phone_chart": _chart(budget, phone=True),
        "totals": {name: budget.total(name) for name in ("repairs", "services", "replacements", "expected", "was")},
        "opens": dt.date.fromisoformat(budget.opens),
    }


def _day(month: Month) -> dt.date:
    return dt.date.fromisoformat(f"{month.month}-01")


def _chart(budget: Budget, *, phone: bool = False) -> str:
    bars = [MonthBar(date_format(_day(m), "M"), m.expected, m.low, m.high, m.was) for m in budget.months]
    title = _("Expected by month: %(total)s in all, 80 %% likely between %(low)s and %(high)s") % {
        "total": dollars(budget.total("expected")), "low": dollars(budget.low), "high": dollars(budget.high),
    }  # fmt: skip
    return month_bars(bars, "budget-phone" if phone else "budget", title, dollars, phone=phone)


def _rows(budget: Budget | None) -> list[dict[str, Any]]:
    if budget is None:
        return []
    return [
        {
            "month": m.month,
            "repairs": round(m.repairs, 2),
            "services": round(m.services, 2),
            "replacements": round(m.replacements, 2),
            "expected": round(m.expected, 2),
            "low": round(m.low, 2),
            "high": round(m.high, 2),
            "year_before_repairs": round(m.was_repairs, 2),
            "year_before_services": round(m.was_services, 2),
            "year_before_bought": round(m.was_bought, 2),
            "year_before": round(m.was, 2),
        }
        for m in budget.months
    ]


def _name(scope: OwnerScope) -> str:
    return slugify(f"season budget {scope.contractor or ''} {scope.today.isoformat()}")


@allowed("see_costs")
def season_budget_csv(request: HttpRequest) -> HttpResponse:
    """As a file of text."""
    scope, _kept, budget = _ask(request)
    return csv_download(_name(scope) + ".csv", COLUMNS, _rows(budget))


@allowed("see_costs")
def season_budget_xlsx(request: HttpRequest) -> HttpResponse:
    """As a workbook."""
    scope, _kept, budget = _ask(request)
    return xlsx_download(_name(scope) + ".xlsx", _("Season budget"), COLUMNS, _rows(budget))
