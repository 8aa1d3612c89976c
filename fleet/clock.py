"""Which day it is at a place: at the contractor's yard or the shop, not where the server stands.

Rules take ``today`` as an argument; whoever calls them asks here.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from typing import Protocol, TypeVar
from zoneinfo import ZoneInfo

from django.utils import timezone


class Place(Protocol):
    """A contractor or a shop."""

    time_zone: str


P = TypeVar("P", bound=Place)


def today_in(zone: str) -> dt.date:
    """The day it is in a time zone."""
    return timezone.localdate(timezone=ZoneInfo(zone))


def now_at(place: Place) -> dt.datetime:
    """The time on the place's wall."""
    return timezone.localtime(timezone=ZoneInfo(place.time_zone))


def today_at(place: Place | None) -> dt.date:
    """The day it is there; without a place, where the portal is run."""
    return timezone.localdate() if place is None else today_in(place.time_zone)


def day_at(place: Place, moment: dt.datetime) -> dt.date:
    """The day a moment fell on there."""
    return timezone.localdate(moment, timezone=ZoneInfo(place.time_zone))


def by_day(places: Iterable[P], day: dt.date | None = None) -> list[tuple[dt.date, list[P]]]:
    """The places by the day it is at each, earliest first; all on ``day`` where one is given."""
    found: dict[dt.date, list[P]] = {}
    for place in places:
        found.setdefault(day or today_at(place), []).append(place)
    return sorted(found.items(), key=lambda pair: pair[0])
