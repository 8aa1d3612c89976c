"""Hours of a crew's units on one page, and of a whole crew for a week."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from fleet.forms.fields import DayField
from fleet.forms.figures import FigureField
from fleet.forms.jobs import PressForm
from fleet.models import Trimmer
from fleet.record.hours import HoursLine
from fleet.upkeep.entry_words import LITRES_PER_GALLON

RUN, METER, GALLONS, LITRES = "run", "meter", "gal", "l"
KINDS = (
    (RUN, _("hours run")),
    (METER, _("meter reads")),
    (GALLONS, _("gallons")),
    (LITRES, _("liters")),
)


class LineForm(forms.Form):
    """One unit's line: a figure and what it is. Left empty, nothing is recorded."""

    figure = FigureField(label=_("Figure"))
    kind = forms.ChoiceField(label=_("What it is"), choices=KINDS)
    meter_replaced = forms.BooleanField(label=_("A new meter, fitted that day"), required=False)

    def __init__(self, data: Any = None, *, unit: Trimmer, kind: str, replaced: bool = False) -> None:
        initial = {"kind": kind, "meter_replaced": replaced}
        super().__init__(data, prefix=f"u{unit.pk}", initial=initial)
        self.unit = unit
        # The unit's tag stands beside the field for the eye; a screen reader hears it with the field.
        self.fields["figure"].widget.attrs["aria-label"] = f"{unit.tag}: {self.fields['figure'].label}"
        self.fields["kind"].widget.attrs["aria-label"] = f"{unit.tag}: {self.fields['kind'].label}"

    @property
    def is_filled(self) -> bool:
        return self.cleaned_data.get("figure") is not None

    def line(self, on: dt.date) -> HoursLine:
        """The line as the ledger wants it."""
        figure, kind = self.cleaned_data["figure"], self.cleaned_data["kind"]
        if kind == GALLONS:
            figure = (figure * LITRES_PER_GALLON).quantize(Decimal("0.01"))
        return HoursLine(
            unit=self.unit,
            on=on,
            meter_hours=figure if kind == METER else None,
            hours_run=figure if kind == RUN else None,
            litres=figure if kind in (GALLONS, LITRES) else None,
            meter_replaced=kind == METER and self.cleaned_data["meter_replaced"],
        )


class HoursForm(PressForm):
    """The day all lines are of, and the yes to figures that were asked about."""

    occurred_on = DayField(
        label=_("Up to the end of"),
        help_text=_("The day the meter was read, or the last day that the hours or the fuel are for."),
    )
    sure = forms.BooleanField(label=_("These are engine hours: keep them"), required=False)

    def __init__(self, data: Any = None, *, today: dt.date, lines: Sequence[dict[str, Any]]) -> None:
        super().__init__(data, initial={"occurred_on": today})
        self.lines = [LineForm(data, **line) for line in lines]
        self.asks = False

    def is_valid(self) -> bool:
        return all([super().is_valid(), *(line.is_valid() for line in self.lines)])

    def filled(self) -> list[HoursLine]:
        """Lines that say something."""
        on = self.cleaned_data["occurred_on"]
        return [line.line(on) for line in self.lines if line.is_filled]

    def line_of(self, unit: Trimmer | None) -> LineForm | None:
        """The line of a unit."""
        return next((line for line in self.lines if unit is not None and line.unit.pk == unit.pk), None)


class CrewHoursForm(PressForm):
    """A crew's trimmer hours for one week, or the fuel its can held and the trimmers' part of it."""

    week_of = DayField(label=_("Week of"), help_text=_("Any day of it."))
    figure = FigureField(
        label=_("All trimmers together"), required=True, help_text=_("The sum over the crew's units, not per unit.")
    )
    kind = forms.ChoiceField(
        label=_("What it is"),
        choices=((RUN, _("trimmer hours")), (GALLONS, _("gallons in the can")), (LITRES, _("liters in the can"))),
    )
    share = FigureField(
        label=_("Of the can, trimmers took, %"),
        help_text=_("Only for a can that blowers and others drink from too. Empty: all of it."),
    )

    def amounts(self) -> dict[str, Decimal | None]:
        """The figure under the name the ledger has for it."""
        figure, kind = self.cleaned_data["figure"], self.cleaned_data["kind"]
        if kind == RUN:
            return {"crew_hours": figure}
        litres = figure if kind == LITRES else (figure * LITRES_PER_GALLON).quantize(Decimal("0.01"))
        share = self.cleaned_data["share"]
        return {"crew_litres": litres, "trimmer_share": None if share is None else share / 100}
