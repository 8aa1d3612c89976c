"""The portal's own pages: shops, contractors, the arrangements between them, and a contractor's settings."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django import forms
from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Count, Exists, OuterRef, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet import background
from fleet.access import Access, allowed
from fleet.clock import today_at, today_in
from fleet.forms.organizations import ArrangementForm, ContractorForm, EndArrangementForm, SettingsForm, ShopForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.models import Arrangement, Contractor, Shop, Trimmer
from fleet.record.organizations import (
    FIGURES,
    SEASON,
    add_arrangement,
    add_contractor,
    add_shop,
    change_settings,
    end_arrangement,
    refresh_season,
)
from fleet.record.writing import Refused

PER_PAGE = 50
# Up to so many units are brought up to date while the reader waits.
AT_ONCE = 1_000


@dataclass(frozen=True)
class ContractorLine:
    """A contractor with its arrangements and how many units it has in use."""

    contractor: Contractor
    arrangements: list[Arrangement]
    units: int


@allowed("manage_portal")
def portal(request: HttpRequest) -> HttpResponse:
    """Shops, contractors, and who looks after whom."""
    today = today_at(None)
    running = Q(until__isnull=True) | Q(until__gte=today)
    everyone = Contractor.objects.order_by("name", "pk")
    page = Paginator(everyone, PER_PAGE).get_page(request.GET.get("page"))
    rows: dict[int, list[Arrangement]] = {}
    for row in Arrangement.objects.filter(running, contractor__in=page.object_list).select_related("shop"):
        rows.setdefault(row.contractor_id, []).append(row)
    units = dict(
        Trimmer.objects.filter(contractor__in=page.object_list, retired_on__isnull=True)
        .values_list("contractor_id")
        .annotate(n=Count("pk"))
        .order_by()
    )
    served = Arrangement.objects.filter(running, contractor=OuterRef("pk"), from_date__lte=today)
    context = {
        "shops": list(Shop.objects.order_by("name", "pk")),
        "page": page,
        "lines": [ContractorLine(c, rows.get(c.pk, []), units.get(c.pk, 0)) for c in page.object_list],
        "contractors_count": page.paginator.count,
        "unserved": Contractor.objects.exclude(Exists(served)).count(),
        "query": "",
    }
    return render(request, "fleet/portal.html", context)


def _form_page(
    request: HttpRequest, form: forms.Form, write: Callable[..., Any], heading: str, done: str, lead: str = ""
) -> HttpResponse:
    """A form of the portal's: write what it says, or show what is wrong with it."""
    if request.method == "POST" and form.is_valid():
        try:
            write(**form.cleaned_data)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, done)
            return redirect("portal")
    context = {"form": form, "heading": heading, "lead": lead}
    return render(request, "fleet/portal_form.html", context, status=422 if form.errors else 200)


@allowed("manage_portal")
def shop_add(request: HttpRequest) -> HttpResponse:
    """Add a shop."""
    form = ShopForm(posted(request))
    return _form_page(request, form, add_shop, _("Add a shop"), _("Added. Invite its manager under People."))


@allowed("manage_portal")
def contractor_add(request: HttpRequest) -> HttpResponse:
    """Add a contractor."""
    form = ContractorForm(posted(request))

    def write(**said: Any) -> None:
        add_contractor(**said, on=today_in(said["time_zone"]))

    done = _("Added, with the usual settings. Invite its owner under People.")
    return _form_page(request, form, write, _("Add a contractor"), done)


@allowed("manage_portal")
def arrangement_add(request: HttpRequest) -> HttpResponse:
    """Let a shop look after a contractor's units."""
    form = ArrangementForm(posted(request), initial={"from_date": today_at(None)})
    lead = _("From this day on the shop sees the contractor's units and may enter work on them.")
    return _form_page(request, form, add_arrangement, _("Let a shop look after a contractor"), _("Saved."), lead)


@allowed("manage_portal")
def arrangement_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End an arrangement."""
    arrangement = Arrangement.objects.select_related("shop", "contractor").filter(pk=pk, until__isnull=True).first()
    if arrangement is None:
        raise Http404
    form = EndArrangementForm(
        posted(request), arrangement=arrangement, initial={"until": today_at(arrangement.contractor)}
    )

    def write(until: Any) -> None:
        end_arrangement(arrangement=arrangement, until=until)

    heading = _("End: %(shop)s looks after %(contractor)s") % {
        "shop": arrangement.shop,
        "contractor": arrangement.contractor,
    }
    return _form_page(request, form, write, heading, _("The last day is saved."))


@allowed("edit_contractor")
def contractor_settings(request: HttpRequest, pk: int) -> HttpResponse:
    """A contractor's season, rates and limits."""
    access: Access = request.access  # type: ignore[attr-defined]
    contractor = access.contractor(pk, "edit_contractor")
    back = f"{reverse('people')}?at=contractor-{pk}"
    form = SettingsForm(posted(request), contractor=contractor)
    if request.method == "POST" and form.is_valid():
        changed = change_settings(contractor=contractor, values=form.cleaned_data)
        if changed & (SEASON | FIGURES):
            units = Trimmer.objects.filter(contractor=contractor, retired_on__isnull=True).count()
            if units <= AT_ONCE:
                refresh_season(contractor_id=pk)
            else:
                background.start(refresh_season, task="fleet.refresh_season", contractor_id=pk)
        said = _("Saved.") if changed else _("Nothing to change: it was like this already.")
        if changed & FIGURES:
            said = _("Saved. Intervals are worked out at these figures tonight; until then the manuals' stand.")
        messages.success(request, said)
        return redirect(back)
    context = {"form": form, "contractor": contractor, "back": back}
    return render(request, "fleet/settings.html", context, status=422 if form.errors else 200)
