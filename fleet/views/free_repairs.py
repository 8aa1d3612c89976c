"""Free repair waiting: what a maker might still pay for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.utils.http import urlencode
from django.utils.translation import gettext as _

from fleet.access import allowed
from fleet.upkeep.claimed import claims_of
from fleet.upkeep.free_repairs import FreeRepair
from fleet.upkeep.free_repairs import free_repairs as find
from fleet.views.asking import show
from fleet.views.owner_scope import owner_scope
from fleet.vocabulary import CAUSES, COMPONENTS, Label

PER_PAGE = 50


@allowed("see_costs")
def free_repairs(request: HttpRequest) -> HttpResponse:
    """Faults on parts under warranty with nothing claimed, those not mended yet first."""
    scope = owner_scope(request)
    context: dict[str, Any] = {"scope": scope}
    if scope.contractor is not None:
        found = find(scope.contractor, today=scope.today)
        page = Paginator(found, PER_PAGE).get_page(request.GET.get("page"))
        context |= {
            "page": page,
            "query": urlencode({"contractor": scope.contractor.pk}),
            "lines": [(r, COMPONENTS[r.component], _doubt(r)) for r in page.object_list],
            "count": len(found),
            "claimed": [(c, COMPONENTS[c.component]) for c in claims_of(scope.contractor.pk)[:PER_PAGE]],
            **free_repairs_shown(found),
        }
    return show(request, "fleet/free_repairs.html", context)


def free_repairs_shown(found: Sequence[FreeRepair]) -> dict[str, Any]:
    """What page and papers say of them in a sentence."""
    clear = [r for r in found if not r.doubt]
    return {
        "waiting": sum(not r.mended for r in clear),
        "paid": sum(r.mended for r in clear),
        "paid_bill": sum(r.bill for r in clear if r.mended),
        "doubtful": len(found) - len(clear),
    }


def _doubt(repair: FreeRepair) -> Label:
    if repair.doubt == "guard_off":
        return _("guard found off")
    return CAUSES[repair.doubt] if repair.doubt else ""
