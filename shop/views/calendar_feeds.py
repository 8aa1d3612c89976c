"""Drop-offs in people's own calendars: the feed, and the page that hands out, renews and revokes its address."""

from __future__ import annotations

import hashlib
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseNotAllowed
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from fleet.access import Access, allowed, public
from fleet.clock import today_at
from fleet.models import Crew, Shop
from fleet.record.writing import Refused
from fleet.views.asking import go, show, whole_number
from shop import access as bench_access
from shop.bench.feed_addresses import (
    find_address,
    left_behind,
    make_address,
    note_asked,
    revoke_address,
    standing_addresses,
    visits_behind,
)
from shop.calendar_feed import calendar_feed
from shop.models import DropOff, FeedAddress
from shop.views.asking import whole_address


@public("an address that cannot be guessed and can be revoked; it shows one crew's or one shop's visits, read only")
def drop_off_feed(request: HttpRequest, token: str) -> HttpResponse:
    """The visits as a calendar file; an unchanged one is answered without its content."""
    address = find_address(token)
    if address is None:
        raise Http404
    if request.method not in ("GET", "HEAD"):
        return HttpResponseNotAllowed(["GET", "HEAD"])
    now = timezone.now()
    note_asked(address, now)
    rows, benches = visits_behind(address, today_at(address.shop or address.contractor))
    language = address.made_by.language if address.made_by is not None else ""
    with translation.override(language or settings.LANGUAGE_CODE):
        name = _("Drop-offs, %(who)s") % {"who": _owner_words(address.crew or address.shop)}
        content = calendar_feed(
            rows, benches, name=name, for_shop=address.shop is not None, link=lambda visit: _page_of(request, visit)
        )
    etag = quote_etag(hashlib.sha256(content).hexdigest()[:32])
    response = HttpResponse(content, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'inline; filename="drop-offs.ics"'
    response["ETag"] = etag
    # Asked anew each time, so that a revoked address shows nothing from then on.
    response["Cache-Control"] = "private, no-cache"
    response["X-Robots-Tag"] = "noindex"
    return get_conditional_response(request, etag=etag, response=response) or response


def _page_of(request: HttpRequest, visit: DropOff) -> str:
    return whole_address(request, reverse("drop_off", args=[visit.pk]))


@allowed("see_drop_offs")
@never_cache
def calendar_addresses(request: HttpRequest) -> HttpResponse:
    """The addresses of one's own crews, and of the shop one works at."""
    access: Access = request.access  # type: ignore[attr-defined]
    crews, shops = list(bench_access.crews_of(access)), list(bench_access.shops_of(access))
    standing = standing_addresses(crews, shops)
    may_set = access.can("set_bench")
    left = left_behind(standing.values())
    rows = [_row(request, shop, standing.get(shop), may_set) for shop in shops]
    rows += [_row(request, crew, standing.get(crew), True) for crew in crews]
    for row in rows:
        row["left"] = row["address"] is not None and row["address"].pk in left
    context = {"rows": rows, "count": sum(bool(row["address"]) and not row["left"] for row in rows)}
    return show(request, "shop/calendar_addresses.html", context)


def _row(request: HttpRequest, owner: Crew | Shop, address: FeedAddress | None, may_change: bool) -> dict[str, Any]:
    link = "" if address is None else whole_address(request, reverse("drop_off_feed", args=[address.token]))
    of_shop = isinstance(owner, Shop)
    return {
        "key": f"{'shop' if of_shop else 'crew'}-{owner.pk}",
        "name": _owner_words(owner),
        "of_shop": of_shop,
        "address": address,
        "link": link,
        # Understood by most calendar programs as: subscribe to this.
        "subscribe": "webcal://" + link.partition("://")[2] if link else "",
        "change_url": reverse("shop_calendar" if of_shop else "crew_calendar", args=[owner.pk]) if may_change else "",
    }


def _owner_words(owner: Crew | Shop | None) -> str:
    return f"{owner.name}, {owner.contractor}" if isinstance(owner, Crew) else str(owner)


@allowed("share_crew_calendar")
@require_POST
def crew_calendar(request: HttpRequest, pk: int) -> HttpResponse:
    """A new address for a crew's calendar, or none any more."""
    crew = bench_access.crews_of(request.access).filter(pk=pk).first()  # type: ignore[attr-defined]
    return _change(request, crew)


@allowed("set_bench")
@require_POST
def shop_calendar(request: HttpRequest, pk: int) -> HttpResponse:
    """The same for the shop's calendar."""
    return _change(request, bench_access.shop(request.access, pk, "set_bench"))  # type: ignore[attr-defined]


def _change(request: HttpRequest, owner: Crew | Shop | None) -> HttpResponse:
    if owner is None:
        raise Http404
    shown, now = whole_number(request.POST.get("address")), timezone.now()
    try:
        if "revoke" in request.POST:
            revoke_address(owner=owner, address=shown, now=now)
            messages.success(request, _("The address no longer works. Calendars that had it get nothing new."))
        else:
            make_address(owner=owner, instead_of=shown, author=request.user, now=now)  # type: ignore[arg-type]
            done = _("The old address no longer works. Hand out the new one.") if shown else _("The address is made.")
            messages.success(request, done)
    except Refused as refusal:
        messages.error(request, refusal.message)
    return go(request, reverse("calendar_addresses"))
