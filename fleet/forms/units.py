"""The form that registers a unit."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.forms.fields import DayField
from fleet.models import Contractor, Crew

# What a unit may be registered with: the other answers are for walks.
GUARD_AT_REGISTRATION = [
    ("on", gettext_lazy("on")),
    ("no_cutter", gettext_lazy("on, cutter missing")),
    ("damaged", gettext_lazy("cracked or loose")),
    ("off", gettext_lazy("off")),
]


class UnitForm(forms.Form):
    """A unit that joins the fleet."""

    tag = forms.CharField(
        label=gettext_lazy("tag"),
        max_length=40,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
        help_text=gettext_lazy("As painted on the machine."),
    )
    model: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("model"),
        queryset=None,
        required=False,
        empty_label=gettext_lazy("another one, named below"),
    )
    maker = forms.CharField(label=gettext_lazy("maker"), max_length=60, required=False)
    model_name = forms.CharField(label=gettext_lazy("model's name"), max_length=60, required=False)
    serial = forms.CharField(
        label=gettext_lazy("serial"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
        help_text=gettext_lazy("From the plate. Recalls, warranty and the police go by it."),
    )
    crew: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("rides with"),
        queryset=None,
        required=False,
        empty_label=gettext_lazy("nobody yet, in the yard"),
    )
    registered_on = DayField(label=gettext_lazy("registered on"))
    hours_at_registration = forms.DecimalField(
        label=gettext_lazy("engine hours that day"),
        max_digits=9,
        decimal_places=2,
        min_value=Decimal(0),
        max_value=Decimal(99_999),
        required=False,
        help_text=gettext_lazy("New: 0. Used: your best figure."),
    )
    guard = forms.ChoiceField(label=gettext_lazy("guard"), choices=GUARD_AT_REGISTRATION, widget=forms.RadioSelect)
    bought_on = DayField(label=gettext_lazy("bought on"), required=False)
    price = forms.DecimalField(
        label=gettext_lazy("price paid, $"), max_digits=9, decimal_places=2, min_value=Decimal(0), required=False
    )

    def __init__(self, *args: Any, contractor: Contractor, models: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {"registered_on": today, "guard": "on", "hours_at_registration": 0})
        super().__init__(*args, **kwargs)
        self.fields["model"].queryset = models  # type: ignore[attr-defined]
        crews = Crew.objects.filter(contractor=contractor).order_by("name", "pk")
        self.fields["crew"].queryset = crews  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("hours_at_registration") is None and "hours_at_registration" not in self.errors:
            data["hours_at_registration"] = Decimal(0)
        if not data.get("model") and "model" not in self.errors:
            for name in ("maker", "model_name"):
                if not data.get(name) and name not in self.errors:
                    self.add_error(name, _("Choose a model above, or enter maker and model."))
        return data
