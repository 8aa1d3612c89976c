"""Forms about a unit's paper: a recall notice done, facts that were missing, purchase papers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.jobs import PressForm
from fleet.forms.theft_sheet import typed_tags
from fleet.forms.unit import PhotoForm
from fleet.models import Trimmer


class NoticeDoneForm(PressForm):
    """When a unit was done as a notice says, and by whom."""

    occurred_on = DayField(label=_("Done on"))
    note = forms.CharField(
        label=_("Who did it, and what was done"),
        max_length=200,
        help_text=_("As on the dealer's slip: its name, the part fitted, the slip's number."),
    )

    def __init__(self, *args: Any, today: dt.date, **kwargs: Any) -> None:
        super().__init__(*args, **{**kwargs, "initial": {"occurred_on": today}})


class FactsForm(forms.Form):
    """What is missing of a unit's paper; only that is asked for. Every field may stay empty, but not all."""

    serial = forms.CharField(
        label=_("serial"),
        max_length=60,
        required=False,
        widget=forms.TextInput(attrs={"autocapitalize": "characters", "autocomplete": "off"}),
        help_text=_("From the plate. Recalls, warranty and the police go by it."),
    )
    bought_on = DayField(label=_("bought on"), required=False)
    price = forms.DecimalField(
        label=_("price paid, $"), max_digits=9, decimal_places=2, min_value=Decimal(0), required=False
    )

    def __init__(self, *args: Any, unit: Trimmer, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in list(self.fields):
            if getattr(unit, name) not in (None, ""):
                del self.fields[name]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if not self.errors and not any(value not in (None, "") for value in data.values()):
            raise forms.ValidationError(_("Fill in at least one of them, or go back."))
        return data


class PurchasePaperForm(PhotoForm):
    """A photograph or scan of a receipt, an invoice, a registered warranty; one receipt often is of several units."""

    others = forms.CharField(
        label=_("Also the paper of"), required=False, max_length=400, help_text=_("Tags, with commas between.")
    )

    def __init__(self, *args: Any, alike: Sequence[str] = (), **kwargs: Any) -> None:
        """``alike``: tags of units that were bought the same day."""
        super().__init__(*args, **kwargs)
        self.fields["picture"].label = _("Photograph or scan")
        self.fields["caption"].label = _("What it is")
        self.fields["caption"].help_text = _("For example: receipt of Mar 4, invoice no. 118, warranty registered.")
        if alike:
            self.fields["others"].help_text = _("Tags, with commas between. Bought the same day: %s") % ", ".join(alike)

    @property
    def other_tags(self) -> list[tuple[str, str]]:
        """Tags of further units that the paper is of, as typed and as compared."""
        return typed_tags(self.cleaned_data.get("others", ""))
