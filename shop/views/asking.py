"""What the bench's pages ask of a request: which shop, which day it is there, who writes."""

from __future__ import annotations

import datetime as dt
import uuid

from django.conf import settings
from django.contrib import messages
from django.http import HttpRequest

from fleet.models import Shop
from fleet.record.writing import By
from fleet.views.asking import whole_number
from shop import access as bench_access
from shop.models import DropOff


def shop_asked(request: HttpRequest, action: str) -> Shop:
    """The shop the page is about: the one named in the address, else the person's own."""
    return bench_access.shop(request.access, whole_number(request.GET.get("shop")), action)  # type: ignore[attr-defined]


def press_of(request: HttpRequest) -> uuid.UUID | None:
    """The id of this press of a button, where the form carries one."""
    try:
        return uuid.UUID(request.POST.get("client_entry_id", ""))
    except ValueError:
        return None


def by_shop(request: HttpRequest, press: uuid.UUID | None = None) -> By:
    """The person at the bench, on the shop's word."""
    return By(request.user, "screen", "shop", press)  # type: ignore[arg-type]


def by_for(request: HttpRequest, visit: DropOff, press: uuid.UUID | None = None) -> By:
    """The person asking, on the shop's word or the crew's: by the role that brings this visit into sight."""
    at_shop = visit.shop_id in request.access.shop_ids  # type: ignore[attr-defined]
    return By(request.user, "screen", "shop" if at_shop else "crew", press)  # type: ignore[arg-type]


def day_asked(text: str | None) -> dt.date | None:
    """A day in an address; none where it cannot be read."""
    try:
        return dt.date.fromisoformat(text or "")
    except ValueError:
        return None


def say_refused(request: HttpRequest, words: str) -> None:
    """Say why nothing was saved."""
    messages.error(request, words)


def whole_address(request: HttpRequest, path: str) -> str:
    """A path as people outside reach it: at the portal's public address, or where this request came in."""
    return f"{settings.PUBLIC_URL}{path}" if settings.PUBLIC_URL else request.build_absolute_uri(path)
