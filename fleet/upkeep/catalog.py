"""The catalog as one party sees it: each figure with whose it is and where it is from."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db.models import Count, Q
from django.utils.translation import gettext as _

from fleet.models import ModelTerms, TaskInterval, Trimmer, TrimmerModel
from fleet.upkeep.intervals import PRACTICE, shops_of
from fleet.vocabulary import TASKS, WARRANTY_GROUPS, Label

CONTRACTOR, SHOP, PORTAL = "contractor", "shop", "portal"
TERMS = (
    "displacement_cc",
    "price",
    "resale_share_per_season",
    "warranty_months",
    "burn_litres_per_hour",
    "vibration_ms2",
    "vibration_source",
    "parts_end_on",
)
MEASURES = ("hours", "months")


@dataclass(frozen=True)
class Holder:
    """Whose catalog is looked at or changed: a contractor's, a shop's, or the portal's."""

    kind: str
    name: str = ""
    contractor_id: int | None = None
    shop_id: int | None = None

    @property
    def key(self) -> str:
        """How an address names it."""
        pk = self.contractor_id or self.shop_id
        return f"{self.kind}-{pk}" if pk else self.kind

    @property
    def scope(self) -> dict[str, Any]:
        """The columns of this party's own rows."""
        return {"contractor_id": self.contractor_id, "shop_id": self.shop_id}


@dataclass(frozen=True)
class Figure:
    """A figure as it stands: ``value`` None with ``given`` means *does not apply* (or not known, for terms)."""

    value: Any = None
    given: bool = False
    whose: str = ""
    source: str = ""
    own: bool = False

    @property
    def whose_word(self) -> str:
        """Whose figure it is, in words."""
        if self.whose == CONTRACTOR:
            return _("the contractor's")
        if self.whose == SHOP:
            return _("the shop's")
        if self.whose == PORTAL:
            return _("the portal's")
        return ""

    @property
    def source_word(self) -> str:
        """Where it is from: nothing stands without this beside it."""
        return _("common practice, check the manual") if self.source == PRACTICE else _("maker's manual")


@dataclass(frozen=True)
class TaskFigures:
    """Both limits of one task."""

    task: str
    label: Label
    place: str
    hours: Figure
    months: Figure

    @property
    def from_manual(self) -> bool:
        """Whether the leading figure comes from the maker's manual: hours where there are any, else months."""
        lead = self.hours if self.hours.value is not None else self.months
        return lead.given and lead.source != PRACTICE

    @property
    def applies(self) -> bool:
        return self.hours.value is not None or self.months.value is not None


@dataclass(frozen=True)
class ModelSheet:
    """Everything one party has, or takes over, for one model."""

    model: TrimmerModel
    terms: dict[str, Figure]
    groups: dict[str, Figure]
    tasks: tuple[TaskFigures, ...]
    units: int = 0

    @property
    def from_manual(self) -> int:
        return sum(task.from_manual for task in self.tasks)

    def task(self, key: str) -> TaskFigures:
        return next(t for t in self.tasks if t.task == key)


def chain(holder: Holder, shop_of: int | None = None) -> list[tuple[str, int | None, int | None]]:
    """(kind, contractor, shop) of every scope that speaks for the holder, nearest first."""
    steps: list[tuple[str, int | None, int | None]] = []
    if holder.kind == CONTRACTOR:
        steps.append((CONTRACTOR, holder.contractor_id, None))
    shop = holder.shop_id if holder.kind == SHOP else shop_of
    if shop is not None and holder.kind != PORTAL:
        steps.append((SHOP, None, shop))
    return [*steps, (PORTAL, None, None)]


