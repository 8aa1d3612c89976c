"""Who may see and do what. Views and commands ask here and nowhere else; a stranger gets 404, not 403."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import wraps
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.contrib.auth.views import redirect_to_login
from django.http import Http404, HttpRequest, HttpResponse

from fleet.clock import today_at, today_in
from fleet.models import SHOP_ROLES, Arrangement, Contractor, Crew, Membership, Role, Shop, Trimmer, User

OWNER, CREW_BOSS, TECHNICIAN, MANAGER, ADMINISTRATOR = (
    Role.OWNER.value,
    Role.CREW_BOSS.value,
    Role.TECHNICIAN.value,
    Role.MANAGER.value,
    Role.ADMINISTRATOR.value,
)
EVERYONE = frozenset(Role.values)

# What can be done, and by whom. A view names one of these; there is no other list of roles anywhere.
ACTIONS: dict[str, frozenset[str]] = {
    "see_fleet": EVERYONE,
    "log_work": EVERYONE,
    "postpone": frozenset({OWNER, CREW_BOSS, MANAGER, ADMINISTRATOR}),
    "move_unit": frozenset({OWNER, CREW_BOSS, MANAGER, ADMINISTRATOR}),
    "register_unit": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "retire_unit": frozenset({OWNER, CREW_BOSS, MANAGER, ADMINISTRATOR}),
    "withdraw_any": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "clear_shop_hold": frozenset({TECHNICIAN, MANAGER}),
    # Says that a unit was done as a recall notice says, which lifts a stop: the shop, or who answers for the fleet.
    "close_recall": frozenset({OWNER, TECHNICIAN, MANAGER, ADMINISTRATOR}),
    "fill_unit_facts": frozenset({OWNER, TECHNICIAN, MANAGER, ADMINISTRATOR}),
    # What a unit cost, where and by whom it was bought: the owner's and the office's, not the crew's nor the bench's.
    "keep_purchase_papers": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "see_record": frozenset({OWNER, TECHNICIAN, MANAGER, ADMINISTRATOR}),
    # The owner's own pages: what crews cost, what to keep, what to budget. The shop sees its bills, not these.
    "see_costs": frozenset({OWNER, ADMINISTRATOR}),
    "see_money": frozenset({OWNER, TECHNICIAN, MANAGER, ADMINISTRATOR}),
    "edit_catalog": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "edit_recalls": frozenset({MANAGER, ADMINISTRATOR}),
    "edit_contractor": frozenset({OWNER, ADMINISTRATOR}),
    "manage_people": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "import_files": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "export_files": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "manage_tags": frozenset({OWNER, MANAGER, ADMINISTRATOR}),
    "manage_portal": frozenset({ADMINISTRATOR}),
    # The bench: who sees drop-offs, books them, works on them, and sets the bench's days.
    "see_drop_offs": frozenset({OWNER, CREW_BOSS, TECHNICIAN, MANAGER}),
    "book_drop_off": frozenset({OWNER, CREW_BOSS, TECHNICIAN, MANAGER}),
    # The private address of a crew's calendar: made, renewed, revoked by those whose crew it is.
    "share_crew_calendar": frozenset({OWNER, CREW_BOSS}),
    # Money of their own is the owner's to say yes or no to, not the crew's and not the shop's.
    "answer_estimate": frozenset({OWNER}),
    "work_bench": frozenset({TECHNICIAN, MANAGER}),
    "set_bench": frozenset({MANAGER}),
}


@dataclass(frozen=True)
class Access:
    """What one person may see: their memberships, and the contractors these reach today."""

    user: User | AnonymousUser
    memberships: tuple[Membership, ...] = ()
    contractor_ids: frozenset[int] = frozenset()
    _by_contractor: dict[int, frozenset[str]] = field(default_factory=dict, repr=False)

    @property
    def roles(self) -> frozenset[str]:
        return frozenset(m.role for m in self.memberships)

    @property
    def is_administrator(self) -> bool:
        return ADMINISTRATOR in self.roles

    @property
    def shop_ids(self) -> frozenset[int]:
        return frozenset(m.shop_id for m in self.memberships if m.shop_id and m.role in SHOP_ROLES)

    @property
    def today(self) -> dt.date:
        """The day it is where the person works; of several places, the one they came to first."""
        first = next((m.contractor or m.shop for m in self.memberships if m.contractor or m.shop), None)
        return today_at(first)

    @property
    def crew_ids(self) -> frozenset[int]:
        return frozenset(m.crew_id for m in self.memberships if m.crew_id)

    def roles_at(self, contractor_id: int) -> frozenset[str]:
        """Roles that reach this contractor, the administrator's among them."""
        own = self._by_contractor.get(contractor_id, frozenset())
        return own | {ADMINISTRATOR} if self.is_administrator else own

    def can(self, action: str, contractor_id: int | None = None) -> bool:
        """Whether the person may do this at the contractor, or anywhere at all when none is named."""
        allowed = ACTIONS[action]
        if contractor_id is None:
            return bool(self.roles & allowed)
        return bool(self.roles_at(contractor_id) & allowed)

    def contractors_where(self, action: str) -> frozenset[int]:
        """Contractors in sight at which the person may do this."""
        return frozenset(pk for pk in self.contractor_ids if self.can(action, pk))

    def sees_as(self, contractor_id: int) -> str:
        """``shop`` or ``crew``: on whose word an entry by this person stands."""
        return "shop" if self.roles_at(contractor_id) & SHOP_ROLES else "crew"

    def require(self, action: str, contractor_id: int | None = None) -> None:
        """Raise 404 unless allowed: what a person may not do does not exist for them."""
        if not self.can(action, contractor_id):
            raise Http404

    def contractors(self) -> Any:
        """Contractors in sight, by name."""
        return Contractor.objects.filter(pk__in=self.contractor_ids).order_by("name", "pk")

    def managed_contractors(self) -> Any:
        """Contractors whose people and settings this person looks after: an owner's own, an administrator's all.

        A shop's manager sees a contractor's units under an arrangement, but has no say in its people.
        """
        if self.is_administrator:
            return Contractor.objects.order_by("name", "pk")
        own = [m.contractor_id for m in self.memberships if m.contractor_id and m.role == OWNER]
        return Contractor.objects.filter(pk__in=own).order_by("name", "pk")

    def managed_shops(self) -> Any:
        """Shops whose people this person looks after."""
        if self.is_administrator:
            return Shop.objects.order_by("name", "pk")
        own = [m.shop_id for m in self.memberships if m.shop_id and m.role == MANAGER]
        return Shop.objects.filter(pk__in=own).order_by("name", "pk")

    def contractor(self, pk: int, action: str = "see_fleet") -> Contractor:
        """The contractor, if this person may do ``action`` there; else 404."""
        self.require(action, pk)
        return _one(Contractor.objects.filter(pk=pk))

    def unit(self, pk: int, action: str = "see_fleet") -> Trimmer:
        """The unit with its model and contractor, if in sight and ``action`` is allowed; else 404."""
        unit = _one(Trimmer.objects.select_related("model", "contractor").filter(pk=pk))
        self.require(action, unit.contractor_id)
        return unit

    def crew(self, pk: int, action: str = "see_fleet") -> Crew:
        """The crew with its contractor, if in sight and ``action`` is allowed; else 404."""
        crew = _one(Crew.objects.select_related("contractor").filter(pk=pk))
        self.require(action, crew.contractor_id)
        return crew


