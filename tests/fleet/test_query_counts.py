"""Every page of the address table takes as many queries for 200 units as for 2, for each kind of person."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from tests import factories
from tests.conftest import Portal
from tests.fleet.test_isolation import Address, addresses

MANY = 200
PEOPLE = ("boss", "owner", "manager", "administrator")
OURS: list[Address] = [a for a in addresses() if a.ours]


def _targets(portal: Portal) -> dict[str, str]:
    """Address of every page that opens by a plain request, with the pks of the first unit, crew and contractor."""
    values = {"pk": None, "task": "grease"}
    of_contractor = {"contractor_settings"}
    of_model = {"catalog_model", "catalog_figures", "catalog_task", "model_record", "model_record_print"}
    unit = portal.units["due"]
    found = {}
    for address in OURS:
        if address.params - set(values):
            continue  # tokens, photos and entries: one row each, whatever the number of units
        pk = {True: portal.quarry.pk}.get(address.name in of_contractor)
        if address.name in of_model:
            pk = unit.model_id
        elif pk is None:
            pk = unit.pk
        given = {name: pk if name == "pk" else values[name] for name in address.params}
        found[address.name] = reverse(address.name, kwargs=given)
    return found


def _counts(portal: Portal, who: str) -> dict[str, int]:
    client: Client = portal.client(who)
    counts = {}
    for name, url in _targets(portal).items():
        if client.get(url).status_code != 200:
            continue  # not for this person, or takes no plain request: the isolation test speaks of these
        with CaptureQueriesContext(connection) as taken:
            client.get(url)
        counts[name] = len(taken)
    return counts


@pytest.mark.slow
def test_as_many_queries_for_two_hundred_units_as_for_two(portal: Portal) -> None:
    few = {who: _counts(portal, who) for who in PEOPLE}
    assert {"ready", "hours", "guard_walk", "unit", "units"} <= set(few["owner"])
    model = portal.units["due"].model
    for number in range(MANY):
        factories.make_unit(portal.north, f"QH-{100 + number}", model=model, run=5 + number % 60)
    many = {who: _counts(portal, who) for who in PEOPLE}
    grown = {
        (who, name): (few[who][name], n)
        for who, pages in many.items()
        for name, n in pages.items()
        # A list that fills another page may add the one query that counts its pages, never one a unit.
        if n > few[who].get(name, n) + 1
    }
    assert grown == {}
