"""Tries are counted and files kept for each test by itself."""

from __future__ import annotations

from decimal import Decimal

import pytest

from fleet.models import ModelTerms
from fleet.models.tenancy import all_tenants
from tests import factories


@pytest.fixture(autouse=True)
def apart(settings, request, tmp_path):
    """A cache and a place for uploads of this test's own."""
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": request.node.nodeid}
    }
    settings.MEDIA_ROOT = str(tmp_path / "media")


@pytest.fixture
def at_once(monkeypatch):
    """Work beside the request is done before it answers."""
    monkeypatch.setattr("fleet.background.start", lambda work, *, task="", **kwargs: work(**kwargs))


@pytest.fixture
def told(portal):
    """Prices, a year's warranty on units bought lately, and faults."""
    due, fresh = portal.units["due"], portal.units["fresh"]
    ModelTerms.objects.create(
        model=due.model,
        contractor=portal.quarry,
        price=Decimal(400),
        warranty_months=12,
        warranty_by_group={"drive": 3},
    )
    with all_tenants():
        for unit in (due, fresh):
            unit.bought_on = factories.days_ago(180)
            unit.save()
    for number in range(10):
        factories.break_part(due, "carburetor", days=150 - 11 * number, parts_cost=Decimal(60), warranty=True)
    return portal
