"""Sign-in, password and second-proof pages: each comes out in our frame, with one heading, and works."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from allauth.account.models import EmailAddress
from allauth.mfa.models import Authenticator
from allauth.mfa.recovery_codes.internal.auth import RecoveryCodes
from allauth.mfa.totp.internal.auth import TOTP, generate_totp_secret
from django.contrib.auth import get_user_model
from django.core import mail
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

pytestmark = pytest.mark.django_db
PASSWORD = "moss and straw 41"


@pytest.fixture(autouse=True)
def stay_among_account_pages(settings):
    """Where one lands after signing in depends on the role, and is tested with the roles."""
    settings.LOGIN_REDIRECT_URL = "account_email"


@pytest.fixture(autouse=True)
def limits_start_afresh(settings, request):
    """Tries are counted in the cache; each test counts from nothing."""
    settings.CACHES = {
        "default": {"BACKEND": "django.core.cache.backends.locmem.LocMemCache", "LOCATION": request.node.nodeid}
    }


@pytest.fixture
def person():
    user = get_user_model().objects.create_user("bench", email="bench@example.org", password=PASSWORD)
    EmailAddress.objects.create(user=user, email=user.email, primary=True, verified=True)
    return user


@pytest.fixture
def signed_in(client: Client, person) -> Client:
    client.post(reverse("account_login"), {"login": "bench@example.org", "password": PASSWORD})
    assert "_auth_user_id" in client.session
    return client


def check_page(response, status: int = 200) -> str:
    html = response.content.decode()
    assert response.status_code == status
    assert len(re.findall(r"<h1\b", html)) == 1
    assert re.search(r"<html lang=\"en", html)
    assert "fleet/css/tokens" in html
    assert not re.search(r"\sstyle=", html)
    title = re.search(r"<title>(.*?)</title>", html, re.S).group(1)
    assert not title.strip().startswith("·")
    ids = re.findall(r"\sid=\"([^\"]+)\"", html)
    assert len(ids) == len(set(ids)), "an id stands twice"
    for described in re.findall(r"aria-describedby=\"([^\"]+)\"", html):
        assert set(described.split()) <= set(ids)
    for label in re.findall(r"<label[^>]* for=\"([^\"]+)\"", html):
        assert label in ids
    return html


@pytest.mark.parametrize(
    "name",
    [
        "account_login",
        "account_signup",
        "account_reset_password",
        "account_reset_password_done",
        "account_reset_password_from_key_done",
        "account_inactive",
        "account_email_verification_sent",
    ],
)
def test_pages_for_anyone(client, name):
    check_page(client.get(reverse(name)))


def test_a_wrong_password_is_answered_on_the_page(client, person):
    html = check_page(client.post(reverse("account_login"), {"login": "bench@example.org", "password": "no"}))
    assert 'role="alert"' in html


def test_guessing_is_stopped_and_the_page_says_so(client, person):
    wrong = {"login": "bench@example.org", "password": "no"}
    answers = [client.post(reverse("account_login"), wrong) for _ in range(40)]
    check_page(answers[-1], status=429)


def test_a_missing_field_is_tied_to_its_error(client, person):
    html = check_page(client.post(reverse("account_login"), {"login": "bench@example.org", "password": ""}))
    assert 'aria-invalid="true"' in html
    assert 'id="id_password_error"' in html


def test_a_forgotten_password_can_be_replaced(client, person):
    client.post(reverse("account_reset_password"), {"email": "bench@example.org"})
    assert "Someone asked for a new password" in mail.outbox[0].body
    assert "allauth" not in mail.outbox[0].body + mail.outbox[0].subject
    link = re.search(r"https?://[^/]+(/\S+)", mail.outbox[0].body).group(1)
    page = client.get(link, follow=True)
    check_page(page)
    address = page.redirect_chain[-1][0]
    done = client.post(address, {"password1": "clay and slate 87", "password2": "clay and slate 87"}, follow=True)
    check_page(done)
    person.refresh_from_db()
    assert person.check_password("clay and slate 87")
    check_page(client.get(link, follow=True))  # the link works once


@pytest.mark.parametrize(
    "name",
    [
        "account_logout",
        "account_email",
        "account_change_password",
        "account_reauthenticate",
        "mfa_index",
        "mfa_activate_totp",
        "mfa_list_webauthn",
        "mfa_add_webauthn",
    ],
)
def test_pages_of_an_account(signed_in, name):
    check_page(signed_in.get(reverse(name), follow=True))


def test_the_second_proof_from_end_to_end(signed_in, person):
    totp = TOTP.activate(person, generate_totp_secret())
    RecoveryCodes.activate(person)
    for name in ("mfa_index", "mfa_deactivate_totp", "mfa_view_recovery_codes", "mfa_generate_recovery_codes"):
        check_page(signed_in.get(reverse(name), follow=True))
    check_page(signed_in.get(reverse("mfa_reauthenticate")))
    key = Authenticator.objects.create(
        user=person, type=Authenticator.Type.WEBAUTHN, data={"name": "Shop tablet", "credential": {}}
    )
    check_page(signed_in.get(reverse("mfa_list_webauthn"), follow=True))
    check_page(signed_in.get(reverse("mfa_edit_webauthn", kwargs={"pk": key.pk}), follow=True))
    check_page(signed_in.get(reverse("mfa_remove_webauthn", kwargs={"pk": key.pk}), follow=True))
    key.delete()

    fresh = Client()
    page = fresh.post(reverse("account_login"), {"login": "bench", "password": PASSWORD}, follow=True)
    html = check_page(page)
    assert reverse("mfa_authenticate") in html
    assert totp is not None
    code = person.authenticator_set.get(type=Authenticator.Type.RECOVERY_CODES).wrap().get_unused_codes()[0]
    fresh.post(reverse("mfa_authenticate"), {"code": code})
    assert "_auth_user_id" in fresh.session


@pytest.mark.parametrize("name", ["403.html", "403_csrf.html", "404.html", "429.html", "500.html"])
def test_error_pages_need_nothing(name):
    html = render_to_string(name)
    assert len(re.findall(r"<h1\b", html)) == 1
    assert "NOTPROVIDED" not in html


def test_a_look_chosen_on_this_device_is_written_into_the_page(client):
    client.cookies["look"] = "outdoors"
    assert 'data-theme="outdoors"' in client.get(reverse("account_login")).content.decode()
    client.cookies["look"] = '"><script>'
    assert "data-theme" not in client.get(reverse("account_login")).content.decode()


def test_every_sign_in_page_of_ours_is_reached_by_a_template_of_the_library():
    """A file whose name the library no longer uses would be dead, and its page back in the library's look."""
    import allauth

    theirs = Path(allauth.__file__).parent / "templates"
    ours = Path(__file__).parents[2] / "templates"
    own = {"account/menu.html", "account/password_reset_help_text.html", "account/snippets/leave.html"}
    for folder in ("account", "mfa", "allauth"):
        for path in [*(ours / folder).rglob("*.html"), *(ours / folder).rglob("*.txt")]:
            name = str(path.relative_to(ours))
            assert name in own or (theirs / name).exists(), name
