"""One unit: what it is, where it stands, everything that happened to it."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.access import allowed
from fleet.cautions import Caution, caution_for_component, caution_for_hold
from fleet.clock import today_at
from fleet.models import Retirement, Trimmer
from fleet.record.standing import standing
from fleet.upkeep.entry_words import KIND_LABELS, MOVED_BY, change_words, entry_words
from fleet.upkeep.job_words import findings_of
from fleet.upkeep.reasons import hours_rest_on
from fleet.upkeep.unit_history import HistoryLine, flag_changes, unit_history
from fleet.upkeep.unit_page import UnitAnswer, unit_answer
from fleet.views.asking import show, whole_number
from fleet.views.showing import Showing, hours_words
from fleet.vocabulary import COMPONENTS, HOLD, Label

FACT_LABELS: dict[str, Label] = {
    "serial": gettext_lazy("serial"),
    "bought_on": gettext_lazy("day of purchase"),
    "price": gettext_lazy("price paid"),
}


@allowed("see_fleet")
def unit(request: HttpRequest, pk: int) -> HttpResponse:
    """The unit's page."""
    access = request.access  # type: ignore[attr-defined]
    row: Trimmer = access.unit(pk)
    today = today_at(row.contractor)
    answer = unit_answer(row, today)
    page = unit_history(row, whole_number(request.GET.get("page")) or 1)
    showing = Showing(access, answer.seasons, reverse("unit", args=[pk]))
    stopped = bool(answer.stops)
    jobs = [showing.job(job, with_rail=True, say_hours=False, stopped=stopped) for job in answer.jobs]
    withdraws_any = access.can("withdraw_any", row.contractor_id)
    may = {
        name: access.can(name, row.contractor_id)
        for name in (
            "log_work",
            "postpone",
            "move_unit",
            "retire_unit",
            "see_money",
            "manage_tags",
            "close_recall",
            "keep_purchase_papers",
        )
    }
    context = {
        "unit": row,
        "answer": answer,
        "may": may,
        "missing": access.can("fill_unit_facts", row.contractor_id)
        and (not row.serial or row.bought_on is None or row.price is None),
        "notices_done": [
            {"done": d, "own": may["close_recall"] and (withdraws_any or d.author_id == request.user.pk)}
            for d in answer.notices_done
        ],
        "filled": [(f, ", ".join(str(FACT_LABELS[name]) for name in f.after)) for f in answer.facts_filled],
        "hours": _hours(answer),
        "left_why": _left_why(row) if row.retired_on else "",
        "rests_on": hours_rest_on(answer.jobs[0]) if answer.jobs else "",
        "held": any(job.state == HOLD for job in jobs),
        "cautions": _cautions(answer),
        "clears_faults": access.sees_as(row.contractor_id) == "shop",
        "first": jobs[0] if jobs else None,
        "jobs": jobs,
        "put_off": answer.put_off,
        "components": [
            {"name": COMPONENTS[c.component], "age": c, "hours": f"{c.hours:,.0f}"} for c in answer.components
        ],
        "history": [_history_row(line, request, withdraws_any, pk) for line in page.lines],
        "page": page,
        "changes": [
            {"words": change_words(c), "by": MOVED_BY.get(c.moved_by, c.moved_by), "on": c.recorded_at}
            for c in flag_changes(row)
        ],
        "photos": [
            {
                "photo": p,
                "url": reverse("unit_photo", args=[pk, p.pk]),
                "own": withdraws_any or p.added_by_id == request.user.pk,
            }
            for p in answer.photos
        ],
        "papers": [
            {"paper": p, "url": reverse("purchase_paper", args=[pk, p.pk])}
            for p in (answer.purchase_papers if may["keep_purchase_papers"] else [])
        ],
    }
    return show(request, "fleet/unit.html", context)


def _left_why(unit: Trimmer) -> str:
    """What became of a unit that left service, in the words it was entered with."""
    rows = standing(Retirement.objects.filter(trimmer=unit), "retirement").order_by("-occurred_on", "-pk")
    return rows.values_list("why", flat=True).first() or ""


def _hours(answer: UnitAnswer) -> str:
    if answer.widest is not None:
        return hours_words(answer.widest.unit, answer.widest)
    return "" if answer.hours_now is None else _("%(now)s h") % {"now": f"{answer.hours_now:,.0f}"}


def _cautions(answer: UnitAnswer) -> list[Caution]:
    """Why the unit rests, in the words of the cautions, each once."""
    said = [caution_for_hold(finding) for job in answer.jobs for finding in findings_of(job)]
    said += [caution_for_component(stop.component) for stop in answer.stops]
    return list(dict.fromkeys(caution for caution in said if caution is not None))


def _history_row(line: HistoryLine, request: HttpRequest, withdraws_any: bool, pk: int) -> dict[str, object]:
    entry = line.entry
    may = line.withdrawal is None and (withdraws_any or entry.author_id == request.user.pk)
    return {
        "kind": KIND_LABELS[line.kind],
        "words": entry_words(entry),
        "entry": entry,
        "withdrawal": line.withdrawal,
        "source": entry.get_source_display() if entry.source != "screen" else "",
        "withdraw_url": reverse("unit_withdraw", args=[pk, line.kind, entry.pk]) if may else "",
    }
