"""What tests of pages share: a small portal with people of every role, and clients signed in as them."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from django.test import Client

from fleet.models import Contractor, Crew, Shop, Trimmer, User
from tests import factories
from tests.photographs import as_made_before

HTMX = {"HTTP_HX_REQUEST": "true", "HTTP_HX_TARGET": "page"}


@dataclass
class Portal:
    """A shop, two contractors under it, a third that is a stranger to both, and people of every role."""

    shop: Shop
    quarry: Contractor
    millrace: Contractor
    north: Crew
    south: Crew
    park: Crew
    people: dict[str, User]
    units: dict[str, Trimmer] = field(default_factory=dict)

    def client(self, who: str) -> Client:
        """A browser signed in as this person."""
        client = Client()
        client.force_login(self.people[who], backend="django.contrib.auth.backends.ModelBackend")
        return client

    def htmx(self, who: str, at: str = "/") -> Client:
        """The same, as htmx asks for the part that changes, from the page it stands on."""
        client = self.client(who)
        client.defaults.update({**HTMX, "HTTP_HX_CURRENT_URL": f"http://testserver{at}"})
        return client


@pytest.fixture
def fast_passwords(settings):
    """Hashing is slow on purpose; a test that only needs a password need not wait for it."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def portal(db, settings, tmp_path) -> Portal:
    """Quarry Hill Grounds with crews North and South, Millrace Estates with Park, and a stranger's Verge."""
    settings.MEDIA_ROOT = str(tmp_path / "media")
    return as_made_before("portal", _make_portal)


def _make_portal() -> Portal:
    shop = factories.make_shop()
    quarry = factories.make_contractor("Quarry Hill Grounds", shop)
    millrace = factories.make_contractor("Millrace Estates", shop)
    stranger_shop = factories.make_shop("Other Street Engine")
    fenwick = factories.make_contractor("Fenwick Verge Care", stranger_shop)
    north, south = factories.make_crew(quarry, "North"), factories.make_crew(quarry, "South")
    park, verge = factories.make_crew(millrace, "Park"), factories.make_crew(fenwick, "Verge")
    people = {
        "boss": factories.make_person("north.boss", "crew_boss", crew=north),
        "south": factories.make_person("south.boss", "crew_boss", crew=south),
        "owner": factories.make_person("quarry.owner", "owner", contractor=quarry),
        "technician": factories.make_person("bench", "technician", shop=shop),
        "manager": factories.make_person("bench.manager", "manager", shop=shop),
        "administrator": factories.make_person("portal.admin", "administrator"),
        "neighbor": factories.make_person("park.boss", "crew_boss", crew=park),
        "stranger": factories.make_person("verge.boss", "crew_boss", crew=verge),
        "other_bench": factories.make_person("other.bench", "technician", shop=stranger_shop),
    }
    often, seldom = (
        {"grease": 50, "arrestor": 50, "air_filter": 40},
        ("head", "plug", "mounts", "stop_switch", "clutch"),
    )
    model = factories.make_model("Heron", **often, **dict.fromkeys(seldom, 500), lay_up=None)
    units = {
        "due": factories.make_unit(north, "QH-01", model=model, run=60, serial="OH2310001"),
        "fresh": factories.make_unit(north, "QH-02", model=model, run=4, registered=30),
        "held": factories.make_unit(south, "QH-03", model=model, run=20),
        "theirs": factories.make_unit(park, "ME-01", model=model, run=60),
    }
    factories.see_guard(units["held"], "off", days=1)
    return Portal(shop, quarry, millrace, north, south, park, people, units)
