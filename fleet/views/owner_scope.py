"""Whose money an owner's page is about: one contractor at a time, of those the person may see the costs of."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet import background
from fleet.access import Access
from fleet.clock import today_at
from fleet.models import Contractor
from fleet.models.tenancy import all_tenants
from fleet.views.asking import whole_number


@dataclass(frozen=True)
class OwnerScope:
    """Contractors to choose from, the one chosen (None: there is none), and the day it is there."""

    contractors: list[Contractor]
    contractor: Contractor | None
    today: dt.date

    @property
    def several(self) -> bool:
        return len(self.contractors) > 1


def owner_scope(request: HttpRequest) -> OwnerScope:
    """Read the choice from the address or form; 404 for a contractor whose costs are none of the person's business."""
    access: Access = request.access  # type: ignore[attr-defined]
    open_to = [c for c in access.contractors() if access.can("see_costs", c.pk)]
    asked = whole_number(request.GET.get("contractor") or request.POST.get("contractor"))
    if asked is not None:
        chosen = next((c for c in open_to if c.pk == asked), None)
        if chosen is None:
            raise Http404
    else:
        chosen = open_to[0] if open_to else None
    return OwnerScope(open_to, chosen, today_at(chosen))


def work_out_again(request: HttpRequest, page: str, refresh: Callable[..., Any], task: str) -> HttpResponse:
    """Start ``refresh`` for the chosen contractor beside the request, and go back to the page of that name.

    ``task`` names the task that does the same in a worker.
    """
    scope = owner_scope(request)
    url = reverse(page)
    if scope.contractor is not None:

        @wraps(refresh)
        def now(contractor_id: int) -> None:
            with all_tenants():
                contractor = Contractor.objects.filter(pk=contractor_id).first()
                if contractor is not None:
                    refresh([contractor], today=today_at(contractor))

        background.start(now, task=task, contractor_id=scope.contractor.pk)
        messages.info(request, _("Working it out from today's record. Load the page again in a moment."))
        url += "?" + urlencode({"contractor": scope.contractor.pk})
    return redirect(url)
