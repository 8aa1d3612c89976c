"""Papers of a visit: the ticket of a drop-off, the inspection slip of a unit, work and what it comes to."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.text import slugify
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import Access, allowed
from fleet.clock import now_at
from fleet.documents import BusyError, make_pdf, pdf_answer
from fleet.paper_sizes import paper_asked
from fleet.views.busy import busy
from shop import access as bench_access
from shop.bench.days import bench_of
from shop.bench.reading import VisitRow, line_rows, visit_rows
from shop.bench.words import day_words
from shop.cautions import HANDED_BACK, LOADING
from shop.models import DropOff, DropOffLine
from shop.papers.codes import code_picture
from shop.papers.inspection import inspection_slip as slip_of
from shop.papers.visit import cost_lines, ticket_lines
from shop.views.asking import whole_address
from shop.vocabulary import AT_YARD, CANCELLED, VISIT_PLACES, VISIT_STATES

CODE_MM = 30.0


@allowed("see_drop_offs")
@never_cache
def drop_off_ticket(request: HttpRequest, pk: int) -> HttpResponse:
    """What was handed over, or is to be: by whom, for what, at what limit, signed for."""
    visit = bench_access.drop_off(request.access, pk)  # type: ignore[attr-defined]
    if visit.state == CANCELLED:
        raise Http404
    (row,) = visit_rows(DropOff.objects.known().filter(pk=pk))
    bench = bench_of(visit.shop)
    lines = ticket_lines(row)
    context = _visit_context(row) | {
        "bench": bench,
        "lines": lines,
        "all_told": all(line.told is not None for line in lines),
        "caution": LOADING,
        "code_mm": CODE_MM,
    }
    code = code_picture(whole_address(request, reverse("ticket", args=[visit.token])), CODE_MM)
    return _paper(request, "print/ticket.html", context, _("ticket"), visit, {"ticket.png": code})


@allowed("see_drop_offs")
def ticket(request: HttpRequest, token: str) -> HttpResponse:
    """What the code on a ticket opens, for those who see the visit."""
    visit = bench_access.drop_offs_of(request.access).filter(token=token).first()  # type: ignore[attr-defined]
    if visit is None:
        raise Http404
    return redirect("drop_off", pk=visit.pk)


@allowed("see_drop_offs")
@never_cache
def inspection_slip(request: HttpRequest, pk: int) -> HttpResponse:
    """What was found on a unit when it arrived and since; it leaves with the unit."""
    access: Access = request.access  # type: ignore[attr-defined]
    line = bench_access.line(access, pk)
    unit = line.trimmer
    if unit is None or line.arrived_at is None:
        raise Http404
    (row,) = line_rows([line])
    visit = line.drop_off
    known = access.can("see_fleet", unit.contractor_id)
    context = _visit_context(VisitRow(visit, [row]))
    context |= {
        "unit": unit,
        "line": line,
        "arrived_on": day_words(line.arrived_at.astimezone(now_at(line.shop).tzinfo).date()),
        "state": VISIT_STATES[line.state],
        "slip": slip_of(row, unit, known=known, today=context["today"]),
        "caution": HANDED_BACK,
    }
    return _paper(request, "print/inspection.html", context, _("inspection %(tag)s") % {"tag": unit.tag}, visit)


@allowed("see_money")
@never_cache
def work_and_cost(request: HttpRequest, pk: int) -> HttpResponse:
    """Jobs done on a visit, their minutes and parts, at the contractor's labor rate."""
    visit = bench_access.drop_off(request.access, pk, "see_money")  # type: ignore[attr-defined]
    (row,) = visit_rows(DropOff.objects.known().filter(pk=pk))
    rate = visit.contractor.labour_rate
    lines = cost_lines(row, rate)
    context = _visit_context(row) | {
        "lines": lines,
        "rate": rate,
        "labor": sum(line.costs.labor for line in lines),
        "parts": sum(line.costs.parts for line in lines),
        "total": sum(line.costs.total for line in lines),
        "without_minutes": sum(line.costs.without_minutes for line in lines),
        "still_open": sum(line.still_open for line in lines),
    }
    return _paper(request, "print/work_and_cost.html", context, _("work and cost"), visit)


def papers_of(access: Access, row: VisitRow) -> list[tuple[str, str]]:
    """Papers of a visit that this person can make now: their names and addresses."""
    visit = row.visit
    found = []
    if visit.state != CANCELLED:
        words = _("Yard visit ticket") if visit.place == AT_YARD else _("Drop-off ticket")
        found.append((words, reverse("drop_off_ticket", args=[visit.pk])))
    worked = any(job.done_at is not None for one in row.lines for job in one.jobs)
    if worked and bench_access.may(access, "see_money", visit):
        found.append((_("Work and cost"), reverse("drop_off_costs", args=[visit.pk])))
    return found


def slip_of_line(line: DropOffLine) -> str:
    """The address of a line's inspection slip; none before it has arrived, or where it is no unit."""
    arrived = line.trimmer_id is not None and line.arrived_at is not None
    return reverse("inspection_slip", args=[line.pk]) if arrived else ""


def _visit_context(row: VisitRow) -> dict[str, Any]:
    visit = row.visit
    return {
        "visit": visit,
        "shop": visit.shop,
        "who": f"{visit.contractor}, {visit.crew}" if visit.crew is not None else str(visit.contractor),
        "day": day_words(visit.day),
        "place": VISIT_PLACES[visit.place],
        "at_yard": visit.place == AT_YARD,
        "state": VISIT_STATES[visit.state],
        "minutes": row.minutes,
        "today": now_at(visit.shop).date(),
        "invented": visit.contractor.invented,
    }


def _paper(
    request: HttpRequest, template: str, context: Mapping[str, Any], name: str, visit: DropOff,
    pictures: Mapping[str, bytes] | None = None,
) -> HttpResponse:  # fmt: skip
    try:
        content = make_pdf(template, context, paper_asked(request.GET.get("paper", ""), request.COOKIES), pictures)
    except BusyError:
        return busy(request, "drop_offs")
    return pdf_answer(content, slugify(f"{name} {visit.crew or visit.contractor} {visit.day}") or "paper")
