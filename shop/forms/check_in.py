"""Check-in: what is said and seen at the counter."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.figures import FigureField
from fleet.forms.jobs import PressForm
from fleet.models import Contractor, Crew
from fleet.record.faults import FAULTS
from fleet.vocabulary import GUARD_STATES, LINE_STATES
from shop.bench.arriving import Told
from shop.vocabulary import FUEL_IN_IT, SYMPTOMS

# Guard faults are answered by the guard's own question.
SAFETY = [(f.key, f.words) for f in FAULTS.values() if f.holds and not f.guard]


class CheckInForm(PressForm):
    """One line's facts. Other kit has no hours, guard or jobs of the schedule."""

    phone = forms.CharField(
        label=_("Phone"), required=False, max_length=40, widget=forms.TextInput(attrs={"type": "tel"})
    )
    symptom = forms.ChoiceField(
        label=_("What is wrong?"),
        required=False,
        choices=[("", _("nothing: booked work only")), *((s.key, s.label) for s in SYMPTOMS.values())],
    )
    complaint = forms.CharField(
        label=_("In the contractor's words"), required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )
    guard = forms.ChoiceField(
        label=_("Guard as found"), required=False, widget=forms.RadioSelect, choices=list(GUARD_STATES.items())
    )
    cutting_line = forms.ChoiceField(
        label=_("Line as found"), required=False, widget=forms.RadioSelect, choices=list(LINE_STATES.items())
    )
    safety = forms.MultipleChoiceField(
        label=_("Not safe: tick what you find. It holds the unit at once."),
        required=False,
        widget=forms.CheckboxSelectMultiple,
        choices=SAFETY,
    )
    hours = FigureField(label=_("Meter reads, if it has one"))
    fuel = forms.ChoiceField(label=_("Fuel in it"), required=False, choices=[("", _("choose")), *FUEL_IN_IT.items()])
    left_with = forms.CharField(
        label=_("Left with it"), required=False, max_length=200, help_text=_("Harness, blade cover, spare head, can.")
    )
    more_jobs = forms.MultipleChoiceField(
        label=_("Also due: add to the job"), required=False, widget=forms.CheckboxSelectMultiple
    )
    promised_on = DayField(label=_("Promised for"), required=False)
    fix_up_to = FigureField(
        label=_("OK to fix up to, $"), help_text=_("Above this the shop calls first. Blank: call before anything more.")
    )
    diagnosis_charge = FigureField(label=_("Diagnosis charge, $"))

    def __init__(
        self, *args: Any, of_unit: bool, more: Sequence[tuple[str, str]] = (), charge: Decimal | None = None,
        chosen: Sequence[str] = (), **kwargs: Any,
    ) -> None:  # fmt: skip
        initial = {"diagnosis_charge": charge, "more_jobs": list(chosen), **(kwargs.pop("initial", None) or {})}
        super().__init__(*args, initial=initial, **kwargs)
        self.fields["more_jobs"].choices = list(more)  # type: ignore[attr-defined]
        if not more:
            del self.fields["more_jobs"]
        if not of_unit:
            for name in ("guard", "cutting_line", "safety", "hours", "symptom"):
                del self.fields[name]

    def told(self) -> Told:
        """The answers as the writer wants them."""
        names = Told.__dataclass_fields__
        return Told(**{name: value for name, value in self.cleaned_data.items() if name in names})


class WalkInForm(CheckInForm):
    """The same for somebody nobody expected: whose it is, and what it is where it is no unit."""

    contractor = forms.ModelChoiceField(
        label=_("Contractor"), queryset=Contractor.objects.none(), empty_label=_("choose a contractor")
    )
    crew = forms.ModelChoiceField(
        label=_("Crew"), queryset=Crew._base_manager.none(), required=False, empty_label=_("not known")
    )
    kit = forms.CharField(label=_("What is it?"), max_length=80)

    field_order = ["contractor", "crew", "kit"]

    def __init__(self, *args: Any, contractors: Any, **kwargs: Any) -> None:
        super().__init__(*args, of_unit=False, **kwargs)
        self.fields["contractor"].queryset = contractors  # type: ignore[attr-defined]
        self.fields["crew"].queryset = Crew.objects.filter(contractor__in=contractors).order_by("name", "pk")  # type: ignore[attr-defined]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        crew, contractor = data.get("crew"), data.get("contractor")
        if crew is not None and contractor is not None and crew.contractor_id != contractor.pk:
            self.add_error("crew", _("This crew is another contractor's."))
        return data


class StepForm(forms.Form):
    """A line's next state, with a few words where it waits."""

    to = forms.CharField(max_length=10)
    note = forms.CharField(required=False, max_length=120)
