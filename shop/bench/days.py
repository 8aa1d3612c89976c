"""How many minutes each day of a bench has: open, held for walk-ins, promised, left."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from django.db.models import Q, Sum
from django.utils.translation import gettext as _

from fleet.models import Shop
from shop.models import Bench, ClosedDays, DropOff, DropOffLine, Technician
from shop.vocabulary import CANCELLED, IN_SHOP, NO_SHOW, OFFERED, READY

USUAL_SHARE = 0.25
# The usual share counts as so many days of the shop's own.
USUAL_DAYS = 20
LEAST_SHARE, MOST_SHARE = 0.05, 0.6
LEARNED_OVER_DAYS = 180


@dataclass(frozen=True)
class DayLoad:
    """One day of a bench, in minutes."""

    day: dt.date
    open_minutes: int
    held: int
    booked: int = 0
    offered: int = 0
    walk_in: int = 0
    # Work of earlier days that is still on the bench; it comes off today.
    carried: int = 0
    why_closed: str = ""

    @property
    def promised(self) -> int:
        """What is booked, offered or left over."""
        return self.booked + self.offered + self.carried

    @property
    def taken(self) -> int:
        """All that fills the day, walk-ins too."""
        return self.promised + self.walk_in

    @property
    def still_held(self) -> int:
        """What is held for walk-ins that have not come yet."""
        return max(self.held - self.walk_in, 0)

    @property
    def left(self) -> int:
        """What may still be promised; walk-ins beyond the share held for them come off as well."""
        return self.open_minutes - self.still_held - self.taken

    @property
    def is_open(self) -> bool:
        return self.open_minutes > 0


@dataclass(frozen=True)
class Share:
    """The share of a day held for walk-ins, and what it rests on."""

    value: float
    own: bool
    days: int

    @property
    def percent(self) -> int:
        return round(100 * self.value)


@dataclass(frozen=True)
class Calendar:
    """Who works when, read once."""

    technicians: Sequence[Technician]
    closed: Sequence[ClosedDays] = field(default_factory=tuple)

    def open_minutes(self, day: dt.date) -> tuple[int, str]:
        """Minutes of the day, and why there are none where a closed day says so."""
        off, why = set(), ""
        for row in self.closed:
            if not _falls_on(row, day):
                continue
            if row.technician_id is None:
                return 0, row.why or _("closed")
            off.add(row.technician_id)
        minutes = 0
        for one in self.technicians:
            here = (one.from_day is None or one.from_day <= day) and (one.until is None or day <= one.until)
            if not here:
                continue
            if one.pk in off:
                why = _("%(who)s off") % {"who": one.name}
            else:
                minutes += one.weekday_minutes[day.weekday()]
        return minutes, "" if minutes else why


def _falls_on(row: ClosedDays, day: dt.date) -> bool:
    if not row.every_year:
        return row.first <= day <= row.last
    first, last, at = (row.first.month, row.first.day), (row.last.month, row.last.day), (day.month, day.day)
    return first <= at <= last if first <= last else at >= first or at <= last


def bench_of(shop: Shop) -> Bench:
    """The shop's settings; usual ones where nobody has set any."""
    return Bench.objects.filter(pk=shop.pk).first() or Bench(shop=shop)


def calendar_of(shop: Shop) -> Calendar:
    """Who works when, in two queries."""
    return Calendar(
        list(Technician.objects.filter(shop=shop).order_by("name", "pk")),
        list(ClosedDays.objects.filter(shop=shop).select_related("technician").order_by("first", "pk")),
    )


def days_between(first: dt.date, last: dt.date) -> Iterator[dt.date]:
    """Every day from first to last."""
    for n in range((last - first).days + 1):
        yield first + dt.timedelta(days=n)


def walk_in_share(bench: Bench, calendar: Calendar, today: dt.date) -> Share:
    """The share the manager set; else what walk-ins took lately, shrunk toward the usual quarter."""
    since = today - dt.timedelta(days=LEARNED_OVER_DAYS)
    rows = DropOff.objects.at_shops([bench.shop_id]).filter(day__gte=since, day__lt=today)
    first = rows.order_by("day").values_list("day", flat=True).first()
    days = []
    if first is not None:
        days = [m for m in (calendar.open_minutes(d)[0] for d in days_between(first, today - dt.timedelta(1))) if m]
    if bench.walk_in_share is not None:
        return Share(float(bench.walk_in_share), True, len(days))
    if not days:
        return Share(USUAL_SHARE, False, 0)
    lines = DropOffLine.objects.at_shops([bench.shop_id]).filter(
        drop_off__walk_in=True, drop_off__day__gte=since, drop_off__day__lt=today
    )
    taken = lines.exclude(state__in=(CANCELLED, NO_SHOW)).aggregate(n=Sum("minutes"))["n"] or 0
    usual = USUAL_DAYS * sum(days) / len(days)
    share = (USUAL_SHARE * usual + taken) / (usual + sum(days))
    return Share(min(max(share, LEAST_SHARE), MOST_SHARE), False, len(days))


def loads(
    shop: Shop, first: dt.date, last: dt.date, today: dt.date, *, without: Iterable[int] = ()
) -> dict[dt.date, DayLoad]:
    """Each day's minutes in at most seven queries; ``without`` names drop-offs left out, such as one being moved."""
    bench, calendar = bench_of(shop), calendar_of(shop)
    share = walk_in_share(bench, calendar, today).value
    lines = DropOffLine.objects.at_shops([shop.pk]).exclude(drop_off__in=list(without))
    lapsed = Q(state=OFFERED, drop_off__offer_until__lt=today)
    rows = (
        lines.filter(drop_off__day__gte=first, drop_off__day__lte=last)
        .exclude(state__in=(CANCELLED, NO_SHOW))
        .exclude(lapsed)
        .values_list("drop_off__day", "state", "drop_off__walk_in")
        .annotate(n=Sum("minutes"))
        .order_by()
    )
    found: dict[tuple[dt.date, str], int] = {}
    for day, state, walk_in, minutes in rows:
        kind = "walk_in" if walk_in else "offered" if state == OFFERED else "booked"
        found[day, kind] = found.get((day, kind), 0) + minutes
    trips = DropOff.objects.at_shops([shop.pk]).exclude(pk__in=list(without)).exclude(state__in=(CANCELLED, NO_SHOW))
    on_road = trips.filter(day__gte=first, day__lte=last, travel_minutes__gt=0).exclude(
        state=OFFERED, offer_until__lt=today
    )
    for day, state, minutes in on_road.values_list("day", "state", "travel_minutes"):
        kind = "offered" if state == OFFERED else "booked"
        found[day, kind] = found.get((day, kind), 0) + minutes
    carried = 0
    if first <= today <= last:
        left = lines.filter(drop_off__day__lt=today, state__in=IN_SHOP - {READY})
        carried = left.aggregate(n=Sum("minutes"))["n"] or 0
    answers = {}
    for day in days_between(first, last):
        minutes, why = calendar.open_minutes(day)
        answers[day] = DayLoad(
            day=day,
            open_minutes=minutes,
            held=round(share * minutes),
            booked=found.get((day, "booked"), 0),
            offered=found.get((day, "offered"), 0),
            walk_in=found.get((day, "walk_in"), 0),
            carried=carried if day == today else 0,
            why_closed=why,
        )
    return answers
