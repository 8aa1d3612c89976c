"""Puts a writer's refusal where the reader looks: on the field it names."""

from __future__ import annotations

from django import forms

from fleet.record.writing import Refused


def add_refusal(form: forms.Form, refusal: Refused) -> None:
    """As an error of the field it names, or of the whole form."""
    form.add_error(refusal.field if refusal.field in form.fields else None, refusal.message)
