"""An estimate to be sent, and an answer that came by telephone."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.figures import FigureField
from fleet.forms.jobs import PressForm
from shop.bench.estimating import MOST_MINUTES, MOST_PARTS, Asked
from shop.estimate_sums import ANSWERS
from shop.repair_options import KINDS, WAYS

_TOO_MUCH = _("This figure is too large or below zero. Check it.")


class EstimateForm(PressForm):
    """What is proposed for one fault."""

    way = forms.ChoiceField(label=_("Way"), choices=list(WAYS.items()))
    kind = forms.ChoiceField(
        label=_("Part"), required=False, choices=[("", _("not told apart")), *KINDS.items()]
    )  # fmt: skip
    minutes = forms.IntegerField(
        label=_("Minutes"), min_value=1, max_value=MOST_MINUTES, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    # A blank would say that they are free.
    parts = FigureField(
        label=_("Parts, $"),
        required=True,
        error_messages={"required": _("Write what the parts cost; 0 where none are needed.")},
    )
    rests = forms.BooleanField(label=_("Not to be run before it is put right"), required=False)
    note = forms.CharField(
        label=_("A word to the owner"), required=False, max_length=300, widget=forms.Textarea(attrs={"rows": 2})
    )

    def clean(self) -> dict[str, object]:
        """A sum a bench can mean."""
        data: dict[str, object] = super().clean() or {}
        parts = data.get("parts")
        if isinstance(parts, Decimal) and parts > MOST_PARTS:
            self.add_error("parts", _TOO_MUCH)
        return data

    def asked(self) -> Asked:
        """The answers as the writer wants them."""
        names = Asked.__dataclass_fields__
        return Asked(**{name: value for name, value in self.cleaned_data.items() if name in names})


class CallForm(forms.Form):
    """What the owner said on the telephone."""

    said_by = forms.CharField(label=_("Who answered"), max_length=80)
    answer = forms.ChoiceField(label=_("Said"), choices=list(ANSWERS.items()), widget=forms.RadioSelect)
