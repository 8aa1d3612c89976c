"""Figures as people type and paste them."""

from decimal import Decimal

import pytest

from fleet.forms.figures import FigureField, read_figure


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("6.5", "6.5"),
        ("6,5", "6.5"),
        (" 12 h ", "12"),
        ("1,250", "1250"),  # a comma before exactly three digits groups thousands, as in files
        ("1,250.5", "1250.5"),
        ("1 250,5", "1250.5"),
        ("0,125", "0.125"),  # nothing to group
        ("20 L", "20"),
        ("60%", "60"),
        ("0", "0"),
    ],
)
def test_reads(typed, read):
    assert read_figure(typed) == Decimal(read)


@pytest.mark.parametrize("typed", ["", "seven", "-1", "1e3", "NaN", "Infinity", "1,2,3", "3..5", "0x10"])
def test_refuses(typed):
    with pytest.raises(ValueError):
        read_figure(typed)


def test_field_keeps_two_decimals_and_takes_nothing_for_nothing():
    assert FigureField().clean("6,666") == Decimal("6666")
    assert FigureField().clean("6.666") == Decimal("6.67")
    assert FigureField().clean("") is None
