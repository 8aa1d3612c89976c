"""Changes to the catalog: a model added, its figures and intervals as one party holds them; each kept with its date."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.utils.translation import gettext as _

from fleet.models import CatalogChange, ModelTerms, TaskInterval, Trimmer, TrimmerModel, User
from fleet.models.tenancy import all_tenants
from fleet.record.words import model_key
from fleet.record.writing import Refused
from fleet.upkeep.catalog import CONTRACTOR, MEASURES, PORTAL, SHOP, TERMS, Holder, chain
from fleet.upkeep.intervals import MAKER, PRACTICE, shops_of
from fleet.upkeep.refresh import refresh_in_shards
from fleet.vocabulary import TASKS, WARRANTY_GROUPS


@dataclass(frozen=True)
class Limit:
    """What a party says of one limit: not given, does not apply (``figure`` None), or a figure."""

    given: bool
    figure: Decimal | None = None

    @property
    def word(self) -> str | None:
        """As the change is kept: None where nothing is given."""
        if not self.given:
            return None
        return "none" if self.figure is None else str(self.figure)


def add_model(*, maker: str, name: str, holder: Holder, by: User) -> TrimmerModel:
    """The model of this maker and name, new where nobody had it; the party holds it from now on."""
    maker, name = " ".join(maker.split()), " ".join(name.split())
    if not maker or not name:
        raise Refused(
            _("Enter the maker and the model as they stand on the machine."), "maker" if not maker else "name"
        )
    with transaction.atomic():
        model, new = TrimmerModel.objects.get_or_create(
            key=model_key(maker, name), defaults={"maker": maker, "name": name}
        )
        ModelTerms.objects.get_or_create(model=model, **holder.scope)
        if new:
            after = {"maker": maker, "name": name}
            CatalogChange.objects.create(model=model, what="model", after=after, author=by, **holder.scope)
    return model


def set_interval(
    *,
    model: TrimmerModel,
    task: str,
    holder: Holder,
    hours: Limit,
    months: Limit,
    source: str,
    by: User,
    confirmed: bool = False,
) -> bool:
    """What the party says of one task's interval; false where it says so already.

    A wider party's figure from the maker's manual is never passed by common practice, and passed by another manual's
    figure only when that is confirmed.
    """
    if task not in TASKS:
        raise KeyError(task)
    said = {"hours": hours, "months": months}
    with transaction.atomic():
        _refuse_longer(model, task, holder, said, source, confirmed)
        row = (
            TaskInterval.objects.select_for_update().filter(model=model, task=task, **holder.scope).first()
        ) or TaskInterval(model=model, task=task, **holder.scope)
        before = interval_words(row)
        for measure, limit in said.items():
            setattr(row, measure, limit.figure if limit.given else None)
            setattr(row, f"{measure}_given", limit.given)
        row.source = source
        after = interval_words(row)
        if before == after:
            return False
        row.save()
        CatalogChange.objects.create(
            model=model, what="interval", task=task, before=before, after=after, author=by, **holder.scope
        )
    return True


def interval_words(row: TaskInterval) -> dict[str, str | None]:
    """One interval as its history keeps it."""
    words = {m: Limit(getattr(row, f"{m}_given"), _decimal(getattr(row, m))).word for m in MEASURES}
    given = any(word is not None for word in words.values())
    return {**words, "source": row.source if given else None}


def _decimal(value: Any) -> Decimal | None:
    return None if value is None else Decimal(value).normalize() + 0


def _refuse_longer(
    model: TrimmerModel, task: str, holder: Holder, said: Mapping[str, Limit], source: str, confirmed: bool
) -> None:
    shop = shops_of([holder.contractor_id]).get(holder.contractor_id) if holder.contractor_id else None
    wider = chain(holder, shop)[1:]
    rows = {(i.contractor_id, i.shop_id): i for i in TaskInterval.objects.filter(model=model, task=task)}
    for measure, limit in said.items():
        if not limit.given:
            continue
        for _kind, contractor_id, shop_id in wider:
            row = rows.get((contractor_id, shop_id))
            if row is None or row.source != MAKER or getattr(row, measure) is None:
                continue
            manual = getattr(row, measure)
            if limit.figure is not None and limit.figure <= manual:
                break
            words = {"figure": format(Decimal(manual).normalize() + 0, "f")}
            if source == PRACTICE:
                raise Refused(
                    _("The maker's manual gives %(figure)s here. Common practice cannot go beyond the manual.") % words,
                    measure,
                )
            if not confirmed:
                raise Refused(
                    _(
                        "The maker's manual was entered with %(figure)s here. Go beyond it only where the manual for "
                        "your machine says so."
                    )
                    % words,
                    measure,
                    ask=True,
                )
            break


def set_terms(
    *, model: TrimmerModel, holder: Holder, values: Mapping[str, Any], groups: Mapping[str, int | None], by: User
) -> bool:
    """The party's price, warranty, burn rate and vibration; None gives a figure back. False: nothing changed."""
    unknown = set(values) - set(TERMS) | set(groups) - set(WARRANTY_GROUPS)
    if unknown:
        raise KeyError(sorted(unknown))
    with transaction.atomic():
        row = ModelTerms.objects.select_for_update().filter(model=model, **holder.scope).first() or ModelTerms(
            model=model, **holder.scope
        )
        before = term_words(row)
        for name, value in values.items():
            setattr(row, name, "" if value is None and name == "vibration_source" else value)
        kept = {**row.warranty_by_group, **groups}
        row.warranty_by_group = {group: months for group, months in kept.items() if months is not None}
        after = term_words(row)
        if before == after and row.pk:
            return False
        row.save()
        changed = [name for name in {**before, **after} if before.get(name) != after.get(name)]
        CatalogChange.objects.create(
            model=model,
            what="terms",
            before={name: before.get(name) for name in changed},
            after={name: after.get(name) for name in changed},
            author=by,
            **holder.scope,
        )
    return True


def term_words(row: ModelTerms) -> dict[str, Any]:
    """One party's figures as their history keeps them."""
    words: dict[str, Any] = {}
    for name in TERMS:
        value = getattr(row, name)
        if value not in (None, ""):
            words[name] = _written(value)
    return words | {f"warranty_{group}": months for group, months in row.warranty_by_group.items()}


def _written(value: Any) -> Any:
    if isinstance(value, dt.date):
        return value.isoformat()
    return str(_decimal(value)) if isinstance(value, Decimal | int) else value


def units_touched(*, model: TrimmerModel, holder: Holder) -> list[int]:
    """Units in use whose answers may rest on what this party says of the model."""
    with all_tenants():
        units = Trimmer.objects.filter(model=model, retired_on__isnull=True)
        if holder.kind == CONTRACTOR:
            units = units.filter(contractor=holder.contractor_id)
        elif holder.kind == SHOP:
            everyone = units.order_by().values_list("contractor_id", flat=True).distinct()
            units = units.filter(
                contractor__in=[c for c, shop in shops_of(list(everyone)).items() if shop == holder.shop_id]
            )
        elif holder.kind != PORTAL:
            raise KeyError(holder.kind)
        return list(units.order_by("contractor_id", "pk").values_list("pk", flat=True))


def refresh_after_change(*, unit_ids: list[int]) -> None:
    """Bring the flags of these units up to the changed catalog."""
    if unit_ids:
        with all_tenants():
            refresh_in_shards(unit_ids, "catalog")
