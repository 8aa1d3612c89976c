"""Fields that several forms share: days, figures, money."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.forms.utils import flatatt
from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from fleet.record.catalog import Limit

_NONE_WORDS = frozenset({"none", "no", "n/a", "-", "–", "does not apply"})


class LongSelect(forms.Select):
    """A choice of many: its options are written in one go, where a template each takes most of a page's time."""

    def render(self, name: str, value: Any, attrs: Any = None, renderer: Any = None) -> SafeString:
        widget = self.get_context(name, value, attrs)["widget"]
        options = (option for _group, options, _index in widget["optgroups"] for option in options)
        lines = format_html_join(
            "\n", '<option value="{}"{}>{}</option>', ((o["value"], flatatt(o["attrs"]), o["label"]) for o in options)
        )
        return format_html('<select name="{}"{}>\n{}\n</select>', name, flatatt(widget["attrs"]), lines)


class DayField(forms.DateField):
    """A day, picked or typed; ISO and US dates are read."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("widget", forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}))
        super().__init__(input_formats=["%Y-%m-%d", "%m/%d/%Y"], **kwargs)


class LimitField(forms.CharField):
    """A limit of an interval: a figure, *none* where it does not apply, or blank where nothing is given."""

    def __init__(self, *, whole: bool, most: int, **kwargs: Any) -> None:
        self.whole, self.most = whole, most
        super().__init__(required=False, max_length=20, **kwargs)
        self.widget.attrs.update({"inputmode": "decimal", "autocomplete": "off"})

    def clean(self, value: Any) -> Limit:
        text = super().clean(value).strip()
        if not text:
            return Limit(False)
        if text.casefold() in _NONE_WORDS:
            return Limit(True, None)
        try:
            figure = Decimal(text.replace(",", "."))
        except InvalidOperation:
            raise ValidationError(
                _("Write a figure, none where it does not apply, or leave it blank."), code="figure"
            ) from None
        if not figure.is_finite() or not 0 < figure <= self.most:
            raise ValidationError(
                _("The figure must lie above 0 and not above %(most)d."), code="range", params={"most": self.most}
            )
        if self.whole and figure != figure.to_integral_value():
            raise ValidationError(_("Write whole months."), code="whole")
        if not self.whole and figure != figure.quantize(Decimal("0.1")):
            raise ValidationError(_("Write at most one digit after the point."), code="tenth")
        return Limit(True, figure)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Limit):
            if not value.given:
                return ""
            return "none" if value.figure is None else format(Decimal(value.figure).normalize() + 0, "f")
        return value


class PercentField(forms.DecimalField):
    """A share kept as 0..1 and shown in percent."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(decimal_places=2, max_digits=5, **kwargs)

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Decimal):
            return format((value * 100).normalize() + 0, "f")
        return value

    def clean(self, value: Any) -> Decimal | None:
        percent = super().clean(value)
        return None if percent is None else percent / 100
