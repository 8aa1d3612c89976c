"""A long choice written in one go says what the usual one says."""

from __future__ import annotations

from django import forms
from django.test.html import parse_html

from fleet.forms.fields import LongSelect

CHOICES = [("", "choose"), (1, 'North & "West"'), (2, "South <b>")]


def test_it_is_the_same_list_as_the_usual_one():
    for value in ("", 2, "1", None, "unheard of"):
        for attrs in ({}, {"id": "id_crew", "required": True}):
            ours = LongSelect(choices=CHOICES).render("crew", value, attrs)
            assert parse_html(ours) == parse_html(forms.Select(choices=CHOICES).render("crew", value, attrs))
