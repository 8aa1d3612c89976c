"""People of the demo: one or more of each kind, called by what they do. Their passwords are known to everyone."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from django.contrib.auth.hashers import make_password
from django.urls import reverse
from django.utils.translation import gettext as _

from fleet.models import Contractor, Crew, Membership, Role, Shop, Trimmer, User

from .pins import hash_pin

PASSWORD = "invented-demo-data"  # noqa: S105 printed on purpose, on a machine that nobody else reaches
PIN = "482615"
ADMINISTRATOR = "portal.admin"

OWNERS = {
    "Quarry Hill Grounds": "quarry.owner",
    "Fenwick Verge Care": "fenwick.owner",
    "Millrace Estates": "millrace.owner",
}
CREW_BOSSES = {"North": "north.boss", "West": "west.boss", "Verge": "verge.boss", "River": "river.boss"}
# Signs in with the tag of one of the crew's units and a PIN, and has no password.
BY_TAG = {"Park": "park.boss"}
SHOP_PEOPLE = {Role.TECHNICIAN: "bench", Role.MANAGER: "bench.manager"}


@dataclass(frozen=True)
class Login:
    """How one person of the demo signs in: by name and password, or by the address on a unit's tag and a PIN."""

    who: str
    name: str
    secret: str
    tag_path: str = ""


def create_people(shop: Shop) -> None:
    """Create an administrator, the shop's people, each contractor's owner, and crew bosses."""
    # Hashing is slow on purpose, and these passwords are no secret: one hash serves all.
    password = make_password(PASSWORD)
    for role, name in SHOP_PEOPLE.items():
        Membership.objects.create(user=_person(name, f"{role.label}", password), role=role, shop=shop)
    for contractor in Contractor.objects.filter(name__in=OWNERS):
        user = _person(OWNERS[contractor.name], f"Owner, {contractor}", password)
        Membership.objects.create(user=user, role=Role.OWNER, contractor=contractor)
    for crew in Crew.objects.filter(name__in=[*CREW_BOSSES, *BY_TAG]).select_related("contractor"):
        by_tag = crew.name in BY_TAG
        name = BY_TAG[crew.name] if by_tag else CREW_BOSSES[crew.name]
        user = _person(name, f"Crew boss, {crew}", "" if by_tag else password)
        Membership.objects.create(
            user=user,
            role=Role.CREW_BOSS,
            contractor=crew.contractor,
            crew=crew,
            pin=hash_pin(pin=PIN, crew_id=crew.pk) if by_tag else "",
        )
    # Last, so that its being there says that everyone is.
    Membership.objects.create(user=_person(ADMINISTRATOR, "Portal administrator", password), role=Role.ADMINISTRATOR)


def _person(name: str, display_name: str, password: str) -> User:
    user = User(username=name, display_name=display_name, password=password)
    if not password:
        user.set_unusable_password()
    user.save()
    return user


def logins() -> Iterator[Login]:
    """How each person of the demo signs in, shop first."""
    people = Membership.objects.select_related("user", "contractor", "crew", "shop").order_by("pk")
    for member in people:
        where = " / ".join(str(p) for p in (member.shop, member.contractor, member.crew) if p) or _("whole portal")
        who = f"{member.get_role_display()}, {where}"
        if member.pin:
            unit = _unit_of(member.crew)
            if unit is not None:
                yield Login(who, unit.tag, PIN, reverse("tag", args=[unit.tag_token]))
        elif member.user.username in _WITH_PASSWORD:
            yield Login(who, member.user.username, PASSWORD)


_WITH_PASSWORD = {ADMINISTRATOR, *SHOP_PEOPLE.values(), *OWNERS.values(), *CREW_BOSSES.values()}


def _unit_of(crew: Crew | None) -> Trimmer | None:
    """A unit that is with the crew now."""
    return Trimmer.objects.filter(state__crew=crew, state__in_use=True).order_by("tag").first()