def _one(rows: Any) -> Any:
    found = rows.first()
    if found is None:
        raise Http404
    return found


def access_of(user: User | AnonymousUser, today: dt.date | None = None) -> Access:
    """Read a person's memberships and, for shop people, the contractors under a running arrangement."""
    if not user.is_authenticated:
        return Access(user)
    rows = Membership.objects.filter(user=user).select_related("contractor", "shop", "crew").order_by("pk")
    # A role ends on the day of the place it is held at.
    memberships = tuple(m for m in rows if m.held_on(today or today_at(m.contractor or m.shop)))
    reach: dict[int, set[str]] = {}
    for m in memberships:
        if m.contractor_id:
            reach.setdefault(m.contractor_id, set()).add(m.role)
    shops = {m.shop_id: m.role for m in memberships if m.role in SHOP_ROLES}
    if shops:
        rows_of_shops = Arrangement.objects.filter(shop__in=shops).values_list(
            "shop_id", "contractor_id", "contractor__time_zone", "from_date", "until"
        )
        for shop_id, contractor_id, zone, since, until in rows_of_shops:
            day = today or today_in(zone)
            if since <= day and (until is None or until >= day):
                reach.setdefault(contractor_id, set()).update(m.role for m in memberships if m.shop_id == shop_id)
    if any(m.role == ADMINISTRATOR for m in memberships):
        ids = frozenset(Contractor.objects.values_list("pk", flat=True))
    else:
        ids = frozenset(reach)
    return Access(user, memberships, ids, {pk: frozenset(roles) for pk, roles in reach.items()})


def allowed(action: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """A view for signed-in people who may do ``action`` somewhere; the view still asks for the row it touches.

    The decorated view carries ``access_action``: the isolation test reads it from the URL table, so that a page
    nobody classified fails the suite.
    """

    if action not in ACTIONS:
        raise KeyError(action)

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.is_authenticated:
                return redirect_to_login(request.get_full_path())
            request.access.require(action)  # type: ignore[attr-defined]
            return view(request, *args, **kwargs)

        guarded.access_action = action  # type: ignore[attr-defined]
        return guarded

    return decorate


def signed_in(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """A view about nobody but the person signed in, whatever their role."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        return view(request, *args, **kwargs)

    guarded.access_action = "signed_in"  # type: ignore[attr-defined]
    return guarded


def public(why: str) -> Callable[[Callable[..., HttpResponse]], Callable[..., HttpResponse]]:
    """A view that needs no sign-in; ``why`` says what guards it instead."""

    def decorate(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
        view.access_action = "public"  # type: ignore[attr-defined]
        view.access_why = why  # type: ignore[attr-defined]
        return view

    return decorate
