"""The Ready list: page, paper, file; and where each role starts."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils.formats import date_format
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet.access import ADMINISTRATOR, allowed
from fleet.forms.ready import ReadyForm
from fleet.models import SHOP_ROLES, Trimmer
from fleet.sections import navigation_for, page_actions_for
from fleet.spreadsheets import csv_download
from fleet.upkeep.crew_units import count_in_use
from fleet.upkeep.job_rows import LIST_COLUMNS, lines_as_rows
from fleet.upkeep.job_words import short_date
from fleet.upkeep.lines import ReadyList, ready_list, seasons_of, with_reasons
from fleet.upkeep.ready import carry_through_default
from fleet.upkeep.season import Season
from fleet.upkeep.stops import Stop
from fleet.views.asking import back_to, show, whole_number
from fleet.views.scope import Scope, scope_of
from fleet.views.showing import Showing, plain_text, put_off_words

# Beyond these a person reads on by asking for more; the counts are of all.
LINES_SHOWN = 50
# Reasons and buttons of more jobs than this are not sent along: a line's are asked for when it is unfolded.
MOST_UNFOLDED = 120
# With more units than this in sight, the list is of one contractor at a time; with still more, of one crew.
MOST_AT_ONCE = 300


@dataclass(frozen=True)
class Asked:
    """One question to the Ready list and its answer."""

    scope: Scope
    seasons: dict[int, Season]
    form: ReadyForm
    before: dt.date
    found: ReadyList


def _scope(request: HttpRequest) -> Scope:
    """Whose units the page is about: of very many, one contractor's or one crew's, so that it opens at once."""
    scope = scope_of(request)
    if scope.contractor is None and scope.crew is None and len(scope.contractors) > 1:
        scope = scope.narrowed() if count_in_use(scope.contractors) > MOST_AT_ONCE else scope
    if scope.contractor is not None and scope.crew is None and len(scope.crews) > 1:
        scope = scope.narrowed_to_crew() if count_in_use([scope.contractor]) > MOST_AT_ONCE else scope
    return scope


def _ask(request: HttpRequest, unit: Trimmer | None = None, *, reasons: bool = True) -> Asked:
    """The question in the address, about the units it names, or about one of these; with or without its reasons."""
    scope = _scope(request)
    chosen = scope.chosen if unit is None else [unit.contractor]
    seasons = seasons_of(chosen)
    default = scope.today + dt.timedelta(weeks=4)
    if chosen:
        default = carry_through_default(seasons[chosen[0].pk], scope.today)
    asked = request.GET if "carry" in request.GET else None
    form = ReadyForm(asked, initial={"carry": default}, today=scope.today, default=default)
    before = form.before()
    found = ready_list(
        chosen,
        seasons,
        as_of=scope.today,
        before=before,
        crew_id=scope.crew_id if unit is None else None,
        unit_id=None if unit is None else unit.pk,
        place=form.place(),
        reasons=reasons,
    )
    return Asked(scope, seasons, form, before, found)


@allowed("see_fleet")
def ready(request: HttpRequest) -> HttpResponse:
    """One line for each unit with something due, worst first."""
    asked = _ask(request, reasons=False)
    scope, found = asked.scope, asked.found
    start = max(whole_number(request.GET.get("from")) or 0, 0)
    shown = found.lines[start : start + LINES_SHOWN]
    query = _query(asked)
    showing = Showing(request.access, asked.seasons, request.get_full_path())  # type: ignore[attr-defined]
    unfolded = sum(len(line.jobs) for line in shown) <= MOST_UNFOLDED
    # Only what is sent along unfolded says its reasons.
    shown = with_reasons(shown) if unfolded else shown
    heading = _("Ready list") + (f", {scope.name()}" if scope.name() else "")
    context: dict[str, Any] = {
        "asked": asked,
        "scope": scope,
        "found": found,
        "form": asked.form,
        "before": asked.before,
        "before_words": _day_words(asked.before, scope.today),
        "lines": [showing.line(line, show_crew=scope.crew is None, whole=unfolded) for line in shown],
        "line_query": urlencode({**_query(asked), "next": request.get_full_path()}),
        "back": request.get_full_path(),
        "put_off": put_off_words(found.put_off, showing),
        "recalls": _recalls(found, showing),
        "first_number": start + 1,
        "last_number": start + len(shown),
        "more": min(LINES_SHOWN, len(found.lines) - start - len(shown)),
        "more_url": "?" + urlencode({**query, "from": start + LINES_SHOWN}),
        "csv_url": reverse("ready_csv") + "?" + urlencode(query),
        "print_url": reverse("ready_print") + "?" + urlencode(query),
        "share_heading": heading,
        "share_text": plain_text(found, heading, _sentence(asked), showing),
        "page_actions": page_actions_for(request.access, "ready"),  # type: ignore[attr-defined]
        "may_log": request.access.can("log_work"),  # type: ignore[attr-defined]
    }
    return show(request, "fleet/ready.html", context)


@allowed("see_fleet")
def ready_line(request: HttpRequest, pk: int) -> HttpResponse:
    """What one line of the list unfolds to; on a page of its own, that is the unit's."""
    unit = request.access.unit(pk)  # type: ignore[attr-defined]
    if not request.htmx:  # type: ignore[attr-defined]
        return redirect("unit", pk)
    asked = _ask(request, unit)
    back = back_to(request, reverse("ready"))
    showing = Showing(request.access, asked.seasons, back)  # type: ignore[attr-defined]
    lines = [showing.line(line) for line in asked.found.lines]
    context = {"line": lines[0] if lines else None, "back": back}
    return render(request, "fleet/ready.html#whole_line", context)