def model_sheets(
    models: Iterable[TrimmerModel], holder: Holder, units: dict[int, int] | None = None
) -> list[ModelSheet]:
    """The sheets of these models, in three queries whatever their number."""
    models = list(models)
    shop = shops_of([holder.contractor_id]).get(holder.contractor_id) if holder.contractor_id else None
    steps = chain(holder, shop)
    mine = Q()
    for _kind, contractor_id, shop_id in steps:
        mine |= Q(contractor=contractor_id, shop=shop_id)
    terms = {(t.model_id, t.contractor_id, t.shop_id): t for t in ModelTerms.objects.filter(mine, model__in=models)}
    intervals = {
        (i.model_id, i.task, i.contractor_id, i.shop_id): i for i in TaskInterval.objects.filter(mine, model__in=models)
    }
    sheets = []
    for model in models:
        rows = [(kind, terms.get((model.pk, c, s))) for kind, c, s in steps]
        tasks = []
        for key, task in TASKS.items():
            told = [(kind, intervals.get((model.pk, key, c, s))) for kind, c, s in steps]
            tasks.append(
                TaskFigures(
                    key,
                    task.label,
                    task.place,
                    _limit(told, "hours", task.practice_hours, holder.kind),
                    _limit(told, "months", task.practice_months, holder.kind),
                )
            )
        sheets.append(
            ModelSheet(
                model,
                {name: _term(rows, name, holder.kind) for name in TERMS},
                {group: _group(rows, group, holder.kind) for group in WARRANTY_GROUPS},
                tuple(tasks),
                (units or {}).get(model.pk, 0),
            )
        )
    return sheets


def practice_figures(task: str) -> TaskFigures:
    """What stands where nobody gives a figure: common practice."""
    t = TASKS[task]
    hours, months = _limit([], "hours", t.practice_hours, ""), _limit([], "months", t.practice_months, "")
    return TaskFigures(task, t.label, t.place, hours, months)


def _limit(told: list[tuple[str, TaskInterval | None]], measure: str, practice: int | None, mine: str) -> Figure:
    for kind, row in told:
        if row is not None and getattr(row, f"{measure}_given"):
            return Figure(getattr(row, measure), True, kind, row.source, kind == mine)
    return Figure(None if practice is None else Decimal(practice), False, "", PRACTICE)


def _term(rows: list[tuple[str, ModelTerms | None]], name: str, mine: str) -> Figure:
    for kind, row in rows:
        value = getattr(row, name, None)
        if value not in (None, ""):
            return Figure(value, True, kind, "", kind == mine)
    return Figure()


def _group(rows: list[tuple[str, ModelTerms | None]], group: str, mine: str) -> Figure:
    for kind, row in rows:
        if row is not None and group in row.warranty_by_group:
            return Figure(row.warranty_by_group[group], True, kind, "", kind == mine)
    return Figure()


def models_in_use(contractor_ids: Iterable[int], search: str = "") -> tuple[list[TrimmerModel], dict[int, int]]:
    """Models that units in use of these contractors are of, with the number of those units."""
    counts = dict(
        Trimmer.objects.filter(contractor__in=list(contractor_ids), retired_on__isnull=True)
        .values_list("model_id")
        .annotate(n=Count("pk"))
        .order_by()
    )
    models = TrimmerModel.objects.filter(pk__in=counts)
    for word in search.split():
        models = models.filter(Q(maker__icontains=word) | Q(name__icontains=word))
    return list(models.order_by("maker", "name", "pk")), counts


def models_known_to(contractor_ids: Iterable[int], holder: Holder) -> set[int]:
    """Models this party may open: those its units are or were of, those it has figures for, and the portal's own."""
    seen = set(Trimmer.objects.filter(contractor__in=list(contractor_ids)).values_list("model_id", flat=True))
    shared = Q(contractor=None, shop=None) | Q(**holder.scope)
    seen |= set(ModelTerms.objects.filter(shared).values_list("model_id", flat=True))
    return seen | set(TaskInterval.objects.filter(shared).values_list("model_id", flat=True))


def models_with_figures(contractor_ids: Iterable[int], shop_ids: Iterable[int]) -> set[int]:
    """Models that these contractors or these shops hold figures for."""
    theirs = Q(contractor__in=list(contractor_ids)) | Q(contractor=None, shop__in=list(shop_ids))
    found = set(ModelTerms.objects.filter(theirs).values_list("model_id", flat=True))
    return found | set(TaskInterval.objects.filter(theirs).values_list("model_id", flat=True))
