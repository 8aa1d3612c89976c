"""Forms of organizations: a contractor's settings; shops, contractors and arrangements for the administrator."""

from __future__ import annotations

import re
import zoneinfo
from decimal import Decimal
from functools import lru_cache
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.forms.fields import DayField, PercentField
from fleet.models import Arrangement, Contractor, Shop
from fleet.models.people import month_day
from fleet.record.organizations import SETTINGS

_TYPED_DAY = re.compile(r"(\d{1,2})[-/.](\d{1,2})")

WEEK = (
    gettext_lazy("Monday"),
    gettext_lazy("Tuesday"),
    gettext_lazy("Wednesday"),
    gettext_lazy("Thursday"),
    gettext_lazy("Friday"),
    gettext_lazy("Saturday"),
    gettext_lazy("Sunday"),
)


@lru_cache(maxsize=1)
def zones() -> tuple[tuple[str, str], ...]:
    """Time zones of places, those of the Americas and the Pacific first."""
    names = sorted(n for n in zoneinfo.available_timezones() if "/" in n and not n.startswith(("Etc/", "SystemV/")))
    names.sort(key=lambda n: not n.startswith(("America/", "Pacific/", "US/")))
    return tuple((name, name.replace("_", " ")) for name in names)


def zone_field() -> forms.ChoiceField:
    return forms.ChoiceField(label=gettext_lazy("time zone"), choices=zones, initial="America/New_York")


class MonthDayField(forms.CharField):
    """A day of any year, MM-DD; 3/15 is read too."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("help_text", gettext_lazy("Month and day, for example 03-15."))
        super().__init__(validators=[month_day], **kwargs)
        self.widget.attrs.update({"autocomplete": "off", "maxlength": 5})

    def to_python(self, value: Any) -> str:
        text = super().to_python(value) or ""
        found = _TYPED_DAY.fullmatch(text)
        return "-".join(part.zfill(2) for part in found.groups()) if found else text

    def clean(self, value: Any) -> str:
        text = super().clean(value)
        if (text[3:] == "31" and text[:2] in {"04", "06", "09", "11"}) or (text[:2] == "02" and text[3:] > "29"):
            raise ValidationError(_("This month has no such day."), code="day")
        return text


class SettingsForm(forms.Form):
    """What the answers for a contractor rest on."""

    season_opens = MonthDayField(label=gettext_lazy("season opens"))
    season_closes = MonthDayField(label=gettext_lazy("season closes"))
    working_days = forms.MultipleChoiceField(
        label=gettext_lazy("working days"), choices=list(enumerate(WEEK)), widget=forms.CheckboxSelectMultiple
    )
    time_zone = zone_field()
    order_by = MonthDayField(
        label=gettext_lazy("pre-season order closes"),
        required=False,
        help_text=gettext_lazy("Month and day by which new units are ordered; keep or replace is decided before it."),
    )
    labour_rate = forms.DecimalField(
        label=gettext_lazy("labor rate, $ an hour"), min_value=0, max_digits=8, decimal_places=2
    )
    downtime_per_day = forms.DecimalField(
        label=gettext_lazy("cost of a day without the unit, $"), min_value=0, max_digits=8, decimal_places=2
    )
    spare_on_trailer = forms.BooleanField(
        label=gettext_lazy("A spare rides on the trailer"),
        required=False,
        help_text=gettext_lazy("Then a day down costs only beyond the spares."),
    )
    risk_limit = PercentField(
        label=gettext_lazy("risk accepted between two services, %"),
        min_value=Decimal("0.1"),
        max_value=90,
        help_text=gettext_lazy(
            "The chance of a failure before the next service. The manual's interval is never passed."
        ),
    )
    confidence_gate = PercentField(
        label=gettext_lazy("how sure before servicing earlier than the manual says, %"),
        min_value=50,
        max_value=Decimal("99.9"),
        help_text=gettext_lazy("Higher: stay closer to the manual until more failures are on record."),
    )
    stagger = forms.BooleanField(
        label=gettext_lazy("Service every second unit at half the interval"),
        required=False,
        help_text=gettext_lazy(
            "Costs some services and shows damage that one constant interval hides. Never beyond the manual's interval."
        ),
    )
    discount_rate = PercentField(
        label=gettext_lazy("discount rate a year, %"),
        min_value=0,
        max_value=50,
        help_text=gettext_lazy("What the money would earn elsewhere: money spent later weighs that much less."),
    )
    resale = PercentField(
        label=gettext_lazy("share of its price a unit keeps after three seasons, %"),
        min_value=0,
        max_value=100,
        help_text=gettext_lazy("Used where the model has no figure of its own."),
    )

    def __init__(self, *args: Any, contractor: Contractor, **kwargs: Any) -> None:
        initial = {name: getattr(contractor, name) for name in SETTINGS}
        initial["working_days"] = [str(day) for day, worked in enumerate(contractor.working_days) if worked == "1"]
        super().__init__(*args, **{**kwargs, "initial": initial})

    def clean_working_days(self) -> str:
        chosen = {int(day) for day in self.cleaned_data["working_days"]}
        return "".join("1" if day in chosen else "0" for day in range(7))

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("season_opens") and data.get("season_opens") == data.get("season_closes"):
            self.add_error("season_closes", _("A season needs more than one day."))
        return data


class ShopForm(forms.Form):
    """A new shop."""

    name = forms.CharField(label=gettext_lazy("shop"), max_length=80)
    time_zone = zone_field()


class ContractorForm(forms.Form):
    """A new contractor, with the shop that looks after it."""

    name = forms.CharField(label=gettext_lazy("contractor"), max_length=80)
    time_zone = zone_field()
    shop = forms.ModelChoiceField(
        label=gettext_lazy("looked after by"),
        queryset=Shop.objects.order_by("name"),
        required=False,
        empty_label=gettext_lazy("no shop yet"),
    )


class ArrangementForm(forms.Form):
    """A shop looks after a contractor's units from a day on."""

    shop = forms.ModelChoiceField(
        label=gettext_lazy("shop"), queryset=Shop.objects.order_by("name"), empty_label=gettext_lazy("choose a shop")
    )
    contractor = forms.ModelChoiceField(
        label=gettext_lazy("contractor"),
        queryset=Contractor.objects.order_by("name"),
        empty_label=gettext_lazy("choose a contractor"),
    )
    from_date = DayField(label=gettext_lazy("from"))


class EndArrangementForm(forms.Form):
    """The last day of an arrangement."""

    until = DayField(
        label=gettext_lazy("last day"),
        help_text=gettext_lazy("From the day after, the shop sees its own bench work only."),
    )

    def __init__(self, *args: Any, arrangement: Arrangement, **kwargs: Any) -> None:
        self.arrangement = arrangement
        super().__init__(*args, **kwargs)