@allowed("see_fleet")
def ready_print(request: HttpRequest) -> HttpResponse:
    """The whole list for paper, with boxes to tick in the yard."""
    asked = _ask(request)
    showing = Showing(request.access, asked.seasons, "/")  # type: ignore[attr-defined]
    context = {
        "scope": asked.scope,
        "found": asked.found,
        "before_words": _day_words(asked.before, asked.scope.today),
        "today": asked.scope.today,
        "lines": [showing.line(line, show_crew=asked.scope.crew is None) for line in asked.found.lines],
        "put_off": put_off_words(asked.found.put_off, showing),
    }
    return render(request, "print/ready.html", context)


@allowed("see_fleet")
def ready_csv(request: HttpRequest) -> HttpResponse:
    """Every job of the list as a row, with the columns of the command that prints it, and what stops its unit."""
    asked = _ask(request)
    name = slugify(f"ready list {asked.scope.name()} {asked.scope.today.isoformat()}") + ".csv"
    return csv_download(name, LIST_COLUMNS, lines_as_rows(asked.found.lines))


@allowed("see_fleet")
def home(request: HttpRequest) -> HttpResponse:
    """Each role starts where its day starts."""
    access = request.access  # type: ignore[attr-defined]
    if access.roles == {ADMINISTRATOR}:
        try:
            return redirect("portal")
        except NoReverseMatch:
            return redirect("ready")
    first = next((url for _item, url in navigation_for(access)), None) if access.roles <= SHOP_ROLES else None
    return redirect(first or "ready")


def _recalls(found: ReadyList, showing: Showing) -> list[tuple[Stop, list[tuple[str, str]]]]:
    """Each notice with the tags and addresses of the units it stops."""
    return [(stop, [(unit.tag, showing.unit_url(unit.unit)) for unit in units]) for stop, units in found.recalls()]


def _query(asked: Asked) -> dict[str, str]:
    """The question as an address, so that paper and file answer the same one."""
    query = {"carry": asked.before.isoformat()}
    if asked.form.place():
        query["show"] = str(asked.form.place())
    if not asked.scope.one_contractor and asked.scope.contractor is not None:
        query["contractor"] = str(asked.scope.contractor.pk)
    query["crew"] = "all" if asked.scope.crew is None else str(asked.scope.crew.pk)
    return query


def _day_words(day: dt.date, today: dt.date) -> str:
    # Translators: a day in a sentence, this year and another year, in Django's date format letters
    return date_format(day, _("F j") if day.year == today.year else _("F j, Y"))


def _sentence(asked: Asked) -> str:
    found = asked.found
    words = _("To last to %(date)s: %(hold)d on hold, %(due)d due now or past, %(by)d due by then, of %(units)d units.")
    recalled = ngettext(
        "%(n)d of those on hold is under a recall notice.",
        "%(n)d of those on hold are under a recall notice.",
        found.recalled,
    ) % {"n": found.recalled}
    told = words % {
        "date": short_date(asked.before, asked.scope.today),
        "hold": found.on_hold,
        "due": found.due_or_past,
        "by": found.due_by,
        "units": found.units,
    }
    return f"{told} {recalled}" if found.recalled else told
