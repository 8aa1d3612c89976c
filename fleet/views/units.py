"""Units in sight, registering one, and the address on a unit's tag."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import Access, allowed
from fleet.clock import today_at
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.forms.units import UnitForm
from fleet.models import Trimmer, TrimmerModel
from fleet.record.catalog import add_model
from fleet.record.tags import replace_tag
from fleet.record.units import register_unit as register
from fleet.record.writing import By, Refused
from fleet.sections import unit_actions_for
from fleet.upkeep.catalog import CONTRACTOR, Holder, models_known_to
from fleet.upkeep.job_words import state_words
from fleet.upkeep.unit_list import IN_USE, SHOWN, ListedUnit, find_units, with_signs

PER_PAGE = 50


@allowed("see_fleet")
def units(request: HttpRequest) -> HttpResponse:
    """All units in sight, by tag; a search narrows them down."""
    access: Access = request.access  # type: ignore[attr-defined]
    search = " ".join(request.GET.get("q", "").split())[:80]
    shown = request.GET.get("show", IN_USE)
    if shown not in SHOWN:
        shown = IN_USE
    page = Paginator(find_units(access.contractor_ids, search, shown), PER_PAGE).get_page(request.GET.get("page"))
    listed = with_signs(list(page.object_list), access.today)
    context = {
        "page": page,
        "lines": [(line, _sign_words(line)) for line in listed],
        "search": search,
        "shown": shown,
        "count": page.paginator.count,
        "several": len(access.contractor_ids) > 1,
        "may_register": access.can("register_unit"),
        "query": urlencode({"q": search, "show": shown}),
    }
    template = "fleet/units.html#found" if request.htmx else "fleet/units.html"  # type: ignore[attr-defined]
    return render(request, template, context)


def _sign_words(line: ListedUnit) -> str:
    if line.stops:
        return line.stops[0].sign
    return state_words(line.worst) if line.worst is not None else ""


@allowed("register_unit")
def register_unit(request: HttpRequest) -> HttpResponse:
    """Register a unit; who has several contractors says first for which."""
    access: Access = request.access  # type: ignore[attr-defined]
    open_to = [c for c in access.contractors() if access.can("register_unit", c.pk)]
    asked = request.GET.get("contractor") or request.POST.get("contractor")
    contractor = open_to[0] if len(open_to) == 1 else None
    if asked:
        contractor = next((c for c in open_to if str(c.pk) == asked), None)
        if contractor is None:
            raise Http404
    if contractor is None:
        return render(request, "fleet/register_unit.html", {"contractors": open_to})
    today = today_at(contractor)
    holder = Holder(CONTRACTOR, contractor.name, contractor_id=contractor.pk)
    known = models_known_to(access.contractor_ids, holder)
    models = TrimmerModel.objects.filter(pk__in=known).order_by("maker", "name", "pk")
    form = UnitForm(posted(request), contractor=contractor, models=models, today=today)
    if request.method == "POST" and form.is_valid():
        said = dict(form.cleaned_data)
        by = By(request.user, "screen", access.sees_as(contractor.pk))  # type: ignore[arg-type]
        try:
            with transaction.atomic():
                name = {"maker": said.pop("maker"), "name": said.pop("model_name")}
                if said["model"] is None:
                    said["model"] = add_model(**name, holder=holder, by=request.user)  # type: ignore[arg-type]
                unit = register(contractor=contractor, by=by, today=today, **said)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("%s is registered. Print its tag so that crews can scan it.") % unit.tag)
            return redirect("unit", pk=unit.pk)
    context = {"contractors": open_to, "contractor": contractor, "form": form}
    return render(request, "fleet/register_unit.html", context, status=422 if form.errors else 200)


@allowed("manage_tags")
@never_cache
def unit_tag(request: HttpRequest, pk: int) -> HttpResponse:
    """The address on a unit's tag; a lost tag's is replaced."""
    access: Access = request.access  # type: ignore[attr-defined]
    unit: Trimmer = access.unit(pk, "manage_tags")
    if request.method == "POST":
        replace_tag(unit=unit)
        messages.success(request, _("The old address no longer works. Print the new one."))
        return redirect("unit_tag", pk=pk)
    path = reverse("tag", args=[unit.tag_token])
    link = f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else request.build_absolute_uri(path)
    offers = unit_actions_for(access, "unit_tag", unit.pk, unit.contractor_id) if unit.retired_on is None else []
    return render(request, "fleet/unit_tag.html", {"unit": unit, "link": link, "offers": offers})
