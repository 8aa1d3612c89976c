"""The model record as one person may see it: for each model, what it dies of, most of it first, and when to act.

What is left out here is left out on every page, print and file: counts, and curves that would give counts away, go only
to those whose own they are, or stand where enough contractors are behind them (``fleet.upkeep.who_sees``).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import Count, Q

from fleet.models import Contractor, Trimmer, TrimmerModel
from fleet.upkeep.event_costs import Figures, Work
from fleet.upkeep.fit_records import Choice, Curve, FitRecord, IntervalRecord, curve_of
from fleet.upkeep.fit_store import latest_fits, read_fits, read_intervals
from fleet.upkeep.interval_settings import Setting, settings_of
from fleet.upkeep.intervals import Catalog
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
    failure_cost: float = 1.0
    # The figures of whoever is looked at, where nothing was worked out at them yet.
    waiting: Setting | None = None

    @property
    def choice(self) -> Choice | None:
        """The interval with a guard always on; None where no task renews the component."""
        return self.interval.choices[0] if self.interval is not None else None

    @property
    def interval_hours(self) -> float | None:
        """The interval to act on: at the figures of whoever is looked at, else the portal's."""
        if self.waiting is not None:
            return self.waiting.manual_hours
        return self.choice.interval_hours if self.choice else self.fit.interval_hours

    @property
    def manual_hours(self) -> float | None:
        if self.waiting is not None:
            return self.waiting.manual_hours
        return self.interval.manual_hours if self.interval else self.fit.manual_hours

    @property
    def manual_source(self) -> str | None:
        if self.waiting is not None:
            return self.waiting.manual_source
        return self.interval.manual_source if self.interval else self.fit.manual_source

    @property
    def shortened(self) -> bool:
        """Whether the record says sooner than the manual."""
        chosen, manual = self.interval_hours, self.manual_hours
        return chosen is not None and manual is not None and chosen < manual - 0.05

    @property
    def spent(self) -> float:
        """What its failures in sight cost; it puts those that fail equally often in order."""
        return self.failure_cost * self.counts.events


@dataclass(frozen=True)
class ModelPage:
    """One model's record for one person; ``repairs``: failures of all components a unit by its hours."""

    model: TrimmerModel
    units: int
    lines: tuple[ComponentLine, ...]
    scanned: bool
    repairs: Curve | None = None
    # At whose rates and risk its intervals stand; empty: at those most of its units run under.
    whose: str = ""

    @property
    def failed(self) -> tuple[ComponentLine, ...]:
        """Components with failures in sight, worst first."""
        return tuple(line for line in self.lines if line.counts.events)

    @property
    def hours(self) -> float:
        """The most hours that any of its components was watched."""
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
    contractor: Contractor | None = None,
) -> list[ModelPage]:
    """The records of these models, in the order given, for somebody who sees these contractors.

    Intervals stand at the figures of ``contractor``; without one, at those that most units of a model run under. The
    number of queries is the same for any number of models.
    """
    models = list(models)
    snapshot = latest_fits()
    own = own_counts(contractor_ids) if snapshot else {}
    keys = [m.pk for m in models]
    fits = read_fits(snapshot, keys)
    own_settings = {} if contractor is None or snapshot is None else _settings_of(keys, contractor)
    settings = _digests(fits) if contractor is None else {key: s.digest for key, s in own_settings.items()}
    intervals = read_intervals(snapshot, keys, set(settings.values()))
    kept = snapshot.data if snapshot is not None else {}
    pages = []
    for model in models:
        lines = []
        for (of, component), fit in fits.items():
            if of == model.pk:
                counts = seen_counts(fit, own.get((of, component), {}))
                key = (of, fit.task or "", settings.get((of, fit.task or ""), ""))
                cost = _failure_cost(kept, component, contractor)
                waiting = own_settings.get(key[:2]) if fit.setting and key not in intervals else None
                seen = as_seen(fit, counts)
                lines.append(ComponentLine(component, seen, counts, intervals.get(key), cost, waiting))
        # Equal ones keep the order of the trade's list of components.
        lines.sort(key=lambda line: (-line.counts.events, -line.spent))
        whole = bool(lines) and all(line.counts.whole for line in lines)
        repairs = kept.get("repairs", {}).get(str(model.pk)) if whole else None
        pages.append(
            ModelPage(
                model,
                units.get(model.pk, 0),
                tuple(lines),
                scanned=snapshot is not None,
                repairs=None if repairs is None else curve_of(repairs),
                whose="" if contractor is None else contractor.name,
            )
        )
    return pages


def _digests(fits: Mapping[tuple[int, str], FitRecord]) -> dict[tuple[int, str], str]:
    """The figures that most units of a model run under, by (model, task)."""
    return {(m, fit.task): fit.setting for (m, _c), fit in fits.items() if fit.task and fit.setting}


def _settings_of(models: list[int], contractor: Contractor) -> dict[tuple[int, str], Setting]:
    """The contractor's own figures as they are now, by (model, task)."""
    pairs = [(contractor.pk, m) for m in models]
    found = settings_of(pairs, Catalog(pairs), {contractor.pk: contractor})
    return {(m, task): setting for (_c, m, task), setting in found.items()}


def _failure_cost(kept: Mapping[str, Any], component: str, contractor: Contractor | None) -> float:
    """What one failure of the component costs on average; 1 where nothing is known, so that counts alone decide."""
    work = kept.get("costs", {}).get("failures", {}).get(component)
    figures = Figures.of(contractor or Contractor())
    return figures.cost(Work(**work)).cost if work else 1.0


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
