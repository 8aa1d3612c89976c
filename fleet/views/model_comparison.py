"""Repairs per unit of two models on one drawing, with the test that says whether the record tells them apart."""

from __future__ import annotations

from math import isfinite
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.template.defaultfilters import floatformat
from django.utils.translation import gettext as _

from fleet.access import Access, allowed
from fleet.charts.curves import two_repairs_curves
from fleet.charts.words import curve_words
from fleet.upkeep.model_comparison import Comparison, comparable, compare
from fleet.upkeep.record_page import ModelPage, model_pages, models_in_sight
from fleet.views.asking import show, whole_number


@allowed("see_record")
def model_comparison(request: HttpRequest) -> HttpResponse:
    """Two models chosen, else the two with most units in sight."""
    access: Access = request.access  # type: ignore[attr-defined]
    ids = access.contractors_where("see_record")
    models, counts = models_in_sight(ids)
    asked = [pk for name in ("first", "second") if (pk := whole_number(request.GET.get(name))) is not None]
    if not set(asked) <= {model.pk for model in models}:
        raise Http404
    told = comparable(model_pages(models, counts, ids))
    context: dict[str, Any] = {"choices": told}
    if len(told) >= 2:
        found = compare(*_chosen(asked, told), ids)
        shown = comparison_shown(found)
        context |= {
            **shown,
            "drawing": two_repairs_curves(shown["names"], found.steps, end=found.end, uid="two", say=curve_words()),
            "rows": [(row, limits_words(row.first), limits_words(row.second)) for row in found.rows],
        }
    return show(request, "fleet/model_comparison.html", context)


def comparison_shown(found: Comparison) -> dict[str, Any]:
    """What page and papers say of two models in words."""
    return {
        "found": found,
        "names": (str(found.first.model), str(found.second.model)),
        "last": found.rows[-1] if found.rows else None,
        "chance": "" if found.pair is None else chance_words(found.pair.p_value),
        "p": "" if found.pair is None else _p(found.pair.p_value),
    }


def _chosen(asked: list[int], told: list[ModelPage]) -> tuple[ModelPage, ModelPage]:
    """The two asked for; one that is missing, has nothing to show or is named twice is filled up."""
    by_model = {page.model.pk: page for page in told}
    chosen = [by_model[pk] for pk in dict.fromkeys(asked) if pk in by_model]
    usual = sorted(told, key=lambda page: -page.units)
    chosen += [page for page in usual if page not in chosen][: 2 - len(chosen)]
    return chosen[0], chosen[1]


def chance_words(p_value: float) -> str:
    """How often chance alone would show so much, as a count of records."""
    if p_value < 0.001:
        return _("fewer than 1 of 1,000 records")
    if p_value < 0.01:
        return _("%d of 1,000 records") % round(1000 * p_value)
    return _("%d of 100 records") % round(100 * p_value)


def _p(p_value: float) -> str:
    return "p < 0.001" if p_value < 0.001 else f"p = {floatformat(p_value, 3)}"


def limits_words(at: tuple[float, float, float] | None) -> str:
    """2.1 (1.6 to 2.8); 0 before the first repair."""
    if at is None:
        return floatformat(0)
    value, low, high = (floatformat(v, 1) if isfinite(v) else "–" for v in at)
    return _("%(value)s (%(low)s to %(high)s)") % {"value": value, "low": low, "high": high}
