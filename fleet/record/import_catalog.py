"""Writing what a models file changes: terms and intervals of contractors, each change kept with its date."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fleet.models import CatalogChange, ModelTerms, TaskInterval, User

from .catalog import interval_words, term_words
from .import_plan import ModelChange


def write_models(changes: Sequence[ModelChange], author: User | None) -> None:
    """Write the changes of models and contractors that are saved already, in a constant number of queries."""
    models = {change.model.pk for change in changes}
    contractors = {change.party.contractor.pk for change in changes}
    scope = {"model__in": models, "contractor__in": contractors}
    terms = {(t.model_id, t.contractor_id): t for t in ModelTerms.objects.select_for_update().filter(**scope)}
    intervals = {
        (i.model_id, i.contractor_id, i.task): i for i in TaskInterval.objects.select_for_update().filter(**scope)
    }
    history: list[CatalogChange] = []
    touched: dict[int, Any] = {}
    for change in changes:
        model, contractor = change.model.pk, change.party.contractor.pk
        if change.terms:
            row = terms.setdefault((model, contractor), ModelTerms(model_id=model, contractor_id=contractor))
            before = term_words(row)
            for name, value in change.terms.items():
                setattr(row, name, value)
            touched[id(row)] = row
            history.append(_kept("terms", row, before, term_words(row), author))
        for task, told in change.intervals.items():
            interval = intervals.setdefault(
                (model, contractor, task), TaskInterval(model_id=model, contractor_id=contractor, task=task)
            )
            words = interval_words(interval)
            interval.source = told.source
            for measure, figure in told.figures.items():
                setattr(interval, measure, figure)
                setattr(interval, f"{measure}_given", True)
            touched[id(interval)] = interval
            history.append(_kept("interval", interval, words, interval_words(interval), author, task))
    for kind in (ModelTerms, TaskInterval):
        manager: Any = kind.objects
        rows = [row for row in touched.values() if isinstance(row, kind)]
        new, known = [row for row in rows if row.pk is None], [row for row in rows if row.pk is not None]
        if new:
            manager.bulk_create(new)
        if known:
            fields = [f.name for f in kind._meta.concrete_fields if f.name not in ("id", "model", "contractor", "shop")]
            manager.bulk_update(known, fields, batch_size=200)
    CatalogChange.objects.bulk_create(history)


def _kept(
    what: str, row: Any, before: dict[str, Any], after: dict[str, Any], author: User | None, task: str = ""
) -> CatalogChange:
    changed = [name for name in {**before, **after} if before.get(name) != after.get(name)]
    return CatalogChange(
        model_id=row.model_id,
        contractor_id=row.contractor_id,
        what=what,
        task=task,
        before={name: before.get(name) for name in changed} if what == "terms" else before,
        after={name: after.get(name) for name in changed} if what == "terms" else after,
        author=author,
    )
