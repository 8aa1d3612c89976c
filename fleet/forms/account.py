"""The form of one's own account."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy

from fleet.models import User

# No look of one's own: whatever the device asks for.
DEVICE = "device"


class AccountForm(forms.ModelForm):
    """Name, language and look."""

    display_name = forms.CharField(label=gettext_lazy("name"), max_length=80)
    language = forms.ChoiceField(label=gettext_lazy("language"), choices=settings.LANGUAGES)
    theme = forms.ChoiceField(
        label=gettext_lazy("look"),
        choices=[(value or DEVICE, label) for value, label in User.THEMES],
        widget=forms.RadioSelect,
    )

    class Meta:
        model = User
        fields = ("display_name", "language", "theme")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["theme"] = self.instance.theme or DEVICE

    def clean_theme(self) -> str:
        chosen: str = self.cleaned_data["theme"]
        return "" if chosen == DEVICE else chosen
