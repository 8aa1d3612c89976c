"""What is on record of units that police and insurer ask about."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal

from fleet.models import Contractor, Crew, PurchasePaper, Trimmer, UnitPhoto

# A sheet is for what went with one trailer, not for a whole fleet.
MOST = 60


@dataclass(frozen=True)
class TheftUnit:
    """One unit: how it is told from others, what it cost, and when entries last spoke of it."""

    pk: int
    tag: str
    tag_key: str
    maker: str
    model: str
    serial: str
    bought_on: dt.date | None
    price: Decimal | None
    crew: str
    hours: float | None
    last_entry: dt.date | None
    retired_on: dt.date | None
    note: str
    photos: list[tuple[int, str]] = field(default_factory=list)
    papers: list[tuple[int, str]] = field(default_factory=list)


def theft_units(contractor: Contractor, *, tags: Sequence[str], crew: Crew | None) -> list[TheftUnit]:
    """Units of these tags (the one that wears it now, else the last that did), or all in use with a crew."""
    if tags:
        chosen = units_by_tag(contractor, list(tags)[:MOST])
    elif crew is not None:
        riding = Trimmer.objects.filter(contractor=contractor, state__crew=crew, retired_on__isnull=True)
        chosen = list(riding.select_related("model", "state__crew").order_by("tag_key")[:MOST])
    else:
        return []
    photos, papers = _kept(UnitPhoto, chosen), _kept(PurchasePaper, chosen)
    return [_of(unit, photos[unit.pk], papers[unit.pk]) for unit in chosen]


def units_by_tag(contractor: Contractor, keys: Sequence[str]) -> list[Trimmer]:
    """Units of these tags by tag: the one that wears it now, else the last that did; one query."""
    rows = Trimmer.objects.filter(contractor=contractor, tag_key__in=list(keys)).select_related("model", "state__crew")
    wearing: dict[str, Trimmer] = {}
    for unit in rows.order_by("retired_on", "pk"):
        before = wearing.get(unit.tag_key)
        if before is None or unit.retired_on is None or before.retired_on is not None:
            wearing[unit.tag_key] = unit
    return sorted(wearing.values(), key=lambda unit: unit.tag_key)


def _kept(kind: type[UnitPhoto] | type[PurchasePaper], units: Sequence[Trimmer]) -> dict[int, list[tuple[int, str]]]:
    """Id and words of what is kept of each unit, first what was added first; one query."""
    found: dict[int, list[tuple[int, str]]] = defaultdict(list)
    rows = kind.objects.filter(trimmer__in=units).order_by("pk").values_list("pk", "trimmer_id", "caption")
    for pk, unit_id, caption in rows:
        found[unit_id].append((pk, caption))
    return found


def _of(unit: Trimmer, photos: list[tuple[int, str]], papers: list[tuple[int, str]]) -> TheftUnit:
    state = getattr(unit, "state", None)
    known = None if state is None or state.known_until < unit.registered_on else state.known_until
    return TheftUnit(
        pk=unit.pk,
        tag=unit.tag,
        tag_key=unit.tag_key,
        maker=unit.model.maker,
        model=unit.model.name,
        serial=unit.serial,
        bought_on=unit.bought_on,
        price=unit.price,
        crew="" if state is None or state.crew is None else state.crew.name,
        hours=None if state is None else state.hours,
        last_entry=known,
        retired_on=unit.retired_on,
        note=unit.note,
        photos=photos,
        papers=papers,
    )
