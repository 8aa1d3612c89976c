"""*Keep or replace*: which units to show, figures to try, what was decided."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.jobs import PressForm
from fleet.models import ReviewDecision
from fleet.upkeep.repair_basis import Basis, ModelFacts
from fleet.upkeep.review import KEEP, LOOK_CLOSER, REPLACE, WhatIf
from fleet.vocabulary import Label

ADVICE: dict[str, Label] = {REPLACE: _("replace"), LOOK_CLOSER: _("look closer"), KEEP: _("keep")}


class ShownForm(forms.Form):
    """Which advice to list."""

    show = forms.ChoiceField(label=_("Show"), required=False, choices=[("", _("all units in use")), *ADVICE.items()])
    q = forms.CharField(label=_("Tag or model"), required=False, max_length=80)


class WhatIfForm(forms.Form):
    """Sliders: every figure starts where it stands for the contractor."""

    price = forms.IntegerField(label=_("price of the new one, $"))
    rate = forms.IntegerField(label=_("labor, $ an hour"))
    resale = forms.IntegerField(label=_("share of price kept each season, %"))
    down = forms.IntegerField(label=_("cost of a day without it, $"))
    spare = forms.BooleanField(label=_("a spare rides on the trailer"), required=False)

    def __init__(self, asked: Any, *, new: ModelFacts, kept: float, basis: Basis, down: float, spare: bool) -> None:
        price, rate = new.price or 0.0, basis.labour_rate
        stands = {
            "price": (round(price), 50, max(round(2 * price), 100), 5),
            "rate": (round(rate), 20, max(round(2 * rate), 150), 5),
            "resale": (round(100 * kept), 0, 95, 1),
            "down": (round(down), 0, max(round(3 * down), 200), 5),
        }
        super().__init__(asked, initial={**{name: s[0] for name, s in stands.items()}, "spare": spare})
        for name, (_now, low, high, step) in stands.items():
            field = self.fields[name]
            field.min_value, field.max_value = low, high  # type: ignore[attr-defined]
            field.widget = forms.NumberInput(
                attrs={"type": "range", "min": low, "max": high, "step": step, "aria-describedby": f"said_{name}"}
            )
        self._low_high = {name: (s[1], s[2]) for name, s in stands.items()}

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        for name, (low, high) in self._low_high.items():
            value = data.get(name)
            if value is not None and not low <= value <= high:
                words = _("Choose a figure from %(low)s to %(high)s.") % {"low": low, "high": high}
                self.add_error(name, words)
        return data

    def what_if(self, model: int) -> WhatIf:
        """The figures to try."""
        data = self.cleaned_data
        return WhatIf(
            model=model,
            price=float(data["price"]),
            labour_rate=float(data["rate"]),
            kept_each_season=data["resale"] / 100,
            downtime_per_day=0.0 if data["spare"] else float(data["down"]),
        )

    def sliders(self) -> list[tuple[Any, Any]]:
        """Fields with the figure each stands at."""
        return [(self[name], self[name].value()) for name in self._low_high]


class DecisionForm(PressForm):
    """What was decided, and why."""

    decided = forms.ChoiceField(
        label=_("What did you decide?"), choices=ReviewDecision.DECIDED, widget=forms.RadioSelect
    )
    why = forms.CharField(label=_("why"), required=False, max_length=200)
