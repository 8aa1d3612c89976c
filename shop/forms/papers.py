"""What papers are asked for: size of paper, sheet of labels, where on it to begin."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.ready import ReadyForm
from fleet.paper_sizes import PAPER_SIZES, PaperSize
from shop.label_sheets import LABEL_SHEETS, LabelSheet


def paper_field() -> forms.ChoiceField:
    """The size of paper in the printer."""
    return forms.ChoiceField(label=_("Paper"), choices=[(s.key, s.label) for s in PAPER_SIZES.values()])


class PaperForm(forms.Form):
    """The paper alone, for what else is settled by its address."""

    paper = paper_field()

    def size(self) -> PaperSize:
        """The paper asked for."""
        return PAPER_SIZES[self.cleaned_data["paper"]]


class CrewSheetForm(ReadyForm):
    """Up to which day the sheet looks, and its paper."""

    show = None  # type: ignore[assignment]  # the way to leave out a field of the form above
    paper = paper_field()

    def size(self) -> PaperSize:
        """The paper asked for."""
        return PAPER_SIZES[self.cleaned_data["paper"]]


class LabelForm(forms.Form):
    """Which labels are in the printer."""

    sheet = forms.ChoiceField(
        label=_("Labels in the printer"), choices=[(s.key, s.label) for s in LABEL_SHEETS.values()]
    )
    start = forms.IntegerField(
        label=_("First label to print on"),
        min_value=1,
        initial=1,
        help_text=_("On a sheet that was begun: count along the rows, from the top left."),
    )
    outline = forms.BooleanField(
        label=_("Print dashed edges, to cut labels from plain paper or to try the sheet"), required=False
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        sheet, start = cleaned.get("sheet"), cleaned.get("start")
        if sheet and start and start > LABEL_SHEETS[sheet].count:
            most = LABEL_SHEETS[sheet].count
            self.add_error("start", _("This sheet has %(most)d labels.") % {"most": most})
        return cleaned

    def chosen_sheet(self) -> LabelSheet:
        """The sheet asked for."""
        return LABEL_SHEETS[self.cleaned_data["sheet"]]
