"""Planning of models: terms and intervals that differ from those which stand for the contractor."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Q
from django.utils.translation import gettext as _

from fleet.models import ModelTerms, TaskInterval, TrimmerModel

from .cells import NONE
from .import_parties import party_of, whose
from .import_plan import FilePlan, IntervalChange, ModelChange
from .import_world import Party, World
from .rows import ModelRow


class StandingTerms:
    """Terms and intervals of models as they stand for each contractor: its own, else its shop's, else the portal's."""

    def __init__(self, parties: Iterable[Party], models: Iterable[TrimmerModel]) -> None:
        parties, models = list(parties), [m for m in models if m.pk]
        shops = [p.shop.pk for p in parties if p.shop is not None and p.shop.pk]
        mine = Q(contractor__in=[p.contractor.pk for p in parties if p.saved])
        shared = Q(contractor=None, shop__in=shops) | Q(contractor=None, shop=None)
        self._terms: dict[tuple[int, int | None, int | None], ModelTerms] = {
            (t.model_id, t.contractor_id, t.shop_id): t
            for t in ModelTerms.objects.filter(mine | shared, model__in=models)
        }
        self._intervals: dict[tuple[int, str, int | None, int | None], TaskInterval] = {
            (i.model_id, i.task, i.contractor_id, i.shop_id): i
            for i in TaskInterval.objects.filter(mine | shared, model__in=models)
        }

    @staticmethod
    def _scopes(party: Party) -> list[tuple[int | None, int | None]]:
        scopes: list[tuple[int | None, int | None]] = [(party.contractor.pk, None)] if party.saved else []
        if party.shop is not None and party.shop.pk:
            scopes.append((None, party.shop.pk))
        return [*scopes, (None, None)]

    def term(self, party: Party, model: TrimmerModel, name: str) -> Any:
        """The nearest figure anybody entered, or None."""
        for scope in self._scopes(party):
            terms = self._terms.get((model.pk, *scope))
            value = getattr(terms, name, None)
            if value not in (None, "", {}):
                return value
        return None

    def interval(self, party: Party, model: TrimmerModel, task: str, measure: str) -> tuple[bool, Any, str]:
        """(given, figure or None for *none*, source) of the nearest interval in hours or months."""
        for scope in self._scopes(party):
            row = self._intervals.get((model.pk, task, *scope))
            if row is not None and getattr(row, f"{measure}_given"):
                return True, getattr(row, measure), row.source
        return False, None, ""

    def manual(self, party: Party, model: TrimmerModel, task: str, measure: str) -> Any:
        """The maker's figure as the shop or the portal entered it, or None."""
        for scope in self._scopes(party):
            row = self._intervals.get((model.pk, task, *scope))
            if scope[0] is None and row is not None and row.source == "maker" and getattr(row, measure) is not None:
                return getattr(row, measure)
        return None

    def models_with_own_terms(self, party: Party) -> set[int]:
        """Models for which this contractor has a figure of its own."""
        own = {m for m, contractor, _shop in self._terms if contractor == party.contractor.pk}
        return own | {m for m, _task, contractor, _shop in self._intervals if contractor == party.contractor.pk}


def plan_models(world: World, plan: FilePlan) -> None:
    """Plan a models file. A row without a contractor's name speaks for every contractor of the import."""
    known = set(world.models)
    rows: list[tuple[ModelRow, list[Party], TrimmerModel]] = []
    for row in plan.table.rows:
        parties = _parties_of(world, plan, row)
        if parties:
            rows.append((row, parties, world.model(row.maker, row.model)))
    standing = StandingTerms(world.parties.values(), [model for _row, _parties, model in rows])
    seen: dict[tuple[str, int], ModelRow] = {}
    for row, parties, model in rows:
        new = model.key not in known
        known.add(model.key)
        changes = []
        clash = False
        for party in parties:
            earlier = seen.setdefault((model.key, id(party)), row)
            if earlier is not row:
                clash = clash or not _same(earlier, row)
                continue
            change = _change(standing, party, model, row)
            if change is not None:
                changes.append(change)
                _refuse_beyond_manual(standing, plan, row, change)
            elif new:
                changes.append(ModelChange(party, model, {}, {}))
        if clash:
            plan.table.refuse(row, "model", _("This model stands on an earlier line with other values. Keep one row."))
        elif changes:
            plan.changes += changes
            plan.added += 1
        else:
            plan.repeated += 1


def _parties_of(world: World, plan: FilePlan, row: ModelRow) -> list[Party]:
    if not row.contractor and world.default is None and world.parties:
        ready = [party for party in world.parties.values() if not party.refused]
        if ready:
            return ready
        plan.refuse_once(row, "contractor", whose(world))
        return []
    party = party_of(world, plan, row)
    return [party] if party is not None else []


def _same(a: ModelRow, b: ModelRow) -> bool:
    return (a.terms, a.warranty_by_group, a.intervals, a.sources) == (
        b.terms,
        b.warranty_by_group,
        b.intervals,
        b.sources,
    )


def _change(standing: StandingTerms, party: Party, model: TrimmerModel, row: ModelRow) -> ModelChange | None:
    """What must be written so that the row's figures stand for the contractor; nothing where they do already."""
    terms = {name: value for name, value in row.terms.items() if standing.term(party, model, name) != value}
    groups = dict(standing.term(party, model, "warranty_by_group") or {})
    if row.warranty_by_group and {**groups, **row.warranty_by_group} != groups:
        terms["warranty_by_group"] = {**groups, **row.warranty_by_group}
    intervals: dict[str, IntervalChange] = {}
    for (task, measure), told in row.intervals.items():
        figure = None if told is NONE else told
        given, stands, source = standing.interval(party, model, task, measure)
        said = row.sources.get(task, source or "maker")
        if given and stands == figure and source == said:
            continue
        change = intervals.setdefault(task, IntervalChange(said))
        change.source = said
        change.figures[measure] = figure
    return ModelChange(party, model, terms, intervals) if terms or intervals else None


def _refuse_beyond_manual(standing: StandingTerms, plan: FilePlan, row: ModelRow, change: ModelChange) -> None:
    """Common practice is never entered beyond what the maker's manual, as the shop or portal has it, allows."""
    for task, interval in change.intervals.items():
        for measure, figure in interval.figures.items():
            manual = standing.manual(change.party, change.model, task, measure)
            if interval.source == "practice" and manual is not None and (figure is None or figure > manual):
                plan.table.refuse(
                    row,
                    f"{task}_{measure}",
                    _("The maker's manual gives %s here. Common practice cannot go beyond the manual.") % manual,
                )
