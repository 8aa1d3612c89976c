"""Model record: what each model dies of and when to act; one model, one component, and the same on paper."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.access import Access, allowed
from fleet.cautions import Caution, caution_for_task
from fleet.charts.bars import share_bar
from fleet.charts.svg import Svg
from fleet.charts.words import curve_words
from fleet.models import Contractor
from fleet.upkeep import record_words as words
from fleet.upkeep.recalls import units_under_notices
from fleet.upkeep.record_charts import cost_drawing, curve_drawing, repairs_drawing, table_rows
from fleet.upkeep.record_page import ComponentLine, ModelPage, model_pages, models_in_sight
from fleet.vocabulary import COMPONENTS

PER_PAGE = 20
# When to act is said at once for so many components; the rest stand in the list below.
ACTS_SHOWN = 2


@dataclass(frozen=True)
class ShownComponent:
    """A component's line as templates print it; drawings and sentences only where they are asked for."""

    key: str
    label: str
    url: str
    failures: str
    failed: bool
    act: str
    shortened: bool
    bar: Svg
    life: str
    curve: Svg | None = None
    costs: Svg | None = None
    repairs: Svg | None = None
    table: list[dict[str, str]] = field(default_factory=list)
    looks: bool = False
    clock: str = ""
    why: str = ""
    rests_on: str = ""
    guard: str = ""
    misfit: list[str] = field(default_factory=list)
    wear: str = ""
    figures: list[tuple[str, str]] = field(default_factory=list)
    caution: Caution | None = None

    @property
    def telling(self) -> bool:
        """Whether it stands in the list at once: it failed, or the record says to act sooner."""
        return self.failed or self.shortened


@dataclass(frozen=True)
class ShownModel:
    """A model as the list shows it: the answer first."""

    pk: int
    name: str
    url: str
    units: int
    dies_of: list[tuple[str, str]]
    nothing: str
    acts: list[str]
    whole: bool


def _shown_model(page: ModelPage) -> ShownModel:
    # Where the record says sooner than the manual comes first; then what it dies of most.
    sooner = [line for line in page.lines if line.shortened]
    others = [line for line in page.failed if line.interval_hours is not None and not line.shortened]
    acts = [*sooner, *others][: max(ACTS_SHOWN, len(sooner))]
    return ShownModel(
        pk=page.model.pk,
        name=str(page.model),
        url=reverse("model_record", args=[page.model.pk]),
        units=page.units,
        dies_of=words.dies_of(page),
        nothing=words.nothing_words(page),
        acts=[words.act_words(line) for line in acts],
        whole=page.whole,
    )


def _shown_line(page: ModelPage, line: ComponentLine, *, full: bool) -> ShownComponent:
    most = page.lines[0].counts.events
    label = str(COMPONENTS[line.component])
    short: dict[str, Any] = {
        "key": line.component,
        "label": label,
        "url": reverse("component_record", args=[page.model.pk, line.component]),
        "failures": words.failures_words(line),
        "failed": line.counts.events > 0,
        "act": words.act_words(line),
        "shortened": line.shortened,
        "bar": share_bar(line.counts.events, most),
        "life": words.life_words(line.fit),
    }
    if not full:
        return ShownComponent(**short)
    say, what, uid = curve_words(), f"{page.model} {label}", f"m{page.model.pk}-{line.component.replace('_', '-')}"
    return ShownComponent(
        **short,
        curve=curve_drawing(line, what, f"{uid}-f", say),
        costs=cost_drawing(line, what, f"{uid}-c", say),
        repairs=repairs_drawing(line.fit.repairs, what, f"{uid}-r", say),
        table=[words.table_words(row) for row in table_rows(line)],
        looks=line.fit.curve is not None and line.fit.curve.kind == "turnbull",
        clock=words.clock_words(line.fit),
        why=words.joined([*words.basis_words(line), words.whose_words(page.whose) if line.interval_hours else ""]),
        rests_on=words.joined(words.rests_on(line)),
        guard=words.guard_words(line.fit),
        misfit=words.misfit_words(line),
        wear=words.wear_words(line.fit),
        figures=words.figure_rows(line.fit),
        caution=caution_for_task(line.fit.task) if line.fit.task else None,
    )


