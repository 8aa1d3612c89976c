"""Forms of people: inviting, taking an invitation up, crews."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.accounts import PASSWORD_HELP
from fleet.models import Invitation, Role, User
from fleet.record.people import Place
from fleet.record.pins import PIN_DIGITS


def pin_field(**kwargs: Any) -> forms.CharField:
    """Six digits, typed on a number pad and not shown."""
    attrs = {"inputmode": "numeric", "pattern": f"[0-9]{{{PIN_DIGITS}}}", "maxlength": str(PIN_DIGITS)}
    widget = forms.PasswordInput(attrs={**attrs, "autocomplete": kwargs.pop("autocomplete", "off")})
    return forms.CharField(label=gettext_lazy("PIN, six digits"), max_length=PIN_DIGITS, widget=widget, **kwargs)


class InviteForm(forms.Form):
    """Who is to come, as what."""

    role = forms.ChoiceField(label=gettext_lazy("role"), widget=forms.RadioSelect)
    crew: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("crew"),
        queryset=None,
        required=False,
        help_text=gettext_lazy("A crew boss leads one: choose it. An owner needs none."),
        empty_label=gettext_lazy("no crew"),
    )
    name = forms.CharField(label=gettext_lazy("name"), max_length=80)
    email = forms.EmailField(
        label=gettext_lazy("e-mail"),
        required=False,
        help_text=gettext_lazy("With an address the link is mailed too. Without one, hand the link over yourself."),
    )

    def __init__(self, *args: Any, place: Place, crews: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        roles = [(value, label) for value, label in Role.choices if value in place.roles]
        self.fields["role"].choices = roles  # type: ignore[attr-defined]
        if len(roles) == 1:
            self.initial["role"] = roles[0][0]
        if Role.CREW_BOSS.value in place.roles:
            self.fields["crew"].queryset = crews  # type: ignore[attr-defined]
        else:
            del self.fields["crew"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        boss = data.get("role") == Role.CREW_BOSS
        if boss and not data.get("crew") and "crew" not in self.errors:
            self.add_error("crew", _("Choose the crew."))
        if not boss:
            data["crew"] = None
        return data


class AcceptForm(forms.Form):
    """A new account: a name, and a password with a sign-in name or e-mail; a crew boss may have a PIN instead."""

    name = forms.CharField(label=gettext_lazy("your name"), max_length=80)
    email = forms.EmailField(
        label=gettext_lazy("e-mail"), required=False, widget=forms.EmailInput(attrs={"autocomplete": "email"})
    )
    username = forms.CharField(
        label=gettext_lazy("sign-in name"),
        required=False,
        max_length=60,
        validators=User._meta.get_field("username").validators,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autocapitalize": "none"}),
        help_text=gettext_lazy("Letters, digits and @ . + - _ ; not needed with an e-mail."),
    )
    password = forms.CharField(
        label=gettext_lazy("password"),
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text=PASSWORD_HELP,
    )

    def __init__(self, *args: Any, invitation: Invitation, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"name": invitation.invited_name, "email": invitation.email})
        super().__init__(*args, **kwargs)
        self.crew_boss = invitation.role == Role.CREW_BOSS
        # Said beside the field: an owner signs in with nothing else.
        self.fields["password"].required = not self.crew_boss
        self.fields["password"].error_messages["required"] = _("Choose a password.")
        if self.crew_boss:
            self.fields["pin"] = pin_field(
                required=False,
                autocomplete="new-password",
                help_text=_("Scan the tag of one of your crew's units and type it: no e-mail or password needed."),
            )

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        password, pin = data.get("password"), data.get("pin", "")
        if password:
            if not data.get("email") and not data.get("username") and not self.errors.keys() & {"email", "username"}:
                self.add_error("username", _("Enter an e-mail or a sign-in name to go with the password."))
            person = User(username=data.get("username", ""), email=data.get("email", ""))
            person.display_name = data.get("name", "")
            try:
                validate_password(password, person)
            except ValidationError as error:
                self.add_error("password", error)
        elif self.crew_boss and not pin and "pin" not in self.errors:
            self.add_error("pin", _("Choose a PIN, or a password above."))
        return data


class JoinForm(forms.Form):
    """Taking a role on with the account one is signed in to; a crew boss may choose a PIN."""

    def __init__(self, *args: Any, invitation: Invitation, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if invitation.role == Role.CREW_BOSS:
            self.fields["pin"] = pin_field(required=False, autocomplete="new-password")


class CrewForm(forms.Form):
    """A crew's name."""

    name = forms.CharField(label=gettext_lazy("crew"), max_length=60)


class PinForm(forms.Form):
    """The PIN that goes with a scanned tag."""

    pin = pin_field()

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["pin"].widget.attrs["autofocus"] = True


class TagAddressForm(forms.Form):
    """The address printed on a tag, or its last part."""

    address = forms.CharField(
        label=gettext_lazy("address on the tag"),
        max_length=200,
        widget=forms.TextInput(attrs={"autocapitalize": "none", "autocomplete": "off", "spellcheck": "false"}),
    )
