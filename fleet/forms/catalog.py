"""Forms of the catalog: a model, one task's interval, a model's figures, a recall notice."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.forms.fields import DayField, LimitField, PercentField
from fleet.models import ModelTerms, RecallNotice, TaskInterval
from fleet.record.catalog import Limit
from fleet.upkeep.catalog import Figure, ModelSheet, TaskFigures
from fleet.vocabulary import WARRANTY_GROUPS

MOST_HOURS, MOST_MONTHS = 5_000, 120


class ModelForm(forms.Form):
    """Maker and model as they stand on the machine."""

    maker = forms.CharField(label=gettext_lazy("maker"), max_length=60)
    name = forms.CharField(label=gettext_lazy("model"), max_length=60)


class TaskForm(forms.Form):
    """How often one task falls due: each limit a figure, *none*, or blank for not given."""

    hours = LimitField(label=gettext_lazy("engine hours"), whole=False, most=MOST_HOURS)
    months = LimitField(label=gettext_lazy("months"), whole=True, most=MOST_MONTHS)
    source = forms.ChoiceField(
        label=gettext_lazy("where the figures are from"),
        choices=list(TaskInterval._meta.get_field("source").choices or ()),
    )
    confirmed = forms.BooleanField(
        label=gettext_lazy("The manual for these machines says so"), required=False, widget=forms.HiddenInput
    )

    def __init__(self, *args: Any, own: TaskFigures, wider: TaskFigures, **kwargs: Any) -> None:
        kwargs.setdefault("auto_id", f"id_{own.task}_%s")
        kwargs.setdefault("initial", {"hours": _limit(own.hours), "months": _limit(own.months), "source": _source(own)})
        super().__init__(*args, **kwargs)
        self.fields["hours"].help_text = _left_blank(wider.hours, _("%s h"))
        self.fields["months"].help_text = _left_blank(wider.months, _("%s months"))

    def ask(self) -> None:
        """Offer the tick that lets an unlikely figure in."""
        self.fields["confirmed"].widget = forms.CheckboxInput()


def _limit(figure: Figure) -> Limit:
    return Limit(figure.own and figure.given, figure.value)


def _source(own: TaskFigures) -> str:
    mine = [f.source for f in (own.hours, own.months) if f.own]
    return mine[0] if mine else "maker"


def _left_blank(wider: Figure, unit: str) -> str:
    what = _("does not apply") if wider.value is None else unit % format(Decimal(wider.value).normalize() + 0, "f")
    whose = f"{wider.whose_word}, " if wider.whose_word else ""
    return _("Left blank: %(what)s (%(whose)s%(source)s). Write none where it does not apply.") % {
        "what": what,
        "whose": whose,
        "source": wider.source_word,
    }


class FiguresForm(forms.Form):
    """Price, warranty, fuel and vibration as this party holds them; blank: not given here."""

    price = forms.DecimalField(
        label=gettext_lazy("price new, $"), required=False, max_digits=9, decimal_places=2, min_value=Decimal("0.01")
    )
    resale_share_per_season = PercentField(
        label=gettext_lazy("share of its price kept each season, %"), required=False, min_value=0, max_value=100
    )
    warranty_months = forms.IntegerField(
        label=gettext_lazy("warranty, months"), required=False, min_value=0, max_value=240
    )
    burn_litres_per_hour = forms.DecimalField(
        label=gettext_lazy("fuel burnt, liters an hour"),
        help_text=gettext_lazy("One US gallon is 3.785 liters."),
        required=False,
        max_digits=5,
        decimal_places=3,
        min_value=Decimal("0.05"),
        max_value=Decimal(5),
    )
    vibration_ms2 = forms.DecimalField(
        label=gettext_lazy("vibration at the handles, m/s²"),
        required=False,
        max_digits=5,
        decimal_places=2,
        min_value=Decimal("0.1"),
        max_value=Decimal(60),
    )
    vibration_source = forms.ChoiceField(
        label=gettext_lazy("where the vibration figure is from"),
        required=False,
        choices=[("", gettext_lazy("not given")), *ModelTerms.VIBRATION_SOURCES],
    )
    displacement_cc = forms.DecimalField(
        label=gettext_lazy("displacement, cc"),
        required=False,
        max_digits=5,
        decimal_places=1,
        min_value=Decimal(10),
        max_value=Decimal(200),
    )
    parts_end_on = DayField(
        label=gettext_lazy("maker's parts end on"),
        required=False,
        help_text=gettext_lazy("The day from which the maker supplies no parts, where it has said so."),
    )

    def __init__(self, *args: Any, sheet: ModelSheet, money: bool, **kwargs: Any) -> None:
        initial = {name: figure.value for name, figure in sheet.terms.items() if figure.own}
        initial |= {f"group_{group}": figure.value for group, figure in sheet.groups.items() if figure.own}
        super().__init__(*args, **{**kwargs, "initial": initial})
        for group, (label, _parts) in WARRANTY_GROUPS.items():
            self.fields[f"group_{group}"] = forms.IntegerField(
                label=_("warranty on %s, months") % label,
                required=False,
                min_value=0,
                max_value=240,
                help_text=_("Only where it differs."),
            )
        if not money:
            del self.fields["price"], self.fields["resale_share_per_season"]

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        if data.get("vibration_ms2") is not None and not data.get("vibration_source"):
            self.add_error("vibration_source", _("Say where the vibration figure is from."))
        if data.get("vibration_source") and data.get("vibration_ms2") is None and "vibration_ms2" not in self.errors:
            self.add_error("vibration_ms2", _("Enter the figure this source gives."))
        return data

    @property
    def values(self) -> dict[str, Any]:
        """Figures by name, those of warranty groups left out."""
        plain = {name: value for name, value in self.cleaned_data.items() if not name.startswith("group_")}
        return {name: None if value == "" else value for name, value in plain.items()}

    @property
    def groups(self) -> dict[str, int | None]:
        return {group: self.cleaned_data[f"group_{group}"] for group in WARRANTY_GROUPS}


class NoticeForm(forms.Form):
    """A recall notice as it was published."""

    model: forms.ModelChoiceField = forms.ModelChoiceField(
        label=gettext_lazy("model"), queryset=None, empty_label=gettext_lazy("choose a model")
    )
    serials = forms.CharField(
        label=gettext_lazy("serials"),
        required=False,
        max_length=20_000,
        widget=forms.Textarea(attrs={"rows": 5, "autocapitalize": "characters", "spellcheck": "false"}),
        help_text=gettext_lazy("One a line: a serial, or FIRST - LAST for a run. Blank: every unit of the model."),
    )
    text = forms.CharField(
        label=gettext_lazy("what it says"), max_length=5_000, widget=forms.Textarea(attrs={"rows": 4})
    )
    source = forms.CharField(
        label=gettext_lazy("where it was published"),
        max_length=200,
        help_text=gettext_lazy("The maker's letter or the agency's page, so that others can read it too."),
    )
    issued_on = DayField(label=gettext_lazy("issued on"))

    def __init__(self, *args: Any, models: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["model"].queryset = models  # type: ignore[attr-defined]


class EndNoticeForm(forms.Form):
    """The day a notice ended."""

    ended_on = DayField(label=gettext_lazy("ended on"))

    def __init__(self, *args: Any, notice: RecallNotice, today: Any, **kwargs: Any) -> None:
        self.notice, self.today = notice, today
        super().__init__(*args, **{**kwargs, "initial": {"ended_on": today}})

    def clean_ended_on(self) -> Any:
        day = self.cleaned_data["ended_on"]
        if not self.notice.issued_on <= day <= self.today:
            raise ValidationError(_("The day must lie between the day it was issued and today."))
        return day
