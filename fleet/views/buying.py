"""The buying list: new units by model, before the pre-season order closes."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.text import slugify

from fleet.access import allowed
from fleet.models import Contractor
from fleet.spreadsheets import csv_download
from fleet.upkeep.days import month_day_in
from fleet.upkeep.review_decisions import ToBuy, buying_list
from fleet.views.asking import show
from fleet.views.owner_scope import owner_scope

COLUMNS = ("model", "units", "price", "cost", "decided", "advised")


def order_day(contractor: Contractor, today: dt.date) -> dt.date | None:
    """The next day on which the pre-season order closes."""
    if not contractor.order_by:
        return None
    this_year = month_day_in(today.year, contractor.order_by)
    return this_year if this_year >= today else month_day_in(today.year + 1, contractor.order_by)


@allowed("see_costs")
def buying(request: HttpRequest) -> HttpResponse:
    """What to order, and in place of which units."""
    scope = owner_scope(request)
    context: dict[str, Any] = {"scope": scope}
    if scope.contractor is not None:
        context |= {
            **buying_shown(buying_list(scope.contractor)),
            "order_day": order_day(scope.contractor, scope.today),
            "csv_url": reverse("buying_csv") + "?" + urlencode({"contractor": scope.contractor.pk}),
        }
    return show(request, "fleet/buying.html", context)


def buying_shown(lines: Sequence[ToBuy]) -> dict[str, Any]:
    """What page and papers show of the list."""
    return {
        "lines": lines,
        "count": sum(line.count for line in lines),
        "cost": sum(line.cost or 0.0 for line in lines),
        "advised": sum(len(line.advised) for line in lines),
    }


@allowed("see_costs")
def buying_csv(request: HttpRequest) -> HttpResponse:
    """The same as a file."""
    scope = owner_scope(request)
    lines = [] if scope.contractor is None else buying_list(scope.contractor)
    rows = [
        {"model": n.model, "units": n.count, "price": n.price, "cost": n.cost, "decided": n.decided,
         "advised": n.advised}
        for n in lines
    ]  # fmt: skip
    name = slugify(f"buying list {scope.contractor or ''} {scope.today.isoformat()}") + ".csv"
    return csv_download(name, COLUMNS, rows)
