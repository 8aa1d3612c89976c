"""Whose catalog a person looks at, and whose they may change."""

from __future__ import annotations

from django.http import HttpRequest

from fleet.access import MANAGER, OWNER, TECHNICIAN, Access
from fleet.upkeep.catalog import CONTRACTOR, PORTAL, SHOP, Holder


def holders_for(access: Access) -> list[Holder]:
    """Catalogs in sight, those the person may change first."""
    found = []
    if access.is_administrator:
        found.append(Holder(PORTAL))
    for m in access.memberships:
        if m.role in (MANAGER, TECHNICIAN) and m.shop is not None:
            found.append(Holder(SHOP, m.shop.name, shop_id=m.shop_id))
    own = [m.contractor_id for m in access.memberships if m.role == OWNER]
    contractors = [Holder(CONTRACTOR, c.name, contractor_id=c.pk) for c in access.contractors()]
    found += sorted(contractors, key=lambda h: h.contractor_id not in own)
    return list(dict.fromkeys(found))


def may_change(access: Access, holder: Holder) -> bool:
    """Each at the scope of their own role: the portal's, their shop's, their company's."""
    if holder.kind == PORTAL:
        return access.is_administrator
    if holder.kind == SHOP:
        return any(m.role == MANAGER and m.shop_id == holder.shop_id for m in access.memberships)
    return any(m.role == OWNER and m.contractor_id == holder.contractor_id for m in access.memberships)


def chosen_holder(request: HttpRequest, holders: list[Holder]) -> Holder | None:
    """The one the address names (``for=``), else the first; None where it names one out of sight."""
    wanted = request.GET.get("for") or request.POST.get("for") or ""
    if not wanted:
        return holders[0] if holders else None
    return next((h for h in holders if h.key == wanted), None)
