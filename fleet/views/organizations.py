"""Which organization a people page is about, chosen among those the person manages."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404, HttpRequest
from django.utils.translation import gettext as _

from fleet.access import Access
from fleet.models import Invitation, Membership, Role
from fleet.record.people import Place


@dataclass(frozen=True)
class Organization:
    """A place with the key by which addresses name it."""

    key: str
    place: Place

    @property
    def name(self) -> str:
        return str(self.place)


def managed(access: Access) -> list[Organization]:
    """Organizations whose people this person looks after: companies first, then shops, then the portal."""
    found = [Organization(f"contractor-{c.pk}", Place(contractor=c)) for c in access.managed_contractors()]
    found += [Organization(f"shop-{s.pk}", Place(shop=s)) for s in access.managed_shops()]
    if access.is_administrator:
        found.append(Organization("portal", Place()))
    return found


def chosen(request: HttpRequest, organizations: list[Organization]) -> Organization:
    """The one the address names (``at=``), else the first; 404 for one that is not theirs to manage."""
    if not organizations:
        raise Http404
    wanted = request.GET.get("at") or request.POST.get("at")
    if not wanted:
        return organizations[0]
    for organization in organizations:
        if organization.key == wanted:
            return organization
    raise Http404


def organization_of(access: Access, row: Membership | Invitation) -> Organization:
    """The managed organization a role belongs to; 404 where the person has no say there."""
    for organization in managed(access):
        place = organization.place
        same_contractor = (place.contractor.pk if place.contractor else None) == row.contractor_id
        same_shop = (place.shop.pk if place.shop else None) == row.shop_id
        if same_contractor and same_shop:
            return organization
    raise Http404


def role_words(row: Membership | Invitation) -> str:
    """The role, with its crew where it has one."""
    label = str(Role(row.role).label)
    return _("%(role)s, %(crew)s") % {"role": label, "crew": row.crew} if row.crew else label
