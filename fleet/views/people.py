"""People: who has which role where, invitations, crews, PINs."""

from __future__ import annotations

import logging

from django.conf import settings
from django.contrib import messages
from django.core.mail import EmailMessage
from django.db.models import Count, Q
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed
from fleet.clock import today_at
from fleet.forms.people import CrewForm, InviteForm
from fleet.forms.posted import posted
from fleet.forms.refusals import add_refusal
from fleet.limits import Limit
from fleet.models import Crew, Invitation, Membership, Role
from fleet.models.people import in_office
from fleet.record.people import (
    Place,
    add_crew,
    end_membership,
    invite,
    open_invitations,
    rename_crew,
    revoke_invitation,
)
from fleet.record.pins import reset_pin
from fleet.record.writing import Refused
from fleet.views.organizations import Organization, chosen, managed, organization_of, role_words

log = logging.getLogger(__name__)
INVITATIONS = Limit("invitations", 60, 3600)


def _back(organization: Organization) -> str:
    return f"{reverse('people')}?at={organization.key}"


@allowed("manage_people")
def people(request: HttpRequest) -> HttpResponse:
    """The people, open invitations and crews of one organization."""
    access: Access = request.access  # type: ignore[attr-defined]
    organizations = managed(access)
    organization = chosen(request, organizations)
    place, now = organization.place, timezone.now()
    here = place.columns
    if place == Place():
        here = {"contractor": None, "shop": None, "role": Role.ADMINISTRATOR}
    members = list(
        Membership.objects.filter(in_office(today_at(place.contractor or place.shop)), **here)
        .select_related("user", "crew")
        .order_by("role", "user__display_name", "user__username", "pk")
    )
    crews = None
    if place.contractor is not None:
        crews = (
            Crew.objects.filter(contractor=place.contractor)
            .annotate(bosses=Count("membership", filter=Q(membership__ended_on__isnull=True)))
            .order_by("name", "pk")
        )
    context = {
        "organization": organization,
        "organizations": organizations,
        "members": [(m, role_words(m)) for m in members],
        "invitations": [
            (i, role_words(i))
            for i in open_invitations(now).filter(**here).select_related("crew", "invited_by").order_by("-pk")[:100]
        ],
        "crews": crews,
        "settings_url": (
            reverse("contractor_settings", args=[place.contractor.pk]) if place.contractor is not None else ""
        ),
    }
    return render(request, "fleet/people.html", context)


@allowed("manage_people")
@never_cache
def person_invite(request: HttpRequest) -> HttpResponse:
    """Offer somebody a role; the link is shown this once."""
    access: Access = request.access  # type: ignore[attr-defined]
    organization = chosen(request, managed(access))
    place = organization.place
    crews = Crew.objects.filter(contractor=place.contractor).order_by("name", "pk")
    form = InviteForm(posted(request), place=place, crews=crews)
    if request.method == "POST" and form.is_valid():
        if not INVITATIONS.take(request.user.pk):
            form.add_error(None, _("Many invitations went out within the hour. Wait a while before the next one."))
        else:
            said = {"crew": None, **form.cleaned_data}
            try:
                invitation, token = invite(place=place, by=request.user, now=timezone.now(), **said)  # type: ignore[arg-type]
            except Refused as refusal:
                add_refusal(form, refusal)
            else:
                link = _absolute(request, reverse("invitation", args=[token]))
                context = {
                    "invitation": invitation,
                    "role": role_words(invitation),
                    "link": link,
                    "mailed": _mail(invitation, link, str(place)) if invitation.email else None,
                    "organization": organization,
                    "back": _back(organization),
                }
                return render(request, "fleet/invited.html", context)
    context = {"form": form, "organization": organization, "back": _back(organization)}
    return render(request, "fleet/person_invite.html", context, status=422 if form.errors else 200)


def _absolute(request: HttpRequest, path: str) -> str:
    return f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else request.build_absolute_uri(path)


