"""Whose drop-offs a person sees: a contractor's people their own, a shop's people what is on their own bench."""

from __future__ import annotations

from typing import Any

from django.db.models import Q
from django.http import Http404

from fleet.access import Access
from fleet.models import CONTRACTOR_ROLES, Contractor, Crew, Role, Shop
from shop.models import DropOff, DropOffLine


def own_contractors(access: Access) -> frozenset[int]:
    """Contractors the person belongs to, as owner or crew boss."""
    return frozenset(m.contractor_id for m in access.memberships if m.contractor_id and m.role in CONTRACTOR_ROLES)


def crews_of(access: Access) -> Any:
    """Crews this person answers for, by name: a crew boss's own, all of an owner's."""
    owned = [m.contractor_id for m in access.memberships if m.contractor_id and m.role == Role.OWNER]
    rows = Crew.objects.filter(Q(contractor__in=owned) | Q(pk__in=access.crew_ids))
    return rows.select_related("contractor").order_by("contractor__name", "name", "pk")


def shops_of(access: Access) -> Any:
    """Shops whose bench this person works at, by name."""
    return Shop.objects.filter(pk__in=access.shop_ids).order_by("name", "pk")


def shops_for(contractor: Contractor, access: Access, today: Any) -> Any:
    """Shops that may book this contractor's units today: those with a running arrangement, and of these one's own."""
    running = Shop.objects.filter(
        Q(arrangements__until__isnull=True) | Q(arrangements__until__gte=today),
        arrangements__contractor=contractor,
        arrangements__from_date__lte=today,
    ).distinct()
    if contractor.pk not in own_contractors(access):
        running = running.filter(pk__in=access.shop_ids)
    return running.order_by("name", "pk")


def _in_sight(model: type[DropOff] | type[DropOffLine], access: Access) -> Any:
    # The shop's own bench stays in sight after an arrangement has ended, so its rows are not asked by contractor.
    rows = model.objects.at_shops(access.shop_ids)
    mine = own_contractors(access)
    if mine:
        rows = rows | model._base_manager.filter(contractor_id__in=mine)
    return rows


def drop_offs_of(access: Access) -> Any:
    """Drop-offs this person may see."""
    return _in_sight(DropOff, access)


def lines_of(access: Access) -> Any:
    """Lines of drop-offs this person may see."""
    return _in_sight(DropOffLine, access)


def drop_off(access: Access, pk: int, action: str = "see_drop_offs") -> DropOff:
    """The drop-off, if it is in sight and the person may do ``action`` with it; else 404."""
    found = drop_offs_of(access).select_related("contractor", "shop", "crew").filter(pk=pk).first()
    if found is None or not may(access, action, found):
        raise Http404
    return found


def line(access: Access, pk: int, action: str = "see_drop_offs") -> DropOffLine:
    """The line with its drop-off and unit, likewise."""
    rows = lines_of(access).select_related(
        "drop_off__contractor", "drop_off__shop", "drop_off__crew", "trimmer__model", "contractor", "shop"
    )
    found = rows.filter(pk=pk).first()
    if found is None or not may(access, action, found.drop_off):
        raise Http404
    return found


def may(access: Access, action: str, visit: DropOff) -> bool:
    """Whether the person may do this with a drop-off in sight: by the role that brings it into sight."""
    if visit.shop_id in access.shop_ids and access.can(action):
        return True
    return visit.contractor_id in own_contractors(access) and access.can(action, visit.contractor_id)


def shop(access: Access, pk: int | None, action: str) -> Shop:
    """The shop asked for, or the person's only (or first) one; 404 for somebody else's."""
    access.require(action)
    rows = shops_of(access)
    found = rows.first() if pk is None else rows.filter(pk=pk).first()
    if found is None:
        raise Http404
    return found
