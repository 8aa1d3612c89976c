"""Scanning a unit's tag: to its page, or, signed out, to the PIN of its crew."""

from __future__ import annotations

import re

from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import public
from fleet.forms.people import PinForm, TagAddressForm
from fleet.forms.posted import posted
from fleet.limits import Limit, address_of
from fleet.models import Trimmer
from fleet.models.tenancy import all_tenants
from fleet.record.pins import who_has_pin
from fleet.views.invitations import BACKEND

# A PIN has a million values. Five tries a quarter of an hour at one tag, and fifty a day at one crew's tags together,
# leave a guesser with a chance of one in fifty in a year; honest people mistype once or twice.
PER_TAG = Limit("pin-tag", 5, 900)
PER_CREW = Limit("pin-crew", 50, 86_400)
PER_ADDRESS = Limit("pin-address", 20, 900)


def _unit(token: str) -> Trimmer | None:
    with all_tenants():
        rows = Trimmer.objects.select_related("state").filter(tag_token=token)
        return rows.first()


@public("an address that cannot be guessed; signed out it shows a tag and asks for a PIN, with few tries")
@never_cache
def tag(request: HttpRequest, token: str) -> HttpResponse:
    """What a scanned tag opens."""
    unit = _unit(token)
    if unit is None:
        raise Http404
    if request.user.is_authenticated:
        if not request.access.can("see_fleet", unit.contractor_id):  # type: ignore[attr-defined]
            raise Http404
        return redirect("unit", pk=unit.pk)
    # The tag of a unit sold, stolen or scrapped lets nobody in.
    if unit.retired_on is not None:
        raise Http404
    form = PinForm(posted(request))
    status = 200
    if request.method == "POST":
        status = 422
        if form.is_valid():
            crew = getattr(getattr(unit, "state", None), "crew_id", None) or f"none-{unit.pk}"
            # In this order, so that a tag or address already shut out does not use up the crew's tries.
            counted = [(PER_ADDRESS, address_of(request)), (PER_TAG, unit.pk), (PER_CREW, crew)]
            if not all(limit.take(whom) for limit, whom in counted):
                form.add_error(None, _("Too many tries. Wait a quarter of an hour, or sign in with a password."))
                status = 429
            else:
                with all_tenants():
                    person = who_has_pin(unit=unit, pin=form.cleaned_data["pin"])
                if person is not None:
                    for limit, whom in counted:
                        limit.give_back(whom)
                    login(request, person, backend=BACKEND)
                    return redirect("unit", pk=unit.pk)
                form.add_error("pin", _("This PIN does not open this tag. Ask your boss for a new one."))
    return render(request, "fleet/tag_sign_in.html", {"form": form, "tag": unit.tag, "token": token}, status=status)


@public("says how to sign in with a tag; nothing about any unit")
def crew_sign_in(request: HttpRequest) -> HttpResponse:
    """For people without e-mail: how it is done, and the address on the tag for those who cannot scan."""
    form = TagAddressForm(posted(request))
    if request.method == "POST" and form.is_valid():
        token = form.cleaned_data["address"].strip().rstrip("/").rsplit("/", 1)[-1]
        if re.fullmatch(r"[A-Za-z0-9_-]{8,40}", token):
            return redirect("tag", token=token)
        form.add_error("address", _("Copy the whole address, or its last part."))
    return render(request, "fleet/crew_sign_in.html", {"form": form}, status=422 if form.errors else 200)