def _mail(invitation: Invitation, link: str, place: str) -> bool:
    """Send the link; false where the mail did not leave."""
    text = render_to_string(
        "email/invitation.txt", {"invitation": invitation, "link": link, "place": place, "role": role_words(invitation)}
    )
    subject = " ".join((_("Invitation to Swathkeeper: %s") % place).split())
    try:
        EmailMessage(subject, text, to=[invitation.email]).send()
    except OSError:
        log.exception("An invitation could not be mailed")
        return False
    return True


@allowed("manage_people")
@require_POST
def invitation_revoke(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an offer back."""
    access: Access = request.access  # type: ignore[attr-defined]
    invitation = Invitation.objects.filter(pk=pk).first()
    if invitation is None:
        raise Http404
    organization = organization_of(access, invitation)
    if revoke_invitation(invitation=invitation, now=timezone.now()):
        messages.success(request, _("The invitation is taken back; its link no longer works."))
    else:
        messages.info(request, _("It had been used or taken back before."))
    return redirect(_back(organization))


def _membership(request: HttpRequest, pk: int) -> tuple[Membership, Organization]:
    access: Access = request.access  # type: ignore[attr-defined]
    rows = Membership.objects.filter(in_office(access.today), pk=pk).select_related(
        "user", "crew", "contractor", "shop"
    )
    membership = rows.first()
    if membership is None:
        raise Http404
    return membership, organization_of(access, membership)


@allowed("manage_people")
def membership_end(request: HttpRequest, pk: int) -> HttpResponse:
    """End somebody's role here, after a look at whose it is."""
    membership, organization = _membership(request, pk)
    error = ""
    if request.method == "POST":
        try:
            here = today_at(membership.contractor or membership.shop)
            end_membership(membership=membership, by=request.user, on=here)  # type: ignore[arg-type]
        except Refused as refusal:
            error = refusal.message
        else:
            messages.success(request, _("%s no longer has this role.") % membership.user)
            return redirect(_back(organization) if membership.user_id != request.user.pk else reverse("account_menu"))
    context = {
        "membership": membership,
        "role": role_words(membership),
        "organization": organization,
        "back": _back(organization),
        "error": error,
    }
    return render(request, "fleet/membership_end.html", context, status=422 if error else 200)


@allowed("manage_people")
@never_cache
def membership_pin(request: HttpRequest, pk: int) -> HttpResponse:
    """Give a crew boss a new PIN, shown this once."""
    membership, organization = _membership(request, pk)
    if membership.role != Role.CREW_BOSS:
        raise Http404
    pin = reset_pin(membership=membership) if request.method == "POST" else ""
    context = {"membership": membership, "pin": pin, "organization": organization, "back": _back(organization)}
    return render(request, "fleet/membership_pin.html", context)


@allowed("manage_people")
def crew_add(request: HttpRequest) -> HttpResponse:
    """Add a crew to a contractor one manages."""
    access: Access = request.access  # type: ignore[attr-defined]
    organization = chosen(request, [o for o in managed(access) if o.place.contractor is not None])
    form = CrewForm(posted(request))
    if request.method == "POST" and form.is_valid():
        try:
            add_crew(contractor=organization.place.contractor, name=form.cleaned_data["name"])  # type: ignore[arg-type]
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("The crew is there. Move units to it on their pages, or invite its boss."))
            return redirect(_back(organization))
    context = {"form": form, "organization": organization, "back": _back(organization)}
    return render(request, "fleet/crew_form.html", context, status=422 if form.errors else 200)


@allowed("manage_people")
def crew_rename(request: HttpRequest, pk: int) -> HttpResponse:
    """Rename a crew."""
    access: Access = request.access  # type: ignore[attr-defined]
    crew = access.crew(pk, "manage_people")
    organization = next((o for o in managed(access) if o.place.contractor == crew.contractor), None)
    if organization is None:
        raise Http404
    form = CrewForm(posted(request), initial={"name": crew.name})
    if request.method == "POST" and form.is_valid():
        try:
            rename_crew(crew=crew, name=form.cleaned_data["name"])
        except Refused as refusal:
            add_refusal(form, refusal)
        else:
            messages.success(request, _("Renamed."))
            return redirect(_back(organization))
    context = {"form": form, "crew": crew, "organization": organization, "back": _back(organization)}
    return render(request, "fleet/crew_form.html", context, status=422 if form.errors else 200)
