"""Lists to choose from say in words that nothing is chosen yet; signing in asks for what the portal calls it."""

from __future__ import annotations

import importlib
import pkgutil

import pytest
from django import forms
from django.urls import reverse

import fleet.forms
import shop.forms
from tests.fleet.views.pages import text


def every_form():
    for package in (fleet.forms, shop.forms):
        for info in pkgutil.iter_modules(package.__path__, f"{package.__name__}."):
            for thing in vars(importlib.import_module(info.name)).values():
                if isinstance(thing, type) and issubclass(thing, forms.BaseForm) and thing.__module__ == info.name:
                    yield thing


def test_no_list_begins_with_dashes():
    seen = 0
    for form in every_form():
        for name, field in form.base_fields.items():
            if isinstance(field, forms.ModelChoiceField) and not isinstance(field.widget, forms.MultipleHiddenInput):
                seen += 1
                assert "--" not in str(field.empty_label), f"{form.__name__}.{name}: say what to choose"
            elif isinstance(field, forms.ChoiceField):
                assert all("--" not in str(label) for _value, label in field.widget.choices), f"{form.__name__}.{name}"
    assert seen > 8


@pytest.mark.django_db
def test_signing_in_asks_for_the_sign_in_name(client):
    page = text(client.get(reverse("account_login")))
    assert "Sign-in name or e-mail" in page
    assert "Login" not in page
    reset = client.get(reverse("account_reset_password")).content.decode()
    assert ">E-mail<" in reset
    assert "Email" not in reset
    refused = text(client.post(reverse("account_login"), {"login": "nobody", "password": "wrong-wrong-wrong"}))
    assert "do not go together" in refused
    assert "username" not in refused.lower()
