"""How accounts come to be: by invitation only."""

from __future__ import annotations

from typing import Any, ClassVar

from allauth.account import forms as account
from allauth.account.adapter import DefaultAccountAdapter
from django import forms
from django.http import HttpRequest
from django.utils.translation import gettext_lazy as _

from fleet.vocabulary import Label

PASSWORD_HELP = _("Ten letters or more; three or four plain words do well.")
_NO_MATCH = _("This sign-in name or e-mail and this password do not go together. Try again, or ask for a new password.")


class InvitationOnlyAdapter(DefaultAccountAdapter):
    """Nobody signs up on their own: an owner, manager or administrator invites."""

    error_messages = DefaultAccountAdapter.error_messages | {
        "username_password_mismatch": _NO_MATCH,
        "email_password_mismatch": _NO_MATCH,
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False


class _OurWords:
    """The usual forms of an account, in the words of the rest of the portal; what stands in a box is no hint."""

    fields: dict[str, forms.Field]
    words: ClassVar[dict[str, Label]] = {
        "email": _("E-mail"),
        "oldpassword": _("Current password"),
        "password1": _("New password"),
        "password2": _("New password again"),
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if name in self.words:
                field.label = str(self.words[name])
            field.widget.attrs.pop("placeholder", None)
            if name == "password1":
                field.help_text = PASSWORD_HELP


class SignInForm(_OurWords, account.LoginForm):
    words = _OurWords.words | {"login": _("Sign-in name or e-mail")}


class AddEmailForm(_OurWords, account.AddEmailForm):
    pass


class ChangePasswordForm(_OurWords, account.ChangePasswordForm):
    pass


class SetPasswordForm(_OurWords, account.SetPasswordForm):
    pass


class ForgottenForm(_OurWords, account.ResetPasswordForm):
    pass


class ForgottenKeyForm(_OurWords, account.ResetPasswordKeyForm):
    pass


class StillYouForm(_OurWords, account.ReauthenticateForm):
    pass
