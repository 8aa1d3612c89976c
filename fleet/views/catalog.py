"""The catalog: models in use, and what one party holds of each: intervals with their source, price, warranty."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from fleet import background
from fleet.access import Access, allowed
from fleet.forms.catalog import FiguresForm, ModelForm, TaskForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.models import CatalogChange, TrimmerModel
from fleet.record.catalog import add_model, refresh_after_change, set_interval, set_terms, units_touched
from fleet.record.writing import Refused
from fleet.upkeep.catalog import (
    CONTRACTOR,
    PORTAL,
    SHOP,
    Holder,
    ModelSheet,
    model_sheets,
    models_in_use,
    models_known_to,
    practice_figures,
)
from fleet.upkeep.intervals import shops_of
from fleet.upkeep.recalls import units_under_notices
from fleet.views.catalog_lines import change_lines, figure_lines
from fleet.views.holders import chosen_holder, holders_for, may_change
from fleet.vocabulary import TASKS

PER_PAGE = 40
# Up to so many units are brought up to date while the reader waits; more go beside the request.
AT_ONCE = 1_000


def _holder(request: HttpRequest, to_change: bool = False) -> tuple[Holder, list[Holder]]:
    """Whose catalog this request is about; 404 for one out of sight, or not the person's to change."""
    access: Access = request.access  # type: ignore[attr-defined]
    holders = holders_for(access)
    if to_change:
        access.require("edit_catalog")
        holders = [h for h in holders if may_change(access, h)]
    holder = chosen_holder(request, holders)
    if holder is None:
        raise Http404
    return holder, holders


def _in_sight(access: Access, holder: Holder) -> frozenset[int]:
    """Contractors whose units count on this holder's pages."""
    if holder.kind == CONTRACTOR and holder.contractor_id is not None:
        return frozenset({holder.contractor_id}) & access.contractor_ids
    return access.contractor_ids


def _money(access: Access, holder: Holder) -> bool:
    """Whether the person may see what things cost there: an owner here may be a crew boss at another contractor."""
    return access.can("see_money", holder.contractor_id)


def _model(request: HttpRequest, holder: Holder, pk: int) -> TrimmerModel:
    access: Access = request.access  # type: ignore[attr-defined]
    model = TrimmerModel.objects.filter(pk=pk).first()
    if model is None or pk not in models_known_to(access.contractor_ids, holder):
        raise Http404
    return model


def _sheet(model: TrimmerModel, holder: Holder) -> ModelSheet:
    return model_sheets([model], holder)[0]


def _wider(holder: Holder) -> Holder:
    """Whose figures stand where this holder gives none."""
    shop = shops_of([holder.contractor_id]).get(holder.contractor_id) if holder.contractor_id else None
    return Holder(SHOP, shop_id=shop) if shop else Holder(PORTAL)


@allowed("see_fleet")
def catalog(request: HttpRequest) -> HttpResponse:
    """Models in use by the contractors in sight, each with what is known of it."""
    access: Access = request.access  # type: ignore[attr-defined]
    holder, holders = _holder(request)
    search = request.GET.get("q", "")[:80]
    models, counts = models_in_use(_in_sight(access, holder), search)
    page = Paginator(models, PER_PAGE).get_page(request.GET.get("page"))
    sheets = model_sheets(page.object_list, holder, counts)
    bare = sum(1 for sheet in sheets if not sheet.from_manual)
    context = {
        "holder": holder,
        "holders": holders,
        "editable": may_change(access, holder),
        "money": _money(access, holder),
        "page": page,
        "sheets": sheets,
        "search": search,
        "models_count": len(models),
        "units_count": sum(counts[m.pk] for m in models),
        "bare": bare,
        # Of a shop's or the portal's figures: contractors' own may stand before them.
        "others": holder.kind != CONTRACTOR,
        "holder_name": holder.name or _("the whole portal"),
        "tasks_count": len(TASKS),
        "query": f"for={holder.key}&q={search}",
    }
    template = "fleet/catalog.html#models" if request.htmx else "fleet/catalog.html"  # type: ignore[attr-defined]
    return render(request, template, context)


@allowed("see_fleet")
def catalog_model(request: HttpRequest, pk: int) -> HttpResponse:
    """One model: intervals, figures, recall notices, and what was changed when."""
    access: Access = request.access  # type: ignore[attr-defined]
    holder, holders = _holder(request)
    model = _model(request, holder, pk)
    return render(request, "fleet/catalog_model.html", _model_context(access, model, holder, holders))


