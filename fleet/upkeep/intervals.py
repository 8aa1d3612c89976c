"""Which interval stands for a task of a model at a contractor: contractor's figure, shop's, portal's, else practice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Q

from fleet.models import Arrangement, ModelTerms, TaskInterval
from fleet.upkeep.usage import PRACTICE_BURN
from fleet.vocabulary import TASKS

MAKER, PRACTICE = "maker", "practice"


@dataclass(frozen=True)
class Interval:
    """Hours and months, whichever comes first; None: no limit of that kind. ``source`` is the figures' weakest."""

    hours: float | None
    months: int | None
    hours_source: str
    months_source: str

    @property
    def applies(self) -> bool:
        return self.hours is not None or self.months is not None

    @property
    def source(self) -> str:
        """Where the leading figure is from: hours where there are any, else months."""
        return self.hours_source if self.hours is not None else self.months_source


@dataclass(frozen=True)
class Terms:
    """A model's figures as they stand for one contractor; None: nobody entered it."""

    price: Decimal | None = None
    resale_share_per_season: Decimal | None = None
    warranty_months: int | None = None
    burn: float = PRACTICE_BURN


def practice_interval(task: str) -> Interval:
    """Common practice, with no source claimed."""
    t = TASKS[task]
    return Interval(
        None if t.practice_hours is None else float(t.practice_hours), t.practice_months, PRACTICE, PRACTICE
    )


def shops_of(contractor_ids: Iterable[int]) -> dict[int, int]:
    """Each contractor's shop: the one of its latest arrangement."""
    rows = Arrangement.objects.filter(contractor__in=list(contractor_ids)).order_by("from_date", "pk")
    return dict(rows.values_list("contractor_id", "shop_id"))


def _nearest(rows: Iterable, contractor: int, shop: int | None) -> list:
    """Rows that speak for the contractor, nearest scope first."""
    ranked = []
    for row in rows:
        if row.contractor_id == contractor:
            ranked.append((0, row))
        elif row.contractor_id is None and row.shop_id is not None and row.shop_id == shop:
            ranked.append((1, row))
        elif row.contractor_id is None and row.shop_id is None:
            ranked.append((2, row))
    return [row for _rank, row in sorted(ranked, key=lambda pair: pair[0])]


def _resolve(task: str, rows: list[TaskInterval]) -> Interval:
    practice = practice_interval(task)
    hours, hours_source, months, months_source = practice.hours, PRACTICE, practice.months, PRACTICE
    for row in rows:
        if row.hours_given:
            hours, hours_source = (None if row.hours is None else float(row.hours)), row.source
            break
    for row in rows:
        if row.months_given:
            months, months_source = row.months, row.source
            break
    return Interval(hours, months, hours_source, months_source)


class Catalog:
    """Intervals and terms for pairs of contractor and model, read in three queries whatever their number."""

    def __init__(self, pairs: Iterable[tuple[int, int]]) -> None:
        wanted = set(pairs)
        contractors, models = {c for c, _m in wanted}, {m for _c, m in wanted}
        shops = shops_of(contractors)
        mine = Q(contractor__in=contractors) | Q(contractor__isnull=True)
        intervals: dict[tuple[int, str], list[TaskInterval]] = {}
        for row in TaskInterval.objects.filter(mine, model__in=models):
            intervals.setdefault((row.model_id, row.task), []).append(row)
        terms: dict[int, list[ModelTerms]] = {}
        for terms_row in ModelTerms.objects.filter(mine, model__in=models):
            terms.setdefault(terms_row.model_id, []).append(terms_row)
        # Contractors of one shop without figures of their own share a model's tables.
        special = {(r.contractor_id, r.model_id) for rows in intervals.values() for r in rows if r.contractor_id}
        special |= {(r.contractor_id, r.model_id) for rows in terms.values() for r in rows if r.contractor_id}
        self._tables: dict[tuple[int, int], tuple[dict[str, Interval], Terms]] = {}
        shared: dict[tuple[int, int | None, int], tuple[dict[str, Interval], Terms]] = {}
        for contractor, model in wanted:
            shop = shops.get(contractor)
            key = (model, shop, contractor if (contractor, model) in special else 0)
            if key not in shared:
                table = {
                    task: _resolve(task, _nearest(intervals.get((model, task), ()), contractor, shop)) for task in TASKS
                }
                shared[key] = table, _merge(_nearest(terms.get(model, ()), contractor, shop))
            self._tables[contractor, model] = shared[key]

    def intervals(self, contractor: int, model: int) -> Mapping[str, Interval]:
        """Interval of every task."""
        return self._tables[contractor, model][0]

    def terms(self, contractor: int, model: int) -> Terms:
        """Price, resale, warranty and burn rate."""
        return self._tables[contractor, model][1]


def _merge(rows: list[ModelTerms]) -> Terms:
    def first(name: str) -> Any:
        return next((v for row in rows if (v := getattr(row, name)) is not None), None)

    burn = first("burn_litres_per_hour")
    return Terms(
        price=first("price"),
        resale_share_per_season=first("resale_share_per_season"),
        warranty_months=first("warranty_months"),
        burn=float(burn) if burn else PRACTICE_BURN,
    )
