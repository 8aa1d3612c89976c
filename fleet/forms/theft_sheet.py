"""Which units are gone."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import LongSelect
from fleet.record.words import name_key


def typed_tags(text: str) -> list[tuple[str, str]]:
    """Tags as typed, with commas or spaces between, each with the form it is compared in."""
    return [(word, name_key(word)) for word in re.split(r"[,;\s]+", text.strip()) if word]


class TheftForm(forms.Form):
    """Tags, or a crew whose trailer is gone; one of the two."""

    tags = forms.CharField(
        label=_("Tags"), required=False, max_length=2000, help_text=_("One or several, with commas between.")
    )
    crew: forms.ModelChoiceField = forms.ModelChoiceField(
        label=_("or everything on the trailer of"),
        queryset=None,
        required=False,
        empty_label=_("choose"),
        widget=LongSelect,
    )

    def __init__(self, asked: Any, *, crews: Any) -> None:
        super().__init__(asked)
        self.fields["crew"].queryset = crews  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and not data.get("tags", "").strip() and data.get("crew") is None:
            self.add_error("tags", _("Name the units by their tags, or choose a crew."))
        return data

    @property
    def tag_keys(self) -> list[tuple[str, str]]:
        """Tags as typed, with the form they are compared in."""
        return typed_tags(self.cleaned_data.get("tags", ""))

    @property
    def keys(self) -> list[str]:
        """Tags in the form they are compared in."""
        return [key for _word, key in self.tag_keys]
