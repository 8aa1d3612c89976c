"""Taking an invitation up: with a new account, or with the one signed in to."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache

from fleet.access import public
from fleet.forms.people import AcceptForm, JoinForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.limits import Limit, address_of
from fleet.models import Invitation
from fleet.record.people import Place, accept_as, accept_as_new, find_invitation
from fleet.record.writing import Refused
from fleet.views.organizations import role_words

BACKEND = "django.contrib.auth.backends.ModelBackend"
# Nobody guesses 128 bits; this keeps a try at it from costing us anything.
LOOKS = Limit("invitation-looks", 60, 600)


@public("the address cannot be guessed, works once, and runs out after 14 days")
@never_cache
def invitation(request: HttpRequest, token: str) -> HttpResponse:
    """The page an invited person opens."""
    if not LOOKS.take(address_of(request)):
        return render(request, "429.html", status=429)
    found = find_invitation(token, timezone.now())
    if found is None:
        raise Http404
    if request.user.is_authenticated:
        return _join(request, found)
    form = AcceptForm(posted(request), invitation=found)
    if request.method == "POST" and form.is_valid():
        said = {"pin": "", **form.cleaned_data}
        try:
            user = accept_as_new(invitation=found, now=timezone.now(), **said)
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            login(request, user, backend=BACKEND)
            messages.success(request, _("Welcome, %s.") % user)
            return redirect("home")
    return render(request, "fleet/invitation.html", _context(found, form), status=422 if form.errors else 200)


def _join(request: HttpRequest, found: Invitation) -> HttpResponse:
    form = JoinForm(posted(request), invitation=found)
    # A form without fields is bound by the press of its button alone.
    pressed = request.method == "POST"
    if pressed and (not form.fields or form.is_valid()):
        pin = form.cleaned_data.get("pin", "") if form.fields else ""
        try:
            accept_as(invitation=found, user=request.user, now=timezone.now(), pin=pin)  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("You have the role now."))
            return redirect("home")
    context = {**_context(found, form), "joining": True}
    return render(request, "fleet/invitation.html", context, status=422 if pressed else 200)


def _context(found: Invitation, form: AcceptForm | JoinForm) -> dict[str, object]:
    return {
        "invitation": found,
        "form": form,
        "role": role_words(found),
        "place": str(Place(found.contractor, found.shop)),
    }
