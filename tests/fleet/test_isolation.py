"""Who gets what: every address, every role, their own rows and others'.

The matrix is built from the address table itself, so that a page nobody classified fails here.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from django.conf import settings as django_settings
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse
from django.utils import timezone

from fleet.access import ACTIONS
from fleet.models import HoursEntry, ImportRun, Membership
from fleet.models.tenancy import all_tenants
from fleet.record.people import Place, invite
from tests import factories
from tests.paper_reading import words_of
from tests.shop.bench_rows import BENCH_ROWS, bench_row

pytestmark = pytest.mark.django_db

# Addresses of the sign-in library, with what guards them. It knows no contractor: each is about the person alone.
LIBRARY_PUBLIC = {
    "account_login": "asks for a password, few tries",
    "account_logout": "ends a session",
    "account_signup": "says that nobody signs up on their own",
    "account_inactive": "says that an account is shut",
    "account_confirm_email": "needs the key that was mailed",
    "account_email_verification_sent": "says that mail was sent",
    "account_reset_password": "mails a key to the address itself",
    "account_reset_password_done": "says that mail was sent",
    "account_reset_password_from_key": "needs the key that was mailed",
    "account_reset_password_from_key_done": "says that the password is new",
    "mfa_authenticate": "needs a session half-way through signing in",
    "account_confirm_login_code": "needs a session half-way through signing in, and the code that was mailed",
}
LIBRARY_OWN = {
    "account_change_password",
    "account_set_password",
    "account_email",
    "account_reauthenticate",
    "mfa_index",
    "mfa_reauthenticate",
    "mfa_reauthenticate_webauthn",
    "mfa_activate_totp",
    "mfa_deactivate_totp",
    "mfa_view_recovery_codes",
    "mfa_generate_recovery_codes",
    "mfa_download_recovery_codes",
    "mfa_list_webauthn",
    "mfa_add_webauthn",
    "mfa_remove_webauthn",
    "mfa_edit_webauthn",
}

# Which contractors each person of the portal reaches, said here a second time on purpose.
REACH = {
    "boss": {"quarry"},
    "owner": {"quarry"},
    "technician": {"quarry", "millrace"},
    "manager": {"quarry", "millrace"},
    "administrator": {"quarry", "millrace", "fenwick"},
    "neighbor": {"millrace"},
    "stranger": {"fenwick"},
    "other_bench": {"fenwick"},
}
ROLE = {
    "boss": "crew_boss",
    "owner": "owner",
    "technician": "technician",
    "manager": "manager",
    "administrator": "administrator",
    "neighbor": "crew_boss",
    "stranger": "crew_boss",
    "other_bench": "technician",
}
# Pages about a contractor's people: a shop's manager sees the units, and has no say in the people.
PEOPLE_OF_CONTRACTOR = {"invitation_revoke", "membership_end", "membership_pin", "crew_rename"}
# Pages about catalogs anyone holds a share of, by the action alone.
BY_ACTION_ALONE = {"recall_end", "arrangement_end"}
# Sets of uploaded files belong to the person who handed them in, whatever the contractor.
OWN_FILES = {"import_run", "import_take", "import_drop", "import_bad"}
# Pages that a role's action would open, but which have nothing for it: a shop has no crews.
NOT_FOR = {"crew_add": {"manager"}}
# What is learned of a model is a total over all fleets that have it.
MODEL_RECORD = {"model_record", "model_record_print", "component_record"}
# Words that would give another contractor away, wherever they turned up.
MARKS = {
    "quarry": ("Quarry Hill", "QH-0", "OH2310001"),
    "millrace": ("Millrace", "ME-0"),
    "fenwick": ("Fenwick", "FV-0", "FVSERIAL"),
}


@dataclass(frozen=True)
class Address:
    """One named address of the portal."""

    name: str
    view: Callable[..., Any]
    params: frozenset[str]

    @property
    def action(self) -> str | None:
        return getattr(self.view, "access_action", None)

    @property
    def ours(self) -> bool:
        return self.view.__module__.split(".")[0] in {"fleet", "shop"}


def addresses(patterns: Any = None) -> Iterator[Address]:
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns)
        elif isinstance(pattern, URLPattern):
            view = pattern.callback
            yield Address(pattern.name or str(pattern.pattern), view, frozenset(pattern.pattern.converters))


ALL = sorted(addresses(), key=lambda a: a.name)
OURS = [a for a in ALL if a.ours]
GUARDED = [a for a in OURS if a.action not in {"public", "signed_in"}]
WITH_ROWS = [a for a in GUARDED if a.params]
LISTS = [a for a in GUARDED if not a.params]


def ids(chosen: list[Address]) -> list[Any]:
    return [pytest.param(a, id=a.name) for a in chosen]


@pytest.fixture(autouse=True)
def apart(settings, request, tmp_path):
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": request.node.nodeid}
    }
    settings.MEDIA_ROOT = str(tmp_path / "media")


class Rows:
    """A real row of each contractor for every parameter an address takes."""

    def __init__(self, portal: Any) -> None:
        self.portal = portal
        with all_tenants():
            fenwick = portal.people["stranger"].memberships.get().contractor
            verge = portal.people["stranger"].memberships.get().crew
        self.contractors = {"quarry": portal.quarry, "millrace": portal.millrace, "fenwick": fenwick}
        self.crews = {"quarry": portal.north, "millrace": portal.park, "fenwick": verge}
        self.units = {
            "quarry": portal.units["due"],
            "millrace": portal.units["theirs"],
            "fenwick": factories.make_unit(verge, "FV-01", serial="FVSERIAL1", model=portal.units["due"].model),
        }
        factories.make_record(portal.units["due"].model)

    def of(self, address: Address, whose: str) -> dict[str, Any]:
        """Arguments that name a row of this contractor."""
        given: dict[str, Any] = {}
        name, contractor, unit = address.name, self.contractors[whose], self.units[whose]
        for param in address.params:
            if name in {"membership_end", "membership_pin"}:
                given[param] = Membership.objects.get(crew=self.crews[whose], role="crew_boss").pk
            elif name == "invitation_revoke":
                given[param] = self._invitation(whose).pk
            elif name == "crew_rename":
                given[param] = self.crews[whose].pk
            elif name == "contractor_settings":
                given[param] = contractor.pk
            elif name == "recall_end":
                given[param] = factories.make_notice(unit.model).pk
            elif name == "arrangement_end":
                given[param] = contractor.arrangements.get().pk
            elif name in OWN_FILES:
                given[param] = ImportRun.objects.create(owner=self._boss(whose), contractor=contractor).token
            elif param == "component":
                given[param] = "gearbox"
            elif name in MODEL_RECORD:
                given[param] = unit.model_id
            elif name in BENCH_ROWS:
                given[param] = bench_row(name, param, contractor, self.crews[whose], unit)
            elif name.startswith("catalog_"):
                given[param] = unit.model_id if param == "pk" else "grease"
            elif param == "pk":
                given[param] = unit.pk
            elif param == "task":
                given[param] = "grease"
            elif param == "kind":
                given[param] = "hours"
            elif param == "entry":
                with all_tenants():
                    given[param] = HoursEntry.objects.filter(trimmer=unit).latest("pk").pk
            elif param == "photo":
                given[param] = factories.make_photo(unit).pk
            elif param == "paper":
                given[param] = factories.make_purchase_paper(unit).pk
            elif param == "notice":
                given[param] = factories.make_notice(unit.model).pk
            elif param == "done":
                given[param] = factories.make_notice_done(unit).pk
            else:
                pytest.fail(f"{name}: say which row its parameter {param!r} names")
        return given

    def _boss(self, whose: str) -> Any:
        return Membership.objects.filter(crew=self.crews[whose]).first().user

    def _invitation(self, whose: str) -> Any:
        place = Place(contractor=self.contractors[whose])
        said = {"role": "owner", "name": "Invited", "email": "", "crew": None, "now": timezone.now()}
        return invite(place=place, by=self._boss(whose), **said)[0]


@pytest.fixture
def rows(portal, settings, tmp_path):
    settings.MEDIA_ROOT = str(tmp_path / "media")
    return Rows(portal)


def may(address: Address, who: str, whose: str) -> bool:
    """Whether this person may open this address for a row of this contractor."""
    role = ROLE[who]
    if role not in ACTIONS[address.action or ""]:
        return False
    if address.name in OWN_FILES:
        return False
    if address.name in BY_ACTION_ALONE:
        return True
    if address.name in PEOPLE_OF_CONTRACTOR and role == "manager":
        return False
    if address.name in MODEL_RECORD:
        # All three have this model; whose counts are shown is told apart in the tests of the page itself.
        return True
    if address.name.startswith("catalog_"):
        # The model is everyone's; whose figures one changes there is one's own.
        return True
    return whose in REACH[who]


def test_every_address_says_who_may_open_it():
    unclassified = [
        a.name
        for a in ALL
        if (a.ours and not (a.action in ACTIONS or a.action in {"public", "signed_in"}))
        or (not a.ours and a.name not in LIBRARY_PUBLIC.keys() | LIBRARY_OWN and not _served_by_django(a))
    ]
    assert not unclassified


def _served_by_django(address: Address) -> bool:
    return address.view.__module__.startswith("django.views.i18n")


def test_no_name_stands_for_an_address_that_is_gone():
    names = {a.name for a in ALL}
    assert names >= PEOPLE_OF_CONTRACTOR | BY_ACTION_ALONE | OWN_FILES | MODEL_RECORD
    assert LIBRARY_OWN | LIBRARY_PUBLIC.keys() <= names


def test_public_addresses_say_what_guards_them_instead():
    for address in OURS:
        if address.action == "public":
            assert len(getattr(address.view, "access_why", "")) > 20, address.name


@pytest.mark.once
@pytest.mark.parametrize("address", ids(WITH_ROWS))
def test_strangers_get_404_for_every_row(address, portal, rows):
    """By either method, as a page or in part; and those whose row it is do get in."""
    opened = 0
    for who in REACH:
        client = portal.client(who)
        for whose in MARKS:
            url = reverse(address.name, kwargs=rows.of(address, whose))
            if may(address, who, whose):
                response = client.get(url)
                opened += response.status_code in {200, 302, 405}
                assert response.status_code != 500
                continue
            for response in (client.get(url), client.post(url), client.get(url, headers={"HX-Request": "true"})):
                # Where only a button's press is taken, looking is refused before anything is looked up.
                assert response.status_code in {404, 405}, (who, whose, response.status_code)
                _gives_nothing_away(words_of(response), who, whose)
            assert client.post(url).status_code == 404, (who, whose)
    if address.name not in OWN_FILES:
        assert opened, "nobody gets in at all"


def _gives_nothing_away(html: str, who: str, whose: str) -> None:
    if whose not in REACH[who]:
        for mark in MARKS[whose]:
            assert mark not in html, f"{who} reads {mark}"


def test_uploaded_files_are_their_owners_alone(portal):
    run = ImportRun.objects.create(owner=portal.people["owner"], contractor=portal.quarry)
    for name in OWN_FILES:
        url = reverse(name, kwargs={"token": run.token})
        for who in ("manager", "administrator"):
            assert portal.client(who).get(url).status_code in {404, 405}
            assert portal.client(who).post(url).status_code == 404
        assert portal.client("owner").post(url).status_code in {200, 302}


@pytest.mark.parametrize("who", REACH)
def test_lists_open_for_the_roles_allowed_and_show_no_stranger(who, portal, rows):
    factories.make_notice(rows.units["fenwick"].model)
    client = portal.client(who)
    for address in LISTS:
        response = client.get(reverse(address.name))
        if ROLE[who] not in ACTIONS[address.action or ""] or who in NOT_FOR.get(address.name, ()):
            assert response.status_code == 404, address.name
            continue
        assert response.status_code in {200, 302, 405}, address.name
        html = words_of(response) if not response.streaming else ""
        for whose in MARKS.keys() - REACH[who]:
            _gives_nothing_away(html, who, whose)


@pytest.mark.once
def test_a_choice_in_the_address_opens_nothing(portal, rows):
    """Naming another contractor's row where an address takes a choice shows none of it."""
    fenwick = rows.contractors["fenwick"]
    choices = {
        "contractor": fenwick.pk,
        "crew": rows.crews["fenwick"].pk,
        "for": f"contractor-{fenwick.pk}",
        "at": f"contractor-{fenwick.pk}",
        "unit": rows.units["fenwick"].pk,
        "model": rows.units["fenwick"].model_id,
    }
    for who in ("owner", "manager"):
        client = portal.client(who)
        for address in LISTS:
            url = reverse(address.name)
            for param, value in choices.items():
                for response in (client.get(url, {param: value}), client.post(url, {param: value})):
                    assert response.status_code < 500, (address.name, param)
                    if not response.streaming:
                        _gives_nothing_away(words_of(response), who, "fenwick")


