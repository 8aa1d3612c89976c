"""A role at one contractor gives nothing at another where the same person has a smaller one."""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.urls import reverse

from fleet.models import CatalogChange, Membership, ModelTerms
from tests.fleet.views.pages import text

pytestmark = pytest.mark.django_db


def test_an_owner_sees_no_prices_where_they_are_a_crew_boss(portal):
    model, person = portal.units["theirs"].model, portal.people["owner"]
    Membership.objects.create(user=person, role="crew_boss", contractor=portal.millrace, crew=portal.park)
    ModelTerms.objects.create(model=model, contractor=portal.millrace, price=Decimal("431.17"))
    CatalogChange.objects.create(
        model=model, contractor=portal.millrace, what="terms", after={"price": "431.17"}, author=person
    )
    at_millrace = f"?for=contractor-{portal.millrace.pk}"
    client = portal.client("owner")
    for url in (reverse("catalog_model", args=[model.pk]), reverse("catalog")):
        assert "431.17" not in text(client.get(url + at_millrace))
    Membership.objects.filter(user=person, contractor=portal.millrace).update(role="owner", crew=None)
    assert "431.17" in text(client.get(reverse("catalog_model", args=[model.pk]) + at_millrace))
