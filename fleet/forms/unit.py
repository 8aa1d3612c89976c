"""Forms of a unit's page: note, picture, move, retirement, withdrawal."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.jobs import PressForm
from fleet.models import Crew
from fleet.vocabulary import Label


class NoteForm(forms.Form):
    """Free words about a unit."""

    note = forms.CharField(label=_("Note"), required=False, max_length=2_000, widget=forms.Textarea(attrs={"rows": 4}))


class PhotoForm(forms.Form):
    """A picture with a few words."""

    picture = forms.FileField(
        label=_("Picture"),
        help_text=_("JPEG, PNG or WebP, up to 10 MB. Kept smaller, and without where or when it was taken."),
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png,image/webp"}),
    )
    caption = forms.CharField(label=_("What it shows"), required=False, max_length=120)


class MoveForm(PressForm):
    """Which crew the unit rides with, and from when."""

    crew = forms.ChoiceField(label=_("Rides with"), widget=forms.RadioSelect)
    occurred_on = DayField(label=_("From"))

    def __init__(self, *args: Any, crews: Sequence[Crew], now: int | None, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "initial": {"occurred_on": today}})
        offered: list[tuple[str, Label]] = [(str(crew.pk), crew.name) for crew in crews if crew.pk != now]
        if now is not None:
            offered.append(("none", _("nobody: in the yard")))
        self.fields["crew"].choices = offered  # type: ignore[attr-defined]


class RetireForm(PressForm):
    """Why and when a unit left service."""

    REASONS = (
        ("sold", _("Sold")),
        ("scrapped", _("Scrapped")),
        ("stolen", _("Stolen")),
        ("lost", _("Lost")),
        ("other", _("Something else")),
    )
    why = forms.ChoiceField(label=_("What became of it?"), choices=REASONS, widget=forms.RadioSelect)
    words = forms.CharField(
        label=_("In your words"), required=False, max_length=90, help_text=_("Where it was last seen, who bought it.")
    )
    occurred_on = DayField(label=_("On"))

    def why_words(self) -> str:
        """The reason as it is kept; the first word is the choice's, so that lists can count it."""
        own, why = self.cleaned_data["words"].strip(), self.cleaned_data["why"]
        if why == "other":
            return own
        return f"{why}: {own}" if own else str(why)

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("why") == "other" and not data.get("words", "").strip():
            self.add_error("words", _("Say in a few words what became of it."))
        return data


class WithdrawForm(PressForm):
    """Why an entry is set aside."""

    why = forms.CharField(label=_("Why is it withdrawn?"), max_length=200)
