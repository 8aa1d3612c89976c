"""Days that can take a visit, as choices: minutes left, how many of the crew's units would be away."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from fleet.models import Shop
from shop.bench.days import loads
from shop.bench.reading import Away
from shop.bench.words import day_words

LOOKED_AHEAD_DAYS = 70
DAYS_OFFERED = 10
NEAR_DAYS = 7


@dataclass(frozen=True)
class DayChoice:
    """One day that has room."""

    value: str
    label: str
    left: int
    away: int


def day_choices(
    shop: Shop,
    needed: int,
    units: int,
    away: Away,
    today: dt.date,
    *,
    without: Iterable[int] = (),
    instead_of: dt.date | None = None,
) -> tuple[list[DayChoice], int]:
    """The first days with room, and how many open days before the last of them have none.

    ``instead_of``: days from a week before that day on, itself left out; whoever moves a visit stays near it.
    """
    first = today if instead_of is None else max(today, instead_of - dt.timedelta(days=NEAR_DAYS))
    by_day = loads(shop, first, first + dt.timedelta(days=LOOKED_AHEAD_DAYS), today, without=without)
    found: list[DayChoice] = []
    passed_over = waiting = 0
    for load in by_day.values():
        if not load.is_open or load.day == instead_of:
            continue
        if load.left < needed:
            waiting += 1
            continue
        passed_over, waiting = passed_over + waiting, 0
        found.append(DayChoice(load.day.isoformat(), day_words(load.day), load.left, away.on(load.day, today) + units))
        if len(found) == DAYS_OFFERED:
            break
    return found, passed_over if found else waiting
