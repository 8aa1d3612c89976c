"""Booking a visit: what comes, what else rides along, which day."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.jobs import PressForm
from shop.vocabulary import AT_SHOP, VISIT_PLACES


class UnitsField(forms.TypedMultipleChoiceField):
    """Units by their ids. One that is not the crew's any more is left out, and the rest of what was asked stands."""

    def __init__(self) -> None:
        super().__init__(coerce=_whole, empty_value=[], required=False)

    def valid_value(self, value: Any) -> bool:
        """Whether it may be asked for; whether it is listed is asked later."""
        return True


def _whole(text: str) -> int:
    return int(text) if text.isdecimal() and len(text) < 12 else 0


class WhatForm(forms.Form):
    """Step one: units from the Ready list, other kit, where the work is done."""

    units = UnitsField()
    kit = forms.CharField(
        label=_("Other kit, one piece a line"),
        required=False,
        max_length=1_800,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("For example: blower. It takes minutes on the day; no statistics are kept of it."),
    )
    yard = forms.BooleanField(
        label=_("The bench does the yard jobs too"),
        required=False,
        help_text=_("Otherwise the crew greases, cleans and changes filters itself."),
    )
    place = forms.ChoiceField(
        label=_("Where?"), choices=list(VISIT_PLACES.items()), initial=AT_SHOP, required=False, widget=forms.RadioSelect
    )

    def kit_names(self) -> tuple[str, ...]:
        """One name a line, blank lines left out."""
        return tuple(line.strip() for line in self.cleaned_data.get("kit", "").splitlines() if line.strip())


class DayForm(PressForm):
    """Step two: the day, and what the shop should know."""

    day = DayField(label=_("Day"), error_messages={"required": _("Choose a day.")})
    travel_minutes = forms.IntegerField(
        label=_("Minutes on the road, both ways"), required=False, min_value=0, max_value=240
    )
    note = forms.CharField(label=_("What the shop should know"), required=False, max_length=200)


class MoveForm(forms.Form):
    """Another day for a visit, and the version the page showed."""

    day = DayField(label=_("Day"), error_messages={"required": _("Choose a day.")})
    version = forms.IntegerField(widget=forms.HiddenInput)
