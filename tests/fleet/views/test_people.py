"""People: who is where, invited, ended, given a new PIN; by whom, and by whom not."""

from __future__ import annotations

import re

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from fleet.models import Crew, Invitation, Membership
from fleet.models.tenancy import all_tenants
from tests import factories
from tests.fleet.views.pages import errors, queries, text


def invited(portal, who="owner", **said):
    return portal.client(who).post(reverse("person_invite"), {"role": "owner", "name": "Olive", "email": "", **said})


def link_in(response) -> str:
    return re.search(r'value="https?://[^/]+(/invitation/[^"]+)"', response.content.decode()).group(1)


def test_an_owner_sees_the_own_people_and_crews(portal):
    page = text(portal.client("owner").get(reverse("people")))
    assert "3 roles are held at Quarry Hill Grounds" in page
    assert "North Boss" in page
    assert "crew boss, South" in page
    assert "Park" not in page
    assert "Bench" not in page


def test_a_manager_looks_after_the_shop_alone(portal):
    client = portal.client("manager")
    page = text(client.get(reverse("people")))
    assert "Alder Street Small Engine" in page
    assert "North Boss" not in page
    assert client.get(reverse("people"), {"at": f"contractor-{portal.quarry.pk}"}).status_code == 404
    assert client.get(reverse("people"), {"at": "portal"}).status_code == 404


def test_crew_bosses_and_technicians_look_after_nobody(portal):
    for who in ("boss", "technician"):
        assert portal.client(who).get(reverse("people")).status_code == 404


def test_an_invitation_is_shown_once_and_leads_to_its_page(portal):
    response = invited(portal)
    assert response["Cache-Control"].startswith("max-age=0, no-cache")
    link = link_in(response)
    assert "Olive is invited" in text(response)
    assert "You are invited" in text(Client().get(link))
    assert link not in portal.client("owner").get(reverse("people")).content.decode()
    assert not mail.outbox


def test_with_an_address_the_link_is_mailed_too(portal):
    response = invited(portal, email="olive@example.org", name="Olive Ash")
    assert "also mailed to olive@example.org" in text(response)
    (sent,) = mail.outbox
    assert sent.to == ["olive@example.org"]
    assert link_in(response) in sent.body
    assert "Hello Olive Ash," in sent.body


def test_a_mail_that_does_not_leave_is_said(portal, monkeypatch):
    def fail(self, fail_silently=False):
        raise OSError("no way out")

    monkeypatch.setattr("django.core.mail.EmailMessage.send", fail)
    assert "did not leave" in text(invited(portal, email="olive@example.org"))
    assert Invitation.objects.count() == 1


def test_bad_invitations_are_answered_on_the_page(portal):
    assert errors(invited(portal, role="crew_boss")).keys() == {"id_crew"}
    assert errors(invited(portal, role="administrator")).keys() == {"id_role"}
    assert errors(invited(portal, role="technician")).keys() == {"id_role"}
    assert errors(invited(portal, email="no address", name="")).keys() == {"id_email", "id_name"}
    assert errors(invited(portal, role="crew_boss", crew=portal.park.pk)).keys() == {"id_crew"}
    assert not Invitation.objects.exists()


def test_nobody_invites_to_what_they_do_not_look_after(portal):
    for who, at in (
        ("owner", f"contractor-{portal.millrace.pk}"),
        ("owner", "portal"),
        ("manager", f"contractor-{portal.quarry.pk}"),
        ("owner", f"shop-{portal.shop.pk}"),
    ):
        assert invited(portal, who, at=at).status_code == 404
    assert not Invitation.objects.exists()


def test_invitations_are_bounded(portal, monkeypatch):
    from dataclasses import replace

    from fleet.views import people

    monkeypatch.setattr(people, "INVITATIONS", replace(people.INVITATIONS, tries=2))
    assert [invited(portal).status_code for _ in range(3)] == [200, 200, 422]
    assert Invitation.objects.count() == 2


def test_an_invitation_taken_back_is_dead(portal):
    link = link_in(invited(portal))
    row = Invitation.objects.get()
    assert portal.client("neighbor").post(reverse("invitation_revoke", args=[row.pk])).status_code == 404
    page = portal.client("owner").post(reverse("invitation_revoke", args=[row.pk]), follow=True)
    assert "its link no longer works" in text(page)
    assert Client().get(link).status_code == 404


def test_a_role_is_ended_after_a_look(portal):
    row = Membership.objects.get(user=portal.people["south"])
    client, url = portal.client("owner"), reverse("membership_end", args=[row.pk])
    assert "End the role of South Boss?" in text(client.get(url))
    assert Membership.objects.get(pk=row.pk).ended_on is None
    assert "South Boss no longer has this role" in text(client.post(url, follow=True))
    assert portal.client("south").get("/").status_code in {302, 404}


def test_nobody_ends_their_own_last_role(portal):
    row = Membership.objects.get(user=portal.people["owner"])
    page = text(portal.client("owner").post(reverse("membership_end", args=[row.pk])), 422)
    assert "your own last role" in page


def test_a_new_pin_is_shown_once_and_signs_others_out(portal):
    row = Membership.objects.get(user=portal.people["boss"])
    boss, url = portal.client("boss"), reverse("membership_pin", args=[row.pk])
    client = portal.client("owner")
    assert not re.search(r"\b\d{6}\b", text(client.get(url)))
    page = client.post(url)
    pin = re.search(r'class="big-code">(\d{6})<', page.content.decode()).group(1)
    assert "no-store" in page["Cache-Control"]
    assert pin not in text(client.get(reverse("people")))
    assert "account/login" in boss.get("/")["Location"]
    owner = Membership.objects.get(user=portal.people["owner"])
    assert client.post(reverse("membership_pin", args=[owner.pk])).status_code == 404


def test_crews_are_added_and_renamed(portal):
    client = portal.client("owner")
    client.post(reverse("crew_add"), {"name": "East"})
    with all_tenants():
        assert Crew.objects.filter(contractor=portal.quarry, name="East").exists()
    assert "id_name" in errors(client.post(reverse("crew_add"), {"name": "EAST"}))
    assert "id_name" in errors(client.post(reverse("crew_add"), {}))
    client.post(reverse("crew_rename", args=[portal.north.pk]), {"name": "Ridge"})
    portal.north.refresh_from_db()
    assert portal.north.name == "Ridge"
    assert client.post(reverse("crew_rename", args=[portal.park.pk]), {"name": "Ours"}).status_code == 404
    assert (
        portal.client("manager").post(reverse("crew_rename", args=[portal.north.pk]), {"name": "X"}).status_code == 404
    )


@pytest.mark.parametrize("who", ["owner", "administrator"])
def test_as_many_queries_for_twenty_people_as_for_two(portal, who):
    client = portal.client(who)
    url = f"{reverse('people')}?at=contractor-{portal.quarry.pk}"
    few = queries(client, url)
    for number in range(18):
        factories.make_person(f"p{number}", "crew_boss", crew=factories.make_crew(portal.quarry, f"C{number}"))
        invited(portal, name=f"Somebody {number}")
    assert queries(client, url) <= few + 1  # invitations are read with their inviters once there are any
