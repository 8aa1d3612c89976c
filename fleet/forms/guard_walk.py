"""The guard walk: three answers a unit at most, one where all is well."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.jobs import PressForm
from fleet.models import Trimmer
from fleet.record.guard_walk import Seen
from fleet.vocabulary import GUARD_STATES, LINE_STATES, SAFETY_STATES

ALL_GOOD = "good"
# Beside *all good*: the guard as it was found; the line and the rest are asked only then.
GUARD_CHOICES = (
    (ALL_GOOD, _("all good")),
    ("refitted", GUARD_STATES["refitted"]),
    ("off", GUARD_STATES["off"]),
    ("damaged", GUARD_STATES["damaged"]),
    ("no_cutter", _("cutter missing")),
    ("on", _("on, something else")),
    ("", _("not looked at")),
)


class SeenForm(forms.Form):
    """What was seen of one unit."""

    guard = forms.ChoiceField(label=_("Guard"), choices=GUARD_CHOICES, widget=forms.RadioSelect, required=False)
    line = forms.ChoiceField(
        label=_("Line"), choices=list(LINE_STATES.items()), widget=forms.RadioSelect, required=False
    )
    safety = forms.ChoiceField(
        label=_("Safety"), choices=list(SAFETY_STATES.items()), widget=forms.RadioSelect, required=False
    )

    def __init__(self, data: Any = None, *, unit: Trimmer) -> None:
        super().__init__(data, prefix=f"u{unit.pk}", initial={"guard": ""})
        self.unit = unit

    def seen(self) -> Seen:
        """The answers as the ledger wants them; *all good* answers for guard, line and safety."""
        data = self.cleaned_data
        if data["guard"] == ALL_GOOD:
            return Seen(self.unit, guard="on", line="ok", safety="ok")
        return Seen(self.unit, guard=data["guard"], line=data["line"], safety=data["safety"])


class WalkForm(PressForm):
    """The day of the walk and one form for each unit."""

    occurred_on = DayField(label=_("Walk of"))

    def __init__(self, data: Any = None, *, today: dt.date, units: Sequence[Trimmer]) -> None:
        super().__init__(data, initial={"occurred_on": today})
        self.units = [SeenForm(data, unit=unit) for unit in units]

    def is_valid(self) -> bool:
        return all([super().is_valid(), *(unit.is_valid() for unit in self.units)])

    def seen(self) -> list[Seen]:
        """Units something was seen of."""
        rows = [unit.seen() for unit in self.units]
        return [row for row in rows if row.guard or row.line or row.safety]
