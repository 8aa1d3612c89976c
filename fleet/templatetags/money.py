"""Amounts as they are read: whole dollars in tables and sentences, the sign before the dollar."""

from __future__ import annotations

from decimal import Decimal

from django import template
from django.utils.formats import number_format

register = template.Library()


@register.filter
def dollars(amount: float | Decimal | None, digits: int = 0) -> str:
    """$1,480 or −$90; a dash where there is no figure."""
    if amount is None:
        return "–"
    rounded = round(float(amount), digits)
    figure = number_format(abs(rounded), decimal_pos=digits, use_l10n=True, force_grouping=True)
    return f"−${figure}" if rounded < 0 else f"${figure}"


@register.filter
def percent(share: float | None) -> str:
    """34 %, less than 1 %, or a dash."""
    if share is None:
        return "–"
    if 0 < share < 0.005:
        return "<1 %"
    return f"{number_format(round(100 * share), decimal_pos=0, use_l10n=True)} %"
