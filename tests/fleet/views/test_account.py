"""One's own account."""

from __future__ import annotations

from django.test import Client
from django.urls import reverse

from tests.fleet.views.pages import errors, text

GOOD = {"display_name": "Olive Ash", "language": "en-us", "theme": "outdoors"}


def test_it_shows_roles_and_the_ways_to_sign_in(portal):
    page = text(portal.client("owner").get(reverse("account_menu")))
    assert "contractor owner: Quarry Hill Grounds" in page
    assert "Set a password" in page
    assert "Second proof" in page
    assert "crew boss, North: Quarry Hill Grounds" in text(portal.client("boss").get(reverse("account_menu")))


def test_name_and_look_are_kept_and_written_into_every_page(portal):
    client = portal.client("owner")
    client.cookies["look"] = "dark"
    response = client.post(reverse("account_menu"), GOOD)
    assert response.cookies["look"]["max-age"] == 0
    page = client.get(reverse("units")).content.decode()
    assert 'data-theme="outdoors"' in page
    portal.people["owner"].refresh_from_db()
    assert portal.people["owner"].display_name == "Olive Ash"
    client.post(reverse("account_menu"), {**GOOD, "theme": "device"})
    assert "data-theme" not in client.get(reverse("units")).content.decode()


def test_bad_answers_are_told_on_the_page(portal):
    client, url = portal.client("owner"), reverse("account_menu")
    assert errors(client.post(url, {**GOOD, "display_name": "", "theme": "neon", "language": "tlh"})).keys() == {
        "id_display_name",
        "id_theme",
        "id_language",
    }


def test_sign_out_everywhere_else_keeps_this_session(portal):
    here, there = portal.client("owner"), portal.client("owner")
    page = here.post(reverse("sign_out_of_all"), {"stay": "yes"}, follow=True)
    assert "Signed out everywhere else" in text(page)
    assert here.get(reverse("units")).status_code == 200
    assert there.get(reverse("units")).status_code == 302


def test_sign_out_everywhere_ends_this_one_too(portal):
    here, there = portal.client("owner"), portal.client("owner")
    here.post(reverse("sign_out_of_all"))
    assert here.get(reverse("units")).status_code == 302
    assert there.get(reverse("units")).status_code == 302
    assert portal.client("boss").get(reverse("units")).status_code == 200


def test_it_is_done_by_pressing_a_button_only(portal):
    assert portal.client("owner").get(reverse("sign_out_of_all")).status_code == 405
    strict = Client(enforce_csrf_checks=True)
    strict.force_login(portal.people["owner"], backend="django.contrib.auth.backends.ModelBackend")
    assert strict.post(reverse("sign_out_of_all")).status_code == 403


def test_a_person_without_any_role_has_an_account_page_still(portal):
    portal.people["owner"].memberships.all().delete()
    assert "You have no role here now" in text(portal.client("owner").get(reverse("account_menu")))
