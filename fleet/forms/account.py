"""The form of one's own account."""

from __future__ import annotations

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy

from fleet.models import User


class AccountForm(forms.ModelForm):
    """Name, language and look."""

    display_name = forms.CharField(label=gettext_lazy("name"), max_length=80)
    language = forms.ChoiceField(label=gettext_lazy("language"), choices=settings.LANGUAGES)
    theme = forms.ChoiceField(label=gettext_lazy("look"), choices=User.THEMES, required=False, widget=forms.RadioSelect)

    class Meta:
        model = User
        fields = ("display_name", "language", "theme")
