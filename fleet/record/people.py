"""Roles come and go: invitations, memberships, crews. Who may do so is asked in ``fleet.access`` beforehand."""

from __future__ import annotations

import datetime as dt
import hashlib
from dataclasses import dataclass
from typing import Any

from allauth.account.models import EmailAddress
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.utils.translation import gettext as _

from fleet.models import (
    CONTRACTOR_ROLES,
    SHOP_ROLES,
    Contractor,
    Crew,
    Invitation,
    Membership,
    Role,
    Shop,
    User,
)
from fleet.models.people import in_office, new_token
from fleet.models.tenancy import all_tenants
from fleet.record.pins import hash_pin
from fleet.record.words import name_key
from fleet.record.writing import Refused

GOOD_FOR = dt.timedelta(days=14)


@dataclass(frozen=True)
class Place:
    """Where a role is held: a contractor (a crew of it for crew bosses), a shop, or the portal itself."""

    contractor: Contractor | None = None
    shop: Shop | None = None

    @property
    def roles(self) -> frozenset[str]:
        if self.contractor is not None:
            return frozenset(CONTRACTOR_ROLES)
        return frozenset(SHOP_ROLES) if self.shop is not None else frozenset({Role.ADMINISTRATOR.value})

    @property
    def columns(self) -> dict[str, Any]:
        return {"contractor": self.contractor, "shop": self.shop}

    def __str__(self) -> str:
        return str(self.contractor or self.shop or _("the portal"))


def digest(token: str) -> str:
    """What is kept of an invitation's address: the address itself is shown once and stored nowhere."""
    return hashlib.sha256(token.encode()).hexdigest()[:32]


def invite(
    *, place: Place, role: str, name: str, email: str, crew: Crew | None, by: User, now: dt.datetime
) -> tuple[Invitation, str]:
    """Offer a role; returns the invitation and the token of its address, which is not kept."""
    if role not in place.roles:
        raise Refused(_("Choose one of the roles offered."), "role")
    if (role == Role.CREW_BOSS) != (crew is not None):
        raise Refused(_("A crew boss needs a crew; nobody else has one."), "crew")
    if crew is not None and (place.contractor is None or crew.contractor_id != place.contractor.pk):
        raise Refused(_("This crew belongs to another contractor."), "crew")
    token = new_token()
    invitation = Invitation.objects.create(
        token=digest(token),
        role=role,
        crew=crew,
        email=email,
        invited_name=name,
        invited_by=by,
        expires_at=now + GOOD_FOR,
        **place.columns,
    )
    return invitation, token


def open_invitations(now: dt.datetime) -> Any:
    """Invitations that can still be taken up."""
    return Invitation.objects.filter(accepted_at__isnull=True, revoked_at__isnull=True, expires_at__gt=now)


def find_invitation(token: str, now: dt.datetime) -> Invitation | None:
    """The open invitation behind an address."""
    with all_tenants():
        rows = open_invitations(now).select_related("contractor", "shop", "crew", "invited_by")
        return rows.filter(token=digest(token)).first()


def revoke_invitation(*, invitation: Invitation, now: dt.datetime) -> bool:
    """Take an offer back; false where it was taken up or taken back before."""
    return bool(open_invitations(now).filter(pk=invitation.pk).update(revoked_at=now))


def accept_as(*, invitation: Invitation, user: User, now: dt.datetime, pin: str = "") -> Membership:
    """Give the offered role to a person; an address works once."""
    with all_tenants(), transaction.atomic():
        taken = open_invitations(now).filter(pk=invitation.pk).update(accepted_at=now, accepted_by=user)
        if not taken:
            raise Refused(_("This invitation has been used or taken back. Ask for a new one."))
        scope = {
            "role": invitation.role,
            "contractor": invitation.contractor,
            "shop": invitation.shop,
            "crew": invitation.crew,
        }
        membership = Membership.objects.filter(user=user, ended_on__isnull=True, **scope).first()
        if membership is None:
            membership = Membership(user=user, **scope)
        if pin and invitation.crew_id:
            membership.pin = hash_pin(pin=pin, crew_id=invitation.crew_id, user=user)
        membership.save()
    return membership


