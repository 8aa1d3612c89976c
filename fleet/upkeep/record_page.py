"""The model record as one person may see it: for each model, what it dies of, most of it first, and when to act.

What is left out here is left out on every page, print and file: counts, and curves that would give counts away, go only
to those whose own they are, or stand where enough contractors are behind them (``fleet.upkeep.who_sees``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from django.db.models import Count, Q

from fleet.models import FitSnapshot, Trimmer, TrimmerModel
from fleet.upkeep.fit_records import Choice, FitRecord, IntervalRecord, ModelRecord, OwnCounts
from fleet.upkeep.fit_store import latest_fits, model_records
from fleet.upkeep.who_sees import ENOUGH_CONTRACTORS, SeenCounts, own_counts, seen_counts

#: Fewer observed hours than this are told as none.
SOME_HOURS = 0.5


@dataclass(frozen=True)
class ComponentLine:
    """One component of a model, with what this person may know of it."""

    component: str
    fit: FitRecord
    counts: SeenCounts
    interval: IntervalRecord | None = None

    @property
    def choice(self) -> Choice | None:
        """The interval with a guard always on; None where no task renews the component."""
        return self.interval.choices[0] if self.interval is not None else None

    @property
    def interval_hours(self) -> float | None:
        """The interval to act on: at the figures of whoever is looked at, else the portal's."""
        return self.choice.interval_hours if self.choice else self.fit.interval_hours

    @property
    def manual_hours(self) -> float | None:
        return self.interval.manual_hours if self.interval else self.fit.manual_hours

    @property
    def shortened(self) -> bool:
        """Whether the record says sooner than the manual."""
        chosen, manual = self.interval_hours, self.manual_hours
        return chosen is not None and manual is not None and chosen < manual - 0.05

    @property
    def spent(self) -> float:
        """What its failures in sight cost, as far as a cost is known; it puts components in order."""
        cost = self.interval.failure.cost if self.interval is not None and self.interval.failure else 0.0
        return cost * self.counts.events


@dataclass(frozen=True)
class ModelPage:
    """One model's record for one person. ``hours``: the most that any of its components was watched."""

    model: TrimmerModel
    units: int
    lines: tuple[ComponentLine, ...]
    scanned: bool

    @property
    def failed(self) -> tuple[ComponentLine, ...]:
        """Components with failures in sight, worst first."""
        return tuple(line for line in self.lines if line.counts.events)

    @property
    def hours(self) -> float:
        return max((line.counts.hours for line in self.lines), default=0.0)

    @property
    def whole(self) -> bool:
        """Whether all counts are those of the record behind the fits."""
        return all(line.counts.whole for line in self.lines)

    def line(self, component: str) -> ComponentLine | None:
        """The component's line, if the model has one."""
        return next((line for line in self.lines if line.component == component), None)


def models_in_sight(contractor_ids: Iterable[int], search: str = "") -> tuple[list[TrimmerModel], dict[int, int]]:
    """Models these contractors have or had, with the number of units in use; two queries."""
    in_use = Count("pk", filter=Q(retired_on__isnull=True))
    counts = dict(
        Trimmer.objects.filter(contractor__in=list(contractor_ids))
        .values_list("model_id")
        .annotate(n=in_use)
        .order_by()
    )
    models = TrimmerModel.objects.filter(pk__in=counts)
    for word in search.split():
        models = models.filter(Q(maker__icontains=word) | Q(name__icontains=word))
    return list(models.order_by("maker", "name", "pk")), counts


def model_pages(
    models: Iterable[TrimmerModel],
    units: Mapping[int, int],
    contractor_ids: Iterable[int],
    settings: Mapping[tuple[int, str], str] | None = None,
    snapshot: FitSnapshot | None = None,
) -> list[ModelPage]:
    """The records of these models, in the order given, for somebody who sees these contractors.

    ``settings`` names, for each (model, task), whose interval to show; without it the portal's own stands. The number
    of queries is the same for any number of models.
    """
    models = list(models)
    snapshot = snapshot or latest_fits()
    own = own_counts(contractor_ids) if snapshot else {}
    records = {r.model: r for r in model_records(snapshot, [m.pk for m in models], settings)} if models else {}
    return [
        ModelPage(
            model,
            units.get(model.pk, 0),
            _lines(records[model.pk], own) if model.pk in records else (),
            scanned=snapshot is not None,
        )
        for model in models
    ]


def _lines(record: ModelRecord, own: Mapping[tuple[int, str], Mapping[int, OwnCounts]]) -> tuple[ComponentLine, ...]:
    by_component = {interval.component: interval for interval in record.intervals.values()}
    lines = []
    for component, fit in record.fits.items():
        counts = seen_counts(fit, own.get((record.model, component), {}))
        lines.append(ComponentLine(component, as_seen(fit, counts), counts, by_component.get(component)))
    # Equal ones keep the order of the trade's list of components.
    return tuple(sorted(lines, key=lambda line: (-line.counts.events, -line.spent)))


def as_seen(fit: FitRecord, counts: SeenCounts) -> FitRecord:
    """The fit without what would tell how much of it is somebody else's."""
    if counts.whole:
        return fit if fit.contractors >= ENOUGH_CONTRACTORS else replace(fit, pooled_events=fit.events)
    return replace(
        fit,
        events=counts.events,
        rows=counts.rows,
        hours=counts.hours,
        pooled_events=counts.events,
        units=0,
        contractors=0,
        mean_exposure=None,
        curve=None,
        repairs=None,
        misfit=(),
    )