@pytest.mark.once
def test_signed_out_people_are_sent_to_sign_in(portal, rows):
    login = reverse(django_settings.LOGIN_URL)
    for address in OURS:
        if address.action == "public":
            continue
        url = reverse(address.name, kwargs=rows.of(address, "quarry") if address.params else {})
        for response in (Client().get(url), Client().post(url)):
            assert response.status_code == 302, address.name
            assert response["Location"].startswith(login), address.name
        part = Client().get(url, headers={"HX-Request": "true"})
        assert part.status_code == 204, address.name
        assert part["HX-Redirect"].startswith(login), address.name
        assert not part.content


@pytest.mark.once
@pytest.mark.parametrize("address", ids([a for a in OURS if a.action == "public" and "token" in a.params]))
def test_dead_links_are_404(address, portal):
    for who in (None, "owner"):
        client = Client() if who is None else portal.client(who)
        url = reverse(address.name, kwargs=dict.fromkeys(address.params, 1) | {"token": "A" * 22})
        assert client.get(url).status_code == 404
        assert client.post(url).status_code == 404


def test_a_person_whose_role_ended_sees_nothing(portal, rows):
    client = portal.client("owner")
    assert client.get("/").status_code == 200
    Membership.objects.filter(user=portal.people["owner"]).update(ended_on=dt.date.today())
    for address in LISTS:
        assert client.get(reverse(address.name)).status_code in {404, 302}, address.name


def test_a_shop_sees_nothing_once_its_arrangement_has_ended(portal, rows):
    url = reverse("unit", args=[portal.units["due"].pk])
    client = portal.client("technician")
    assert client.get(url).status_code == 200
    portal.quarry.arrangements.update(until=dt.date.today() - dt.timedelta(days=1))
    assert client.get(url).status_code == 404
    assert not re.search(r"QH-0", client.get(reverse("units")).content.decode())