def accept_as_new(
    *, invitation: Invitation, name: str, username: str, email: str, password: str, pin: str, now: dt.datetime
) -> User:
    """Make an account and give it the offered role. Without a password a crew boss comes in by tag and PIN."""
    if not password and not (pin and invitation.role == Role.CREW_BOSS):
        raise Refused(_("Choose a password."), "password")
    if email and _email_taken(email):
        raise Refused(_("This e-mail is in use here. Sign in with it and open the link again."), "email")
    username = username or f"crew-{new_token()[:10].lower()}"
    if User.objects.filter(username__iexact=username).exists():
        raise Refused(_("This sign-in name is taken. Choose another."), "username")
    user = User(username=username, email=email, display_name=name)
    if password:
        user.set_password(password)
    else:
        user.set_unusable_password()
    try:
        with transaction.atomic():
            user.save(force_insert=True)
            if email:
                EmailAddress.objects.create(user=user, email=email.lower(), primary=True, verified=False)
            accept_as(invitation=invitation, user=user, now=now, pin=pin)
    except IntegrityError as error:
        raise Refused(_("This sign-in name is taken. Choose another."), "username") from error
    return user


def add_administrator(*, username: str, password: str) -> bool:
    """Make an account that runs the portal, or give the role to one that is there and keeps its password.

    For whoever runs the machine: a new portal has nobody yet who could invite. False where the role is held already.
    Raises ``Refused`` with the field that is wrong.
    """
    with transaction.atomic():
        user = User.objects.filter(username__iexact=username).first()
        if user is None:
            user = User(username=username, display_name=username)
            try:
                user.clean_fields(exclude=["password"])
                validate_password(password, user)
            except ValidationError as error:
                raise Refused(" ".join(error.messages)) from error
            user.set_password(password)
            user.save(force_insert=True)
        standing = Membership.objects.filter(user=user, role=Role.ADMINISTRATOR, ended_on__isnull=True)
        if standing.exists():
            return False
        Membership.objects.create(user=user, role=Role.ADMINISTRATOR)
        return True


def _email_taken(email: str) -> bool:
    return (
        User.objects.filter(email__iexact=email).exists() or EmailAddress.objects.filter(email__iexact=email).exists()
    )


def end_membership(*, membership: Membership, by: User, on: dt.date) -> None:
    """End a role at once. Nobody ends their own last one, and the portal keeps an administrator."""
    with transaction.atomic():
        standing = Membership.objects.select_for_update().filter(in_office(on))
        mine = [m.pk for m in standing.filter(user=membership.user_id)]
        if membership.user_id == by.pk and mine == [membership.pk]:
            raise Refused(_("This is your own last role here. Somebody else must end it."))
        if membership.role == Role.ADMINISTRATOR:
            left = standing.filter(role=Role.ADMINISTRATOR, user__is_active=True).exclude(pk=membership.pk)
            if not left.exists():
                raise Refused(_("The portal needs an administrator. Invite another one first."))
        standing.filter(pk=membership.pk).update(ended_on=on, pin="")


def add_crew(*, contractor: Contractor, name: str) -> Crew:
    """A new crew; two crews of a contractor never share a name."""
    name = _crew_name(name)
    try:
        with transaction.atomic():
            return Crew.objects.create(contractor=contractor, name=name, name_key=name_key(name))
    except IntegrityError as error:
        raise Refused(_("There is a crew of this name already."), "name") from error


def rename_crew(*, crew: Crew, name: str) -> None:
    """The crew under another name; its history goes with it."""
    name = _crew_name(name)
    try:
        with transaction.atomic():
            Crew.objects.filter(pk=crew.pk).update(name=name, name_key=name_key(name))
    except IntegrityError as error:
        raise Refused(_("There is a crew of this name already."), "name") from error


def _crew_name(name: str) -> str:
    name = " ".join(name.split())
    if not name or len(name) > 60 or not name_key(name):
        raise Refused(_("Enter the crew's name, 60 letters at most."), "name")
    return name


def sign_out_everywhere(*, user: User) -> None:
    """End every session of this person; the caller keeps the present one alive if it wants to."""
    user.session_round += 1
    user.save(update_fields=["session_round"])
