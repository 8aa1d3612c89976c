"""Figures as people type or paste them: a comma for the decimal point, spaces, a unit behind."""

from __future__ import annotations

import re
from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _

_GROUPED = re.compile(r"^[1-9]\d{0,2}(,\d{3})+(\.\d+)?$")
_UNIT = re.compile(r"\s*(h|hr|hrs|hours?|l|liters?|litres?|gal|gallons?|%)\.?$", re.IGNORECASE)


def read_figure(text: str) -> Decimal:
    """A figure above or at zero. A comma before exactly three digits groups thousands; any other is the decimal point.

    Raises ``ValueError`` for anything else.
    """
    text = _UNIT.sub("", re.sub(r"[\s\u00a0\u2009\u202f'’]", "", text))
    text = text.replace(",", "") if _GROUPED.match(text) else text.replace(",", ".", 1)
    try:
        figure = Decimal(text)
    except InvalidOperation as error:
        raise ValueError(text) from error
    if not figure.is_finite() or figure < 0 or "e" in text.lower():
        raise ValueError(text)
    return figure


class FigureField(forms.CharField):
    """A figure with at most two decimals; empty is None."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        super().__init__(max_length=20, **kwargs)
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off", "class": "figure"})

    def clean(self, value: Any) -> Any:
        text = super().clean(value)
        if not text:
            return None
        try:
            figure = read_figure(text)
        except ValueError:
            raise ValidationError(_("Write a figure, for example 6.5."), code="figure") from None
        if figure != figure.quantize(Decimal("0.01")):
            figure = figure.quantize(Decimal("0.01"))
        return figure
