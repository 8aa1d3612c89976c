"""What a season plan is asked for."""

from __future__ import annotations

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from shop.bench.booking import MOST_TRAVEL


class PlanForm(forms.Form):
    """Days to plan, and by when units must be due to be placed."""

    first_day = DayField(label=_("Plan from"))
    last_day = DayField(label=_("Until"), help_text=_("At most 90 days."))
    due_by = DayField(label=_("Units due by"), help_text=_("Units with bench work due by this day get a day."))
    yard_minutes = forms.IntegerField(
        label=_("Minutes on the road for a morning at a contractor's yard, both ways"),
        required=False,
        min_value=0,
        max_value=MOST_TRAVEL,
        help_text=_("Blank: plan no yard mornings. Where the shop has been before, the last visit's minutes count."),
    )
