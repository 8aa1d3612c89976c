"""How accounts come to be: by invitation only."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.account.forms import LoginForm
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

_NO_MATCH = _("This sign-in name or e-mail and this password do not go together. Try again, or ask for a new password.")


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Nobody signs up on their own: an owner, manager or administrator invites."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": _NO_MATCH,
        "email_password_mismatch": _NO_MATCH,
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False


class SignInForm(LoginForm):
    """The usual form, in the words of the rest of the portal."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["login"].label = _("Sign-in name or e-mail")
        del self.fields["login"].widget.attrs["placeholder"]
