"""PINs of crew bosses: six digits that, with the tag of one of the crew's units, sign the person in."""

from __future__ import annotations

import secrets
from itertools import pairwise

from allauth.mfa.utils import is_mfa_enabled
from django.contrib.auth.hashers import check_password, make_password
from django.db.models import F
from django.utils.translation import gettext as _

from fleet.clock import today_at
from fleet.models import Membership, Role, Trimmer, User
from fleet.models.people import in_office
from fleet.record.writing import Refused

PIN_DIGITS = 6
_HASHER = "argon2"


def easily_guessed(pin: str) -> bool:
    """One digit over and over, a run up or down, or two or three digits repeated."""
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    return steps in ({0}, {1}, {9}) or pin[:2] * 3 == pin or pin[:3] * 2 == pin


def new_pin() -> str:
    """A PIN nobody would guess first."""
    while True:
        pin = f"{secrets.randbelow(10**PIN_DIGITS):0{PIN_DIGITS}d}"
        if not easily_guessed(pin):
            return pin


def hash_pin(*, pin: str, crew_id: int, user: User | None = None) -> str:
    """The hash to keep; refuses what is no PIN, what is guessed first, and what a colleague on the crew has."""
    if len(pin) != PIN_DIGITS or not pin.isascii() or not pin.isdigit():
        raise Refused(_("A PIN has six digits."), "pin")
    others = Membership.objects.filter(crew=crew_id, ended_on__isnull=True).exclude(pin="")
    if user is not None:
        others = others.exclude(user=user)
    # The same words for both, so that nobody learns a colleague's PIN by trying.
    if easily_guessed(pin) or any(check_password(pin, hashed) for hashed in others.values_list("pin", flat=True)):
        why = _("This PIN is too easily guessed. Choose six others, and no pattern like 111111, 123456 or 121212.")
        raise Refused(why, "pin")
    return make_password(pin, hasher=_HASHER)


def reset_pin(*, membership: Membership) -> str:
    """A new PIN, shown once; whoever came in with the old one is signed out everywhere."""
    while True:
        pin = new_pin()
        try:
            hashed = hash_pin(pin=pin, crew_id=membership.crew_id or 0, user=membership.user)
        except Refused:
            continue
        break
    Membership.objects.filter(pk=membership.pk).update(pin=hashed)
    User.objects.filter(pk=membership.user_id).update(session_round=F("session_round") + 1)
    return pin


def who_has_pin(*, unit: Trimmer, pin: str) -> User | None:
    """The crew boss of the unit's crew whose PIN this is.

    A PIN opens nothing but crews of the one contractor whose tag was scanned: its owner gives out new PINs and must not
    come into another's records with one. A person who also holds another role or has crews elsewhere, is staff, or asks
    for a second proof must sign in with a password. One hash is always worked out, so that the time says nothing about
    a crew without PINs.
    """
    today = today_at(unit.contractor)
    state = getattr(unit, "state", None)
    crew_id = state.crew_id if state is not None and unit.retired_on is None else None
    standing = in_office(today)
    rows = Membership.objects.none()
    if crew_id is not None:
        rows = Membership.objects.filter(standing, crew=crew_id, role=Role.CREW_BOSS, user__is_active=True)
    candidates = list(rows.exclude(pin="").select_related("user").order_by("pk"))
    found = None
    for membership in candidates:
        if check_password(pin, membership.pin):
            found = found or membership.user
    if not candidates:
        make_password(pin, hasher=_HASHER)
    if found is None or found.is_staff or found.is_superuser or is_mfa_enabled(found):
        return None
    others = Membership.objects.filter(standing, user=found).exclude(role=Role.CREW_BOSS, contractor=unit.contractor_id)
    return None if others.exists() else found
