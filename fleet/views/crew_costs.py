"""Crew costs: what running without guards has cost, crew by crew, how sure that is, and what it rests on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.text import get_text_list, slugify
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_POST

from fleet.access import allowed
from fleet.charts.interval_bar import Range, Scale, interval_bar
from fleet.charts.svg import Svg
from fleet.models import Contractor, Crew
from fleet.models import CrewCost as Stored
from fleet.spreadsheets import csv_download
from fleet.templatetags.money import dollars
from fleet.upkeep.crew_cost_rows import COLUMNS, crew_cost_rows
from fleet.upkeep.crew_cost_store import WHOLE_RECORD, from_data, refresh_crew_costs, season_name, stored
from fleet.upkeep.misuse import CrewCost, CrewCosts
from fleet.upkeep.misuse_money import GUARD_OFF, NO_GREASE
from fleet.views.asking import show, whole_number
from fleet.views.owner_scope import OwnerScope, owner_scope, work_out_again
from fleet.vocabulary import CAUSES, Label

VERDICTS: dict[str, Label] = {
    "costs_more": gettext_lazy("costs more"),
    "cannot_tell": gettext_lazy("cannot tell yet"),
    "no_excess": gettext_lazy("no excess"),
}
# More crews than this are counted in the answer's sentence instead of named.
NAMED = 4
CREWS_SHOWN = 25


@dataclass(frozen=True)
class Asked:
    """The choice, and the answer kept for it (None: not worked out yet)."""

    scope: OwnerScope
    seasons: list[tuple[int, str]]
    season: int
    row: Stored | None
    found: CrewCosts | None


@dataclass(frozen=True)
class ShownCrew:
    """A crew's line with its bar and words."""

    cost: CrewCost
    bar: Svg | None
    verdict: str
    off_share: float | None
    long_share: float | None


def _ask(request: HttpRequest) -> Asked:
    scope = owner_scope(request)
    if scope.contractor is None:
        return Asked(scope, [], WHOLE_RECORD, None, None)
    kept = stored(scope.contractor)
    season = whole_number(request.GET.get("season")) or WHOLE_RECORD
    row = kept.get(season)
    if row is None:
        season, row = WHOLE_RECORD, kept.get(WHOLE_RECORD)
    seasons = [(number, season_name(scope.contractor, number)) for number in sorted(kept, reverse=True) if number]
    found = None if row is None else from_data(row.data, dict(_crew_names(scope.contractor)))
    return Asked(scope, seasons, season, row, found)


def _crew_names(contractor: Contractor) -> list[tuple[int, str]]:
    return list(Crew.objects.filter(contractor=contractor).values_list("pk", "name"))


@allowed("see_costs")
def crew_costs(request: HttpRequest) -> HttpResponse:
    """The page, of the whole record or of one season."""
    asked = _ask(request)
    context: dict[str, Any] = {"asked": asked, "scope": asked.scope, "found": asked.found}
    if asked.found is not None and asked.scope.contractor is not None:
        found = asked.found
        query = urlencode({"contractor": asked.scope.contractor.pk, "season": asked.season})
        page = Paginator(found.crews, CREWS_SHOWN).get_page(request.GET.get("page"))
        context |= {
            **crew_costs_shown(found, list(page.object_list)),
            "page": page,
            "query": query,
            "csv_url": reverse("crew_costs_csv") + "?" + query,
        }
    return show(request, "fleet/crew_costs.html", context)


@allowed("see_costs")
def crew_costs_csv(request: HttpRequest) -> HttpResponse:
    """The same figures as the command prints, as a file."""
    asked = _ask(request)
    rows = [] if asked.found is None else crew_cost_rows(asked.found)
    name = slugify(f"crew costs {asked.scope.contractor or ''} {asked.season or 'whole record'}") + ".csv"
    return csv_download(name, COLUMNS, rows)


@allowed("see_costs")
@require_POST
def crew_costs_again(request: HttpRequest) -> HttpResponse:
    """Work out again what moved since last night, beside the request: a large fleet takes a while."""
    return work_out_again(request, "crew_costs", refresh_crew_costs, "fleet.refresh_crew_costs")


def crew_costs_shown(found: CrewCosts, crews: Sequence[CrewCost], uid: str = "iv") -> dict[str, Any]:
    """What page and papers show of an answer, with lines for these of its crews; ``uid`` begins the bars' ids."""
    return {
        "lines": _lines(found, crews, uid),
        "answer": _answer(found),
        "more_hours": _more_hours(found),
        "causes": [(_cause(a.cause), a) for a in found.avoidable],
        "avoidable_total": sum(a.amount for a in found.avoidable),
        "doubted": [c.crew for c in found.crews if c.walks.more_than_walks_say],
        "services": sum(c.services for c in found.crews),
        "down": sum(c.down for c in found.crews),
    }


def _lines(found: CrewCosts, shown: Sequence[CrewCost], uid: str) -> list[ShownCrew]:
    """Lines of some crews, on a scale that holds them all."""
    known = [c.excess for c in found.crews if c.excess is not None]
    scale = Scale.over([v for e in known for v in (e.cost_low, e.cost, e.cost_high)])
    return [
        ShownCrew(
            cost=crew,
            bar=_bar(crew, scale, uid),
            verdict=str(VERDICTS[crew.verdict]),
            off_share=_share(crew.guard_off_hours, crew.hours),
            long_share=_share(crew.line_long_hours, crew.hours),
        )
        for crew in shown
    ]


def _share(part: float | None, whole: float) -> float | None:
    return part / whole if part is not None and whole > 0 else None


def _bar(crew: CrewCost, scale: Scale, uid: str) -> Svg | None:
    excess = crew.excess
    if excess is None:
        return None
    words = {"crew": crew.crew, "at": dollars(excess.cost), "low": dollars(excess.cost_low),
             "high": dollars(excess.cost_high), "says": VERDICTS[crew.verdict]}  # fmt: skip
    title = _("%(crew)s: about %(at)s, most likely between %(low)s and %(high)s; %(says)s") % words
    found = Range(excess.cost_low, excess.cost, excess.cost_high, crew.verdict == "costs_more")
    return interval_bar(found, scale, f"{uid}{crew.crew_id}", title, dollars)


def _answer(found: CrewCosts) -> dict[str, Any]:
    """The pieces of the sentence that opens the page."""
    costing = sorted((c for c in found.crews if c.verdict == "costs_more"), key=lambda c: c.crew)
    return {
        "costing": costing[:NAMED],
        "more_costing": len(costing[NAMED:]),
        "no_excess": _named([c.crew for c in found.crews if c.verdict == "no_excess"]),
        "cannot_tell": _named([c.crew for c in found.crews if c.verdict == "cannot_tell"]),
    }


def _named(crews: list[str]) -> str:
    if len(crews) > NAMED:
        return ngettext("%d crew", "%d crews", len(crews)) % len(crews)
    return get_text_list(crews, _("and"))


def _more_hours(found: CrewCosts) -> int | None:
    """About how many more hours of all crews would tell, in two figures; None where no usual number would."""
    if found.hours_needed is None or found.hours <= 0:
        return None
    more = found.hours_needed - found.hours
    if not 0 < more < 20 * found.hours:
        return None
    step = 10 ** max(len(str(int(more))) - 2, 0)
    return round(more / step) * step


def _cause(key: str) -> Label:
    if key == NO_GREASE:
        return _("gearbox found dry, no other cause written")
    if key == GUARD_OFF:
        return _("guard found off, no other cause written")
    return CAUSES[key]
