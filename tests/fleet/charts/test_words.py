"""The rail's words come from the catalog of translations and say in English what the drawing says by itself."""

from __future__ import annotations

from dataclasses import fields
from datetime import date

from django.utils import translation

from fleet.charts.curves import CurveWords
from fleet.charts.rail import Rail, Words, hour_rail
from fleet.charts.words import curve_words, rail_words


def test_english_is_the_same_either_way():
    with translation.override("en-us"):
        said, plain = rail_words(), Words()
        for field in fields(Words):
            if field.name not in {"number", "day"}:
                assert getattr(said, field.name) == getattr(plain, field.name), field.name
        for value in (0, 9.4, 212, 1212.6):
            assert said.number(value) == plain.number(value)
        for day in (date(2027, 4, 2), date(2026, 12, 30)):
            assert said.day(day, date(2027, 3, 8)) == plain.day(day, date(2027, 3, 8))


def test_a_rail_can_be_drawn_with_them():
    svg = hour_rail(Rail("u", last=1212, now=1240, due=1312, verb_done="replaced"), uid="a", words=rail_words())
    assert "replaced 1,212" in svg


def test_curves_say_the_same_in_english_either_way():
    with translation.override("en-us"):
        said, plain = curve_words(), CurveWords()
        for field in fields(CurveWords):
            if field.name not in {"number", "small", "percent", "money"}:
                assert getattr(said, field.name) == getattr(plain, field.name), field.name
        for value in (0, 0.123, 0.5, 1212.6):
            for kind in ("number", "small", "percent", "money"):
                assert getattr(said, kind)(value) == getattr(plain, kind)(value), (kind, value)
