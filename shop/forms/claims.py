"""One step of a warranty claim."""

from __future__ import annotations

import datetime as dt
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.figures import FigureField
from fleet.forms.jobs import PressForm
from shop.bench.claiming import Told
from shop.vocabulary import CLAIM_ANSWERS, CLAIM_STEPS, KEPT, LET_GO, PART_PAID, SENT


class StepForm(PressForm):
    """What every step has: its day."""

    step = ""
    on = DayField(label=_("On"))

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        kwargs.setdefault("initial", {})
        kwargs["initial"] = {"on": today} | kwargs["initial"]
        super().__init__(*args, **kwargs)

    def told(self) -> Told:
        """The step as the writer wants it."""
        data = self.cleaned_data
        return Told(data.get("answer") or self.step, data["on"], data.get("amount"), data.get("note", ""))


class KeepForm(StepForm):
    """Where the tagged part lies."""

    step = KEPT
    note = forms.CharField(label=_("Where the tagged part lies"), max_length=120)
    field_order = ["note", "on"]


class SendForm(StepForm):
    """The claim goes out."""

    step = SENT
    amount = FigureField(label=_("Asked for, $"), required=True)
    note = forms.CharField(label=_("Sent to, and under which number"), max_length=120, required=False)
    field_order = ["amount", "note", "on"]


class AnswerForm(StepForm):
    """What the maker said."""

    answer = forms.ChoiceField(
        label=_("The maker's answer"),
        choices=[(key, CLAIM_STEPS[key]) for key in CLAIM_ANSWERS],
        widget=forms.RadioSelect,
    )
    amount = FigureField(label=_("Paid, $ (when paid in part)"))
    note = forms.CharField(label=_("Why, in the maker's words (when refused)"), max_length=200, required=False)
    field_order = ["answer", "amount", "note", "on"]

    def told(self) -> Told:
        """An amount belongs to an answer in part only."""
        told = super().told()
        return told if told.step == PART_PAID else Told(told.step, told.on, None, told.note)


class LetGoForm(StepForm):
    """The part is not kept any more."""

    step = LET_GO


FORMS: dict[str, type[StepForm]] = {KEPT: KeepForm, SENT: SendForm, "answer": AnswerForm, LET_GO: LetGoForm}
