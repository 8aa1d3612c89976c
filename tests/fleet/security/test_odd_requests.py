"""Requests no browser of ours sends are answered, not tripped over."""

from __future__ import annotations

import pytest
from django.urls import reverse

from tests.fleet.views.pages import errors

pytestmark = pytest.mark.django_db


def test_a_page_address_that_cannot_be_read_is_no_error(portal):
    client = portal.client("boss")
    headers = {"HTTP_HX_REQUEST": "true", "HTTP_HX_CURRENT_URL": "http://["}
    url = reverse("done", args=[portal.units["due"].pk, "grease"])
    assert client.get(url, **headers).status_code == 200


@pytest.mark.parametrize("day", ["0001-01-01", "1500-06-01"])
@pytest.mark.parametrize("field", ["registered_on", "bought_on"])
def test_a_day_before_there_were_trimmers_is_refused(portal, day, field):
    """A single unit registered in 1500 would make every scan work out half a million days for all units beside it."""
    given = {"tag": "QH-99", "model": portal.units["due"].model.pk, "guard": "on", "registered_on": "2026-01-05"}
    response = portal.client("owner").post(reverse("register_unit"), {**given, field: day})
    assert "Check the year" in errors(response)[f"id_{field}"]
