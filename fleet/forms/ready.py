"""What the Ready list is asked for."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField

LAST_DAYS = 2 * 366


class ReadyForm(forms.Form):
    """*Carry through to* and *show*; whose units stands beside it, chosen among those in sight."""

    SHOWN = [("", _("all jobs")), ("yard", _("yard jobs")), ("bench", _("bench jobs"))]
    carry = DayField(label=_("Carry through to"))
    show = forms.ChoiceField(label=_("Show"), choices=SHOWN, required=False)

    def __init__(self, *args: Any, today: dt.date, default: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._today, self._default = today, default

    def clean_carry(self) -> dt.date:
        carry: dt.date = self.cleaned_data["carry"]
        if carry < self._today:
            raise forms.ValidationError(_("Choose a day that is still to come."))
        if carry > self._today + dt.timedelta(days=LAST_DAYS):
            raise forms.ValidationError(_("Choose a day within the next two years."))
        return carry

    def before(self) -> dt.date:
        """The day asked for, or the usual one where what was asked cannot be."""
        return self.cleaned_data.get("carry") or self._default if self.is_valid() or self.is_bound else self._default

    def place(self) -> str | None:
        """yard, bench, or None for all."""
        return self.cleaned_data.get("show") or None if self.is_bound else None
