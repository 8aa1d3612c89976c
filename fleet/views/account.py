"""One's own account: name, language, look, and the ways to password, second proof and signing out."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST

from fleet.access import signed_in
from fleet.forms.account import AccountForm
from fleet.forms.posted import posted
from fleet.models import User
from fleet.record.people import sign_out_everywhere
from fleet.views.organizations import role_words


@signed_in
def account_menu(request: HttpRequest) -> HttpResponse:
    """The account page. A look saved here replaces the one chosen on this device."""
    user: User = request.user  # type: ignore[assignment]
    form = AccountForm(posted(request), instance=user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, _("Saved."))
        response: HttpResponse = redirect("account_menu")
        response.delete_cookie("look")
        return response
    context = {
        "form": form,
        "roles": [
            (role_words(m), m.contractor or m.shop or _("the portal"))
            for m in request.access.memberships  # type: ignore[attr-defined]
        ],
        "has_password": user.has_usable_password(),
    }
    return render(request, "account/menu.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def sign_out_of_all(request: HttpRequest) -> HttpResponse:
    """End every session of this person, the present one too unless it is to stay."""
    user = request.user
    sign_out_everywhere(user=user)  # type: ignore[arg-type]
    if request.POST.get("stay") == "yes":
        update_session_auth_hash(request, user)  # type: ignore[arg-type]
        messages.success(request, _("Signed out everywhere else."))
        return redirect("account_menu")
    logout(request)
    return redirect("account_login")
