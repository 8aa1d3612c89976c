"""The catalog's figures and changes in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from fleet.models import CatalogChange, ModelTerms
from fleet.upkeep.catalog import Figure, ModelSheet
from fleet.vocabulary import TASKS, WARRANTY_GROUPS, Label

LITRES_PER_GALLON = Decimal("3.785411784")
MONEY = frozenset({"price", "resale_share_per_season"})


@dataclass(frozen=True)
class FigureLine:
    """One figure of a model: what it is, what stands, whose it is."""

    label: Label
    value: str
    whose: str


@dataclass(frozen=True)
class ChangeLine:
    """One change of the catalog in words."""

    change: CatalogChange
    what: str
    details: tuple[str, ...]
    who: str


def _plain(value: Any) -> str:
    return number_format(Decimal(value).normalize() + 0, use_l10n=True, force_grouping=True)


def _words(name: str, value: Any) -> str:
    if name == "price":
        return "$" + number_format(Decimal(value), 2, force_grouping=True)
    if name == "resale_share_per_season":
        return f"{_plain(Decimal(value) * 100)} %"
    if name == "burn_litres_per_hour":
        gallons = (Decimal(value) / LITRES_PER_GALLON).quantize(Decimal("0.01"))
        return _("%(gallons)s gal/h (%(liters)s L/h)") % {"gallons": gallons, "liters": _plain(value)}
    if name == "vibration_ms2":
        return _("%s m/s²") % _plain(value)
    if name == "vibration_source":
        return str(dict(ModelTerms.VIBRATION_SOURCES).get(value, value))
    if name == "parts_end_on":
        return str(value)
    if name == "displacement_cc":
        return _("%s cc") % _plain(value)
    return _("%s months") % _plain(value)


def _label(name: str) -> Label:
    if name.startswith("warranty_") and name.removeprefix("warranty_") in WARRANTY_GROUPS:
        return _("warranty on %s") % WARRANTY_GROUPS[name.removeprefix("warranty_")][0]
    labels: dict[str, Label] = {
        "displacement_cc": _("displacement"),
        "price": _("price new"),
        "resale_share_per_season": _("share of its price kept each season"),
        "warranty_months": _("warranty"),
        "burn_litres_per_hour": _("fuel burnt"),
        "vibration_ms2": _("vibration at the handles"),
        "vibration_source": _("vibration figure from"),
        "parts_end_on": _("maker's parts end on"),
    }
    return labels.get(name, name)


def figure_lines(sheet: ModelSheet, *, money: bool) -> list[FigureLine]:
    """Every figure of a model in order; prices only for those who may see money."""
    order = (
        "price",
        "resale_share_per_season",
        "warranty_months",
        *(f"warranty_{group}" for group in WARRANTY_GROUPS),
        "burn_litres_per_hour",
        "vibration_ms2",
        "vibration_source",
        "displacement_cc",
        "parts_end_on",
    )
    groups = {f"warranty_{group}": figure for group, figure in sheet.groups.items()}
    lines = []
    for name in order:
        if name in MONEY and not money:
            continue
        figure: Figure = groups[name] if name in groups else sheet.terms[name]
        if figure.value in (None, ""):
            if name not in groups and name not in ("vibration_source", "parts_end_on"):
                lines.append(FigureLine(_label(name), _("not given"), ""))
            continue
        lines.append(FigureLine(_label(name), _words(name, figure.value), figure.whose_word))
    return lines


def change_lines(changes: Iterable[CatalogChange], *, money: bool) -> list[ChangeLine]:
    """Changes in words; money only for those who may see it."""
    return [_change_line(change, money) for change in changes]


def _change_line(change: CatalogChange, money: bool) -> ChangeLine:
    details: list[str] = []
    if change.what == "interval":
        what = str(TASKS[change.task].label) if change.task in TASKS else change.task
        for measure, label in (("hours", _("hours")), ("months", _("months"))):
            was, now = change.before.get(measure), change.after.get(measure)
            if was != now:
                details.append(f"{label}: {_limit(was)} → {_limit(now)}")
        if change.before.get("source") != change.after.get("source") and change.after.get("source"):
            practice = change.after["source"] == "practice"
            details.append(_("from common practice") if practice else _("from the maker's manual"))
    elif change.what == "terms":
        what = _("Figures")
        for name in change.after:
            if name in MONEY and not money:
                continue
            was, now = change.before.get(name), change.after.get(name)
            details.append(f"{_label(name)}: {_or_nothing(name, was)} → {_or_nothing(name, now)}")
    elif change.what == "recall":
        ended = "ended_on" in change.after
        what = _("Recall notice ended") if ended else _("Recall notice put up")
        details.append(change.after.get("ended_on") or change.after.get("source", ""))
    else:
        what = _("Model added")
    # Who keeps the portal's own figures is nobody else's business.
    named = change.author is not None and (change.contractor_id or change.shop_id)
    return ChangeLine(change, what, tuple(details), str(change.author) if named else _("the portal"))


def _limit(word: str | None) -> str:
    if word is None:
        return _("not given")
    return _("does not apply") if word == "none" else word


def _or_nothing(name: str, value: Any) -> str:
    return _("not given") if value is None else _words(name, value)
