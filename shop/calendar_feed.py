"""Drop-offs as an iCalendar object (RFC 5545), for the calendars of a crew or of a shop.

A calendar is often kept by somebody else's service: names of people, telephone numbers and notes stay in the portal.
"""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Mapping
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from icalendar import Calendar, Event

from shop.bench.reading import VisitRow, names_of
from shop.bench.words import day_words, job_words
from shop.calendar_zone import zone_rules
from shop.cautions import LOADING
from shop.models import Bench, DropOff
from shop.vocabulary import AT_YARD, CANCELLED, INTAKE, KIT, NO_SHOW, OFFERED, VISIT_STATES

PRODUCT = "-//Swathkeeper//Drop-offs//EN"
# How often a calendar is asked to look again (RFC 7986, 5.7); many look once a day all the same.
REFRESH = dt.timedelta(hours=4)
# An entry ends when the units must be there.
BRINGING = dt.timedelta(minutes=30)
# RFC 5545, 3.8.1.11: what an entry may say of itself.
TENTATIVE, CONFIRMED, CALLED_OFF = "TENTATIVE", "CONFIRMED", "CANCELLED"
_OURS = uuid.UUID("5b0f6a52-8f0d-5d0f-9a3e-6f2f5c1f7a31")


def uid_of(visit: DropOff) -> str:
    """The visit's name in every calendar, the same for good; its ticket's address cannot be read from it."""
    return str(uuid.uuid5(_OURS, visit.token))


def calendar_feed(
    rows: Iterable[VisitRow], benches: Mapping[int, Bench], *, name: str, for_shop: bool, link: Callable[[DropOff], str]
) -> bytes:
    """The visits as one calendar: the same rows give the same bytes. ``benches`` by shop, where one is set."""
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", name)
    calendar.add("x-wr-calname", name)
    calendar.add("refresh-interval", REFRESH, parameters={"VALUE": "DURATION"})
    calendar.add("x-published-ttl", "PT4H")
    events: list[Event] = []
    zones: dict[str, tuple[int, int]] = {}
    for row in rows:
        shop = row.visit.shop
        events.append(_event(row, benches.get(shop.pk) or Bench(shop=shop), for_shop=for_shop, link=link(row.visit)))
        if row.visit.place != AT_YARD:
            first, last = zones.get(shop.time_zone, (row.visit.day.year, row.visit.day.year))
            zones[shop.time_zone] = (min(first, row.visit.day.year), max(last, row.visit.day.year))
    for zone, (first, last) in sorted(zones.items()):
        calendar.add_component(zone_rules(zone, first, last))
    for event in events:
        calendar.add_component(event)
    return bytes(calendar.to_ical())


def _event(row: VisitRow, bench: Bench, *, for_shop: bool, link: str) -> Event:
    visit = row.visit
    changed = visit.changed_at.astimezone(dt.UTC).replace(microsecond=0)
    event = Event()
    event.add("uid", uid_of(visit))
    # Without a METHOD this is when the entry was last revised (RFC 5545, 3.8.7.2), not when somebody asked.
    event.add("dtstamp", changed)
    event.add("created", visit.made_at.astimezone(dt.UTC).replace(microsecond=0))
    event.add("last-modified", changed)
    event.add("sequence", visit.version)
    event.add("status", _status(visit))
    event.add("class", "PRIVATE")
    if visit.place == AT_YARD:
        event.add("dtstart", visit.day)
        event.add("dtend", visit.day + dt.timedelta(days=1))
        event.add("transp", "TRANSPARENT")
    else:
        bring_by = dt.datetime.combine(visit.day, bench.bring_by, tzinfo=ZoneInfo(visit.shop.time_zone))
        event.add("dtstart", bring_by - BRINGING)
        event.add("dtend", bring_by)
        event.add("location", ", ".join(part for part in (visit.shop.name, bench.address) if part))
    event.add("summary", _summary(row, for_shop))
    event.add("description", "\n".join(_description(row, for_shop)))
    event.add("url", link)
    return event


def _status(visit: DropOff) -> str:
    if visit.state == CANCELLED:
        return CALLED_OFF
    return TENTATIVE if visit.state == OFFERED else CONFIRMED


def _summary(row: VisitRow, for_shop: bool) -> str:
    visit, names = row.visit, names_of(row)
    if for_shop:
        who = f"{visit.contractor}, {visit.crew}" if visit.crew else str(visit.contractor)
        words = _("Yard visit, %(who)s: %(what)s") if visit.place == AT_YARD else _("%(who)s: %(what)s")
        said = words % {"who": who, "what": names}
    else:
        at_yard, at_shop = _("%(shop)s comes to the yard: %(what)s"), _("Bring to %(shop)s: %(what)s")
        words = at_yard if visit.place == AT_YARD else at_shop
        said = words % {"shop": visit.shop, "what": names}
    if visit.state == CANCELLED:
        return _("Called off. %(what)s") % {"what": said}
    if visit.state == OFFERED:
        return _("Offered. %(what)s") % {"what": said}
    if visit.state == NO_SHOW:
        return _("Not seen. %(what)s") % {"what": said}
    return said


def _description(row: VisitRow, for_shop: bool) -> list[str]:
    visit = row.visit
    said = [
        _("%(state)s, about %(minutes)d minutes of bench time")
        % {"state": VISIT_STATES[visit.state], "minutes": row.minutes}
    ]
    if visit.state == OFFERED and visit.offer_until is not None:
        said.append(_("The offer stands until %(day)s.") % {"day": day_words(visit.offer_until)})
    for one in row.coming or row.lines:
        line = one.line
        jobs = ", ".join(job_words(j.job) for j in one.jobs if j.job not in (INTAKE, KIT) and not j.left_out)
        words = f"{line.name} ({line.trimmer.model})" if line.trimmer is not None else line.name
        if jobs:
            words += f": {jobs}"
        if line.state != visit.state:
            words += f", {VISIT_STATES[line.state]}"
        if line.promised_on is not None:
            words += _(", promised for %(day)s") % {"day": day_words(line.promised_on)}
        said.append(words)
    if not for_shop and visit.state != CANCELLED and visit.place != AT_YARD:
        said.append(str(LOADING.text))
    return said