def _page(request: HttpRequest, pk: int) -> ModelPage:
    """The model's record, if anybody in sight has or had it; else 404."""
    access: Access = request.access  # type: ignore[attr-defined]
    ids = access.contractors_where("see_record")
    models, counts = models_in_sight(ids)
    model = next((m for m in models if m.pk == pk), None)
    if model is None:
        raise Http404
    return model_pages([model], counts, ids, _whose(access, ids))[0]


def _whose(access: Access, ids: frozenset[int]) -> Contractor | None:
    """At whose figures intervals stand: an owner's own; for who looks after several, those most units run under."""
    return access.contractors().get(pk=next(iter(ids))) if len(ids) == 1 else None


@allowed("see_record")
def model_records(request: HttpRequest) -> HttpResponse:
    """Every model in sight with what it dies of and when to act."""
    access: Access = request.access  # type: ignore[attr-defined]
    ids = access.contractors_where("see_record")
    search = request.GET.get("q", "")[:80]
    models, counts = models_in_sight(ids, search)
    page = Paginator(models, PER_PAGE).get_page(request.GET.get("page"))
    whose = _whose(access, ids)
    shown = [_shown_model(one) for one in model_pages(page.object_list, counts, ids, whose)]
    context = {
        "models": shown,
        "whose": words.whose_words("" if whose is None else whose.name),
        "models_count": len(models),
        "units_count": sum(counts[m.pk] for m in models),
        "page": page,
        "search": search,
        "query": f"q={search}",
    }
    template = "fleet/model_records.html#models" if request.htmx else "fleet/model_records.html"  # type: ignore[attr-defined]
    return render(request, template, context)


def _model_context(request: HttpRequest, page: ModelPage, *, full: bool) -> dict[str, Any]:
    access: Access = request.access  # type: ignore[attr-defined]
    ids = access.contractors_where("see_record")
    lines = [_shown_line(page, line, full=full) for line in page.lines]
    return {
        "model": page.model,
        "shown": _shown_model(page),
        "lines": lines,
        "repairs": repairs_drawing(page.repairs, str(page.model), f"m{page.model.pk}-all", curve_words()),
        "quiet_count": sum(1 for line in lines if not line.telling),
        "notices": units_under_notices(ids, model_id=page.model.pk),
    }


@allowed("see_record")
def model_record(request: HttpRequest, pk: int) -> HttpResponse:
    """One model: a line for each component, what it dies of most first."""
    return render(request, "fleet/model_record.html", _model_context(request, _page(request, pk), full=False))


@allowed("see_record")
def model_record_print(request: HttpRequest, pk: int) -> HttpResponse:
    """The model's whole record for paper, with the curves of what has failed."""
    return render(request, "print/model_record.html", _model_context(request, _page(request, pk), full=True))


@allowed("see_record")
def component_record(request: HttpRequest, pk: int, component: str) -> HttpResponse:
    """One component of a model: curve, counts, costs, and what all of it rests on; with htmx in its line."""
    page = _page(request, pk)
    line = page.line(component)
    if line is None:
        raise Http404
    htmx = request.htmx  # type: ignore[attr-defined]
    context = {
        "model": page.model,
        # Within the model's page the figures stand under the component's own heading.
        "level": 4 if htmx else 2,
        "line": _shown_line(page, line, full=True),
        "heading": _("%(model)s: %(component)s") % {"model": page.model, "component": COMPONENTS[component]},
    }
    template = "fleet/component_record.html#detail" if htmx else "fleet/component_record.html"
    return render(request, template, context)
