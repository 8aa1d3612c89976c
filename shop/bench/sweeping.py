"""What happens by itself as days go by: no-shows, offers that lapse, units nobody fetches, minutes learned anew."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.db import transaction

from fleet.models import Shop
from fleet.models.tenancy import all_tenants
from shop.bench.days import bench_of
from shop.bench.minutes import learn_minutes
from shop.bench.writing import lines_of_visit, lock_visit, move_line, settle, write_mail
from shop.models import DropOff, DropOffLine, VisitMail
from shop.vocabulary import BOOKED, CANCELLED, NO_SHOW, OFFERED, READY


@dataclass(frozen=True)
class Swept:
    """How many of each."""

    no_shows: int
    lapsed: int
    unclaimed: int
    learned_from: int


def sweep(*, shop: Shop, today: dt.date, now: dt.datetime) -> Swept:
    """Bring one shop's drop-offs up to the day. Safe to run twice: each step is taken from its state only."""
    with all_tenants():
        return Swept(
            _no_shows(shop, today, now),
            _lapse(shop, today, now),
            _unclaimed(shop, now),
            learn_minutes(shop=shop, today=today),
        )


def _no_shows(shop: Shop, today: dt.date, now: dt.datetime) -> int:
    """Booked lines whose day is over; each crew is written to once a visit."""
    marked = 0
    late = DropOffLine.objects.at_shops([shop.pk]).filter(state=BOOKED, drop_off__day__lt=today)
    for pk in sorted(set(late.values_list("drop_off_id", flat=True))):
        with transaction.atomic():
            visit = lock_visit(DropOff.objects.known().select_related("shop").get(pk=pk))
            lines = lines_of_visit(visit)
            missing = [line for line in lines if line.state == BOOKED]
            if visit.day >= today or not missing:
                continue
            for line in missing:
                move_line(line, NO_SHOW, None, now)
            settle(visit, lines)
            write_mail(visit, "no_show", now)
            marked += len(missing)
    return marked


def _lapse(shop: Shop, today: dt.date, now: dt.datetime) -> int:
    """Offers nobody took: called off once their day is over. Until then they may still be taken if there is room."""
    lapsed = 0
    rows = DropOff.objects.at_shops([shop.pk]).filter(state=OFFERED, day__lt=today)
    for pk in list(rows.values_list("pk", flat=True)):
        with transaction.atomic():
            visit = lock_visit(DropOff.objects.known().select_related("shop").get(pk=pk))
            lines = lines_of_visit(visit)
            if visit.state != OFFERED:
                continue
            for line in lines:
                if line.state == OFFERED:
                    move_line(line, CANCELLED, None, now)
            settle(visit, lines)
            lapsed += 1
    return lapsed


def _unclaimed(shop: Shop, now: dt.datetime) -> int:
    """One letter for a visit whose units have stood ready too long."""
    since = now - dt.timedelta(days=bench_of(shop).unclaimed_days)
    waiting = DropOffLine.objects.at_shops([shop.pk]).filter(state=READY, ready_at__lte=since)
    told = VisitMail.objects.at_shops([shop.pk]).filter(kind="unclaimed").values("drop_off")
    found = 0
    for pk in sorted(set(waiting.exclude(drop_off__in=told).values_list("drop_off_id", flat=True))):
        with transaction.atomic():
            write_mail(lock_visit(DropOff.objects.known().select_related("shop").get(pk=pk)), "unclaimed", now)
        found += 1
    return found
