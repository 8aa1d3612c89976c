"""What every form says where a value is missing or wrong: what to do about it, in words of the portal.

Django's own sentences say what a program ensures. Its classes keep them as class attributes, so they are set once, at
the start, for every form there is; a field with words of its own keeps those.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.core import validators
from django.utils.translation import gettext_lazy as _

_GONE = _("This is not among the choices any more. Load the page again and choose.")


def use_plain_words() -> None:
    """Called from ``FleetConfig.ready``, before any form is made."""
    forms.Field.default_error_messages["required"] = _("Fill this in.")
    forms.FileField.default_error_messages["required"] = _("Choose a file.")
    forms.BooleanField.default_error_messages = {"required": _("Tick this to go on.")}
    forms.ChoiceField.default_error_messages |= {"required": _("Choose one."), "invalid_choice": _GONE}
    forms.MultipleChoiceField.default_error_messages |= {
        "required": _("Tick at least one."),
        "invalid_choice": _GONE,
        "invalid_list": _GONE,
    }
    forms.ModelChoiceField.default_error_messages |= {"required": _("Choose one."), "invalid_choice": _GONE}
    forms.ModelMultipleChoiceField.default_error_messages |= {
        "required": _("Tick at least one."),
        "invalid_choice": _GONE,
        "invalid_pk_value": _GONE,
        "invalid_list": _GONE,
    }
    forms.DecimalField.default_error_messages["invalid"] = _("Write a figure, for example 12.5.")
    forms.IntegerField.default_error_messages["invalid"] = _("Write a whole number, for example 12.")
    forms.DateField.default_error_messages["invalid"] = _("Write a day as MM/DD/YYYY, for example 03/15/2026.")
    validators.MinValueValidator.message = _("Write %(limit_value)s or more.")
    validators.MaxValueValidator.message = _("Write %(limit_value)s or less.")
    validators.MinLengthValidator.message = _("Write at least %(limit_value)d characters; here are %(show_value)d.")
    validators.MaxLengthValidator.message = _("Write at most %(limit_value)d characters; here are %(show_value)d.")
    validators.EmailValidator.message = _("Write an e-mail address, like name@example.com.")
    figures: dict[str, Any] = {
        "invalid": _("Write a figure, for example 12.5."),
        "max_digits": _("Too long a figure: write at most %(max)s digits."),
        "max_decimal_places": _("Write at most %(max)s digits after the point."),
        "max_whole_digits": _("Too large a figure: write at most %(max)s digits before the point."),
    }
    validators.DecimalValidator.messages |= figures
