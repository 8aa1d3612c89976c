"""What the manager sets: the bench's figures, technicians' weeks, closed days, minutes of jobs."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField, PercentField
from fleet.forms.organizations import WEEK as WEEK_WORDS
from shop.bench.calendar_keeping import WEEK
from shop.models import Bench, Technician


class BenchForm(forms.Form):
    """The share held for walk-ins, and what tickets say."""

    walk_in_share = PercentField(
        label=_("Held for walk-ins, % of each day"), required=False, min_value=0, max_value=90,
        help_text=_("Blank: learned from this bench's own days, starting at 25."),
    )  # fmt: skip
    bring_by = forms.TimeField(
        label=_("Bring by"), widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        help_text=_("Who has not come by then is shown as late."),
    )  # fmt: skip
    offer_days = forms.IntegerField(label=_("An offer stands for, days"), min_value=1, max_value=60)
    unclaimed_days = forms.IntegerField(label=_("Unclaimed after, days"), min_value=1, max_value=365)
    diagnosis_charge = forms.DecimalField(
        label=_("Diagnosis charge, $"), min_value=Decimal(0), max_digits=7, decimal_places=2
    )
    phone = forms.CharField(label=_("Phone"), required=False, max_length=40)
    address = forms.CharField(label=_("Address"), required=False, max_length=160)

    def __init__(self, *args: Any, bench: Bench, **kwargs: Any) -> None:
        kwargs["initial"] = {name: getattr(bench, name) for name in self.base_fields}
        super().__init__(*args, **kwargs)


class TechnicianForm(forms.Form):
    """One technician's week."""

    name = forms.CharField(label=_("Name"), max_length=60)
    until = DayField(label=_("Last day, once it is known"), required=False)

    def __init__(self, *args: Any, technician: Technician | None = None, **kwargs: Any) -> None:
        kwargs["initial"] = {
            "name": technician.name if technician else "",
            "until": technician.until if technician else None,
            **{day: getattr(technician, day) if technician else (420 if day in WEEK[:5] else 0) for day in WEEK},
        }
        super().__init__(*args, **kwargs)
        for day, words in zip(WEEK, WEEK_WORDS, strict=True):
            self.fields[day] = forms.IntegerField(label=words, min_value=0, max_value=960)
        self.order_fields(["name", *WEEK, "until"])

    @property
    def days(self) -> list[forms.BoundField]:
        """The week's fields, Monday first."""
        return [self[day] for day in WEEK]

    def minutes(self) -> dict[str, int]:
        """Minutes by weekday."""
        return {day: self.cleaned_data[day] for day in WEEK}


class ClosedForm(forms.Form):
    """Days the bench, or one technician, does not work."""

    first = DayField(label=_("First day"))
    last = DayField(label=_("Last day"), required=False, help_text=_("Blank: only the first."))
    why = forms.CharField(label=_("Why"), required=False, max_length=80)
    technician = forms.ModelChoiceField(
        label=_("Who"), queryset=Technician.objects.none(), required=False, empty_label=_("the whole bench")
    )
    every_year = forms.BooleanField(label=_("A holiday on this date every year"), required=False)

    def __init__(self, *args: Any, technicians: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["technician"].queryset = technicians  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("first") and not data.get("last") and "last" not in self.errors:
            data["last"] = data["first"]
        return data


class MinutesForm(forms.Form):
    """The shop's own minutes for each job; blank starts from common practice."""

    def __init__(self, *args: Any, jobs: Sequence[str], own: dict[str, int | None], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for job in jobs:
            field = forms.IntegerField(required=False, min_value=1, max_value=600, initial=own.get(job))
            self.fields[job] = field

    def changed(self, own: dict[str, int | None]) -> dict[str, int | None]:
        """Only figures that differ from what stands."""
        return {job: value for job, value in self.cleaned_data.items() if value != own.get(job)}