def _model_context(access: Access, model: TrimmerModel, holder: Holder, holders: list[Holder]) -> dict[str, Any]:
    sheet = _sheet(model, holder)
    in_sight = _in_sight(access, holder)
    _models, counts = models_in_use(in_sight)
    changes = CatalogChange.objects.filter(
        Q(contractor=holder.contractor_id, shop=holder.shop_id) | Q(contractor=None, shop=None), model=model
    )
    practice = sum(1 for t in sheet.tasks if t.applies and not t.from_manual)
    return {
        "model": model,
        "sheet": sheet,
        "holder": holder,
        "holders": holders,
        "editable": may_change(access, holder),
        "units_count": counts.get(model.pk, 0),
        "practice": practice,
        "manual": sheet.from_manual,
        "figures": figure_lines(sheet, money=_money(access, holder)),
        "notices": units_under_notices(in_sight, model_id=model.pk, ended=True),
        "recalls_editable": access.can("edit_recalls"),
        "changes": change_lines(
            changes.select_related("author").order_by("-recorded_at", "-pk")[:30],
            money=_money(access, holder),
        ),
    }


@allowed("edit_catalog")
def catalog_task(request: HttpRequest, pk: int, task: str) -> HttpResponse:
    """Change how often one task falls due; with htmx in its own row of the table."""
    holder, holders = _holder(request, to_change=True)
    model = _model(request, holder, pk)
    if task not in TASKS:
        raise Http404
    own = _sheet(model, holder).task(task)
    wider = practice_figures(task) if holder.kind == PORTAL else _sheet(model, _wider(holder)).task(task)
    form = TaskForm(posted(request), own=own, wider=wider)
    if request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            changed = set_interval(
                model=model,
                task=task,
                holder=holder,
                hours=said["hours"],
                months=said["months"],
                source=said["source"],
                by=request.user,  # type: ignore[arg-type]
                confirmed=said["confirmed"],
            )
        except Refused as refusal:
            add_refusal(form, refusal)
            if refusal.ask:
                form.ask()
        else:
            return _saved(request, model, holder, task, changed, holders)
    context = {
        "form": form,
        "model": model,
        "holder": holder,
        "task": own,
        "row_id": f"task-{task}",
        "back": f"{reverse('catalog_model', args=[pk])}?for={holder.key}",
    }
    htmx = request.htmx  # type: ignore[attr-defined]
    template = "fleet/catalog_task.html#row_form" if htmx else "fleet/catalog_task.html"
    return render(request, template, context, status=422 if form.errors else 200)


def _saved(
    request: HttpRequest, model: TrimmerModel, holder: Holder, task: str, changed: bool, holders: list[Holder]
) -> HttpResponse:
    if changed:
        units = _refresh(model, holder)
        words = ngettext(
            "Saved. Due dates of %(count)d unit follow.", "Saved. Due dates of %(count)d units follow.", units
        )
        messages.success(request, words % {"count": units})
    else:
        messages.info(request, _("Nothing to change: it was like this already."))
    if request.htmx:  # type: ignore[attr-defined]
        access: Access = request.access  # type: ignore[attr-defined]
        context = _model_context(access, model, holder, holders)
        context |= {"task": context["sheet"].task(task), "oob": True}
        return render(request, "fleet/catalog_model.html#saved_row", context)
    return redirect(f"{reverse('catalog_model', args=[model.pk])}?for={holder.key}")


def _refresh(model: TrimmerModel, holder: Holder) -> int:
    """Bring the flags of the units this touches up to date; returns how many units."""
    ids = units_touched(model=model, holder=holder)
    if len(ids) <= AT_ONCE:
        refresh_after_change(unit_ids=ids)
    else:
        background.start(refresh_after_change, task="fleet.refresh_after_change", unit_ids=ids)
    return len(ids)


@allowed("edit_catalog")
def catalog_figures(request: HttpRequest, pk: int) -> HttpResponse:
    """Change a model's price, warranty, fuel and vibration figures."""
    access: Access = request.access  # type: ignore[attr-defined]
    holder, _holders = _holder(request, to_change=True)
    model = _model(request, holder, pk)
    back = f"{reverse('catalog_model', args=[pk])}?for={holder.key}"
    form = FiguresForm(posted(request), sheet=_sheet(model, holder), money=_money(access, holder))
    if request.method == "POST" and form.is_valid():
        changed = set_terms(
            model=model,
            holder=holder,
            values=form.values,
            groups=form.groups,
            by=request.user,  # type: ignore[arg-type]
        )
        if changed:
            _refresh(model, holder)
        messages.success(request, _("Saved.") if changed else _("Nothing to change: it was like this already."))
        return redirect(back)
    context = {"form": form, "model": model, "holder": holder, "back": back}
    return render(request, "fleet/catalog_figures.html", context, status=422 if form.errors else 200)


@allowed("edit_catalog")
def catalog_add(request: HttpRequest) -> HttpResponse:
    """Add a model by maker and name."""
    holder, _holders = _holder(request, to_change=True)
    form = ModelForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            model = add_model(**form.cleaned_data, holder=holder, by=request.user)  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Added. Now enter what the manual says."))
            return redirect(f"{reverse('catalog_model', args=[model.pk])}?for={holder.key}")
    context = {"form": form, "holder": holder, "back": f"{reverse('catalog')}?for={holder.key}"}
    return render(request, "fleet/catalog_add.html", context, status=422 if form.errors else 200)
