"""The rules of a time zone beside entries that name it (RFC 5545, 3.6.5), worked out from the zone's own table."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard

_DAY, _MINUTE = dt.timedelta(days=1), dt.timedelta(minutes=1)


@lru_cache(maxsize=64)
def zone_rules(name: str, first: int, last: int) -> Timezone:
    """Each change of the clock in these years and the one before, as an observance of its own.

    Its start is written as the clock showed it at that instant, before it was put on or back: the library's own
    generator writes the hour after, for clocks put on.
    """
    zone = ZoneInfo(name)
    start = dt.datetime(first - 1, 1, 1, tzinfo=dt.UTC)
    end = dt.datetime(last + 1, 1, 2, tzinfo=dt.UTC)
    rules = Timezone()
    rules.add("tzid", name)
    rules.add_component(_observance(zone, start, start))
    at = start
    while at < end:
        after = at + _DAY
        if _offset(zone, at) != _offset(zone, after):
            rules.add_component(_observance(zone, at, _change(zone, at, after)))
        at = after
    return rules


def _offset(zone: ZoneInfo, at: dt.datetime) -> dt.timedelta:
    return at.astimezone(zone).utcoffset() or dt.timedelta()


def _change(zone: ZoneInfo, before: dt.datetime, after: dt.datetime) -> dt.datetime:
    """The minute between the two from which the second's offset holds."""
    while after - before > _MINUTE:
        middle = before + ((after - before) // 2 // _MINUTE) * _MINUTE
        if _offset(zone, middle) == _offset(zone, before):
            before = middle
        else:
            after = middle
    return after


def _observance(zone: ZoneInfo, before: dt.datetime, at: dt.datetime) -> TimezoneStandard | TimezoneDaylight:
    local = at.astimezone(zone)
    rule = TimezoneDaylight() if local.dst() else TimezoneStandard()
    was = _offset(zone, before)
    rule.add("dtstart", (at + was).replace(tzinfo=None))
    rule.add("tzoffsetfrom", was)
    rule.add("tzoffsetto", _offset(zone, at))
    rule.add("tzname", local.tzname() or zone.key)
    return rule
