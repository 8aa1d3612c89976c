"""A PIN given out by one contractor's owner never leads to another contractor's records."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from fleet.models import Membership
from fleet.models.tenancy import all_tenants
from fleet.record.pins import reset_pin
from tests import factories


@pytest.mark.django_db
def test_an_owner_cannot_come_in_elsewhere_as_a_crew_boss_they_share(portal):
    person = portal.people["boss"]
    tag = reverse("tag", args=[portal.units["due"].tag_token])
    own = Membership.objects.get(user=person)
    with all_tenants():
        pin = reset_pin(membership=own)
    assert Client().post(tag, {"pin": pin}).status_code == 302
    elsewhere = Membership.objects.create(user=person, role="crew_boss", contractor=portal.millrace, crew=portal.park)
    assert Client().post(tag, {"pin": pin}).status_code == 422
    elsewhere.ended_on = factories.days_ago(1)
    elsewhere.save()
    assert Client().post(tag, {"pin": pin}).status_code == 302
