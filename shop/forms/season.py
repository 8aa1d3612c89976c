"""What a season plan is asked for."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField


class PlanForm(forms.Form):
    """Days to plan, and by when units must be due to be placed."""

    first_day = DayField(label=_("Plan from"))
    last_day = DayField(label=_("Until"), help_text=_("At most 90 days."))
    due_by = DayField(label=_("Units due by"), help_text=_("Units with bench work due by this day get a day."))
