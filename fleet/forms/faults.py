"""A fault reported from the field."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.jobs import PressForm
from fleet.models import Trimmer
from fleet.record.faults import FAULTS
from fleet.vocabulary import COMPONENTS


class FaultForm(PressForm):
    """Which unit, what is wrong, and, where the list has no word for it, where."""

    unit = forms.ChoiceField(label=_("Unit"))
    fault = forms.ChoiceField(
        label=_("What is wrong?"),
        widget=forms.RadioSelect,
        choices=(
            (_("Not safe to start: holds the unit at once"), [(f.key, f.words) for f in FAULTS.values() if f.holds]),
            (
                _("Do not start it until the shop has looked"),
                [(f.key, f.words) for f in FAULTS.values() if f.stops],
            ),
            (_("For the bench"), [(f.key, f.words) for f in FAULTS.values() if not (f.holds or f.stops)]),
        ),
    )
    words = forms.CharField(
        label=_("In your words"),
        required=False,
        max_length=140,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text=_("When it happens, what was done before. Stop the engine and let it cool before you look."),
    )
    component = forms.ChoiceField(
        label=_("Something else: which part?"), required=False, choices=[("", _("choose")), *COMPONENTS.items()]
    )
    occurred_on = DayField(label=_("Seen on"))

    def __init__(self, *args: Any, units: Sequence[Trimmer], today: dt.date, **kwargs: Any) -> None:
        kwargs["initial"] = {"occurred_on": today, **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)
        offered = [(str(u.pk), f"{u.tag} · {u.model}") for u in units]
        self.fields["unit"].choices = offered if len(offered) == 1 else [("", _("choose")), *offered]  # type: ignore[attr-defined]
        self._units = {str(u.pk): u for u in units}

    def unit_chosen(self) -> Trimmer:
        """The unit named in the form, one of those offered."""
        return self._units[self.cleaned_data["unit"]]
