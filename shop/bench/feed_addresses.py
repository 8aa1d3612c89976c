"""Private addresses of calendar feeds: made, renewed, revoked, and what each of them opens.

Whoever asks for a feed is not signed in: the address is found within ``all_tenants()``, the visits of a crew within its
contractor alone.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.clock import today_at
from fleet.models import Crew, Membership, Role, Shop, User
from fleet.models.tenancy import all_tenants, tenant
from fleet.record.writing import Refused
from shop.bench.reading import VisitRow, visit_rows
from shop.models import Bench, DropOff, FeedAddress

# Visits that are over stay in the calendar so long, called off ones too, so that each calendar hears of it.
KEPT_DAYS = 60
MOST_VISITS = 500
# A feed is asked for often: when it was is written down once in so long.
ASKED_EVERY = dt.timedelta(hours=1)


def standing_addresses(crews: Iterable[Crew] = (), shops: Iterable[Shop] = ()) -> dict[Crew | Shop, FeedAddress]:
    """The addresses that work now, by whose they are; two queries. The caller has found the owners in sight."""
    found: dict[Crew | Shop, FeedAddress] = {}
    with all_tenants():
        rows = FeedAddress.objects.filter(revoked_at=None).select_related("crew", "shop", "made_by")
        for address in (*rows.filter(crew__in=list(crews)), *rows.filter(shop__in=list(shops))):
            owner = address.crew or address.shop
            if owner is not None:
                found[owner] = address
    return found


def make_address(*, owner: Crew | Shop, instead_of: int | None, author: User, now: dt.datetime) -> FeedAddress:
    """A new address; the one it takes the place of (its pk as the page showed it, or none) stops working."""
    with transaction.atomic(), all_tenants():
        _end(owner, instead_of, now)
        if isinstance(owner, Shop):
            return FeedAddress.objects.create(shop=owner, made_by=author)
        return FeedAddress.objects.create(crew=owner, contractor_id=owner.contractor_id, made_by=author)


def revoke_address(*, owner: Crew | Shop, address: int | None, now: dt.datetime) -> None:
    """The address stops working and is never used again; calendars that ask for it get nothing."""
    with transaction.atomic(), all_tenants():
        _end(owner, address, now)


def _end(owner: Crew | Shop, address: int | None, now: dt.datetime) -> None:
    # The owner's row is the lock that keeps two people from making an address each.
    type(owner).objects.select_for_update().get(pk=owner.pk)
    mine = FeedAddress.objects.filter(revoked_at=None, **{"shop" if isinstance(owner, Shop) else "crew": owner})
    stands = mine.values_list("pk", flat=True).first()
    if stands != address:
        raise Refused(_("Somebody changed this address meanwhile. Look at the one below."))
    mine.update(revoked_at=now)


def find_address(token: str) -> FeedAddress | None:
    """The address, if it works: not revoked, and its maker still answers for the crew or works at the shop."""
    with all_tenants():
        rows = FeedAddress.objects.select_related("crew__contractor", "contractor", "shop", "made_by")
        found: FeedAddress | None = rows.filter(token=token, revoked_at=None).first()
    return None if found is None or left_behind([found]) else found


def left_behind(addresses: Iterable[FeedAddress]) -> set[int]:
    """Addresses (pk) whose maker no longer answers for the crew or works at the shop; one query."""
    asked = list(addresses)
    makers = {a.made_by_id for a in asked if a.made_by_id}
    held: set[tuple[int, str, int | None]] = set()
    for role in Membership.objects.filter(user__in=makers).select_related("contractor", "shop"):
        if not role.held_on(today_at(role.contractor or role.shop)):
            continue
        if role.shop_id:
            held.add((role.user_id, "shop", role.shop_id))
        elif role.role == Role.OWNER:
            held.add((role.user_id, "contractor", role.contractor_id))
        elif role.crew_id:
            held.add((role.user_id, "crew", role.crew_id))
    return {
        a.pk
        for a in asked
        if not held & {(a.made_by_id, "shop", a.shop_id or 0), (a.made_by_id, "crew", a.crew_id or 0)}
        and (a.made_by_id, "contractor", a.contractor_id or 0) not in held
    }


def note_asked(address: FeedAddress, now: dt.datetime) -> None:
    """Write down that a calendar asked, so that people see whether an address is in use."""
    if address.asked_at is None or now - address.asked_at > ASKED_EVERY:
        with all_tenants():
            FeedAddress.objects.filter(pk=address.pk).update(asked_at=now)


def visits_behind(address: FeedAddress, today: dt.date) -> tuple[list[VisitRow], dict[int, Bench]]:
    """What the address opens, oldest first, and the benches of these visits' shops; six queries.

    A shop's own visits, whoever brings; or a crew's, with those booked for its contractor's yard as a whole.
    """
    since = today - dt.timedelta(days=KEPT_DAYS)
    if address.contractor_id is None:
        visits = DropOff.objects.at_shops([address.shop_id or 0])
    else:
        with tenant([address.contractor_id]):
            visits = DropOff.objects.filter(crew=address.crew) | DropOff.objects.filter(crew=None)
    latest = visits.filter(day__gte=since).order_by("-day", "-pk").values_list("pk", flat=True)[:MOST_VISITS]
    rows = visit_rows(DropOff.objects.known().filter(pk__in=list(latest)).order_by("day", "pk"))
    shops = {row.visit.shop_id for row in rows}
    return rows, {bench.shop_id: bench for bench in Bench.objects.filter(shop__in=shops)}
