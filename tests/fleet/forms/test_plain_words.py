"""A value that is missing or wrong is answered with what to do, on every form."""

from __future__ import annotations

import pytest
from django import forms
from django.urls import reverse

from tests.fleet.forms.test_choices import every_form
from tests.fleet.views.pages import errors

#: Words of a program about itself.
PROGRAM = ("Ensure", "This field", "valid choice", "valid date", "valid email")

pytestmark = pytest.mark.django_db


def test_no_field_speaks_as_a_program():
    for form in every_form():
        for name, field in form.base_fields.items():
            said = [str(words) for words in field.error_messages.values()]
            said += [str(check.message) for check in field.validators if hasattr(check, "message")]
            for words in said:
                assert not any(word in words for word in PROGRAM), f"{form.__name__}.{name}: {words}"


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("season_opens", "spring", "Write the date as MM-DD, for example 03-15."),
        ("season_opens", "", "Fill this in."),
        ("season_closes", "02-30", "This month has no such day."),
        ("order_by", "soon", "Write the date as MM-DD"),
        ("labour_rate", "-5", "Write 0 or more."),
        ("labour_rate", "ninety", "Write a figure, for example 12.5."),
        ("labour_rate", "99999999", "at most 6 digits before the point"),
        ("risk_limit", "95", "Write 90 or less."),
        ("confidence_gate", "20", "Write 50 or more."),
        ("resale", "10.123", "at most 2 digits after the point"),
        ("time_zone", "Mars/One", "Load the page again and choose"),
        ("working_days", [], "Tick at least one."),
    ],
)
def test_wrong_settings_are_told_what_to_do(portal, field, value, words):
    url, client = reverse("contractor_settings", args=[portal.quarry.pk]), portal.client("owner")
    found = errors(client.post(url, settings() | {field: value}))
    assert words in found[f"id_{field}"]
    assert len(found) == 1
    assert client.post(url, settings()).status_code == 302


@pytest.mark.parametrize("typed", ["3/15", "3-15", "03/15", "03.15"])
def test_a_day_of_the_year_is_read_as_people_write_it(portal, typed):
    url = reverse("contractor_settings", args=[portal.quarry.pk])
    assert portal.client("owner").post(url, settings() | {"season_opens": typed}).status_code == 302
    portal.quarry.refresh_from_db()
    assert portal.quarry.season_opens == "03-15"


def settings() -> dict:
    return {
        "season_opens": "04-01",
        "season_closes": "11-15",
        "working_days": ["0", "1", "2"],
        "time_zone": "America/New_York",
        "order_by": "01-31",
        "labour_rate": "90",
        "downtime_per_day": "60",
        "risk_limit": "10",
        "confidence_gate": "65",
        "discount_rate": "8",
        "resale": "15",
    }


def test_a_plain_form_made_anywhere_speaks_so_too():
    class Form(forms.Form):
        what = forms.CharField()

    assert Form({}).errors["what"] == ["Fill this in."]
