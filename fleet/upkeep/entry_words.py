"""An entry of the ledger in a sentence, for histories."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import (
    Assignment,
    CrewHours,
    Entry,
    Failure,
    FlagChange,
    GuardCheck,
    HoursEntry,
    Retirement,
    Service,
)
from fleet.upkeep.job_words import short_date
from fleet.vocabulary import (
    AS_FOUND,
    CAUSES,
    COMPONENTS,
    FAILURE_DONE,
    GUARD_STATES,
    LINE_STATES,
    SAFETY_STATES,
    SERVICE_DONE,
    TASKS,
    Label,
)

# Exact by definition: 231 cubic inches.
LITRES_PER_GALLON = Decimal("3.785411784")

KIND_LABELS: dict[str, Label] = {
    "hours": gettext_lazy("Hours"),
    "crew_hours": gettext_lazy("Crew's hours"),
    "move": gettext_lazy("Move"),
    "guard": gettext_lazy("Guard walk"),
    "service": gettext_lazy("Service"),
    "failure": gettext_lazy("Failure"),
    "retirement": gettext_lazy("Retired"),
    "postponement": gettext_lazy("Put off"),
}
MOVED_BY: dict[str, Label] = {
    **KIND_LABELS,
    "withdrawal": gettext_lazy("Withdrawal"),
    "scan": gettext_lazy("Nightly scan"),
    "import": gettext_lazy("Import"),
    "paper": gettext_lazy("Paper filled in"),
}


def plain(value: Decimal | None) -> str:
    """A figure without needless zeros."""
    if value is None:
        return ""
    text = f"{value.normalize():f}"
    return str(number_format(Decimal(text), use_l10n=True, force_grouping=True))


def fuel_words(litres: Decimal | None) -> str:
    """Fuel in US gallons, liters beside."""
    gallons = (litres or Decimal(0)) / LITRES_PER_GALLON
    return _("%(gallons)s gal (%(liters)s L)") % {
        "gallons": plain(gallons.quantize(Decimal("0.1"))), "liters": plain(litres),
    }  # fmt: skip


def entry_words(entry: Entry) -> str:
    """What the entry says, without its date."""
    if isinstance(entry, HoursEntry):
        return _hours(entry)
    if isinstance(entry, CrewHours):
        return _crew_hours(entry)
    if isinstance(entry, Assignment):
        return _("Rides with %(crew)s") % {"crew": entry.crew} if entry.crew else _("In the yard, with no crew")
    if isinstance(entry, GuardCheck):
        return _guard(entry)
    if isinstance(entry, Service):
        return _service(entry)
    if isinstance(entry, Failure):
        return _failure(entry)
    if isinstance(entry, Retirement):
        return entry.why or _("Retired")
    raise TypeError(type(entry))


def _hours(entry: HoursEntry) -> str:
    if entry.meter_hours is not None:
        words = _("New meter reads %(hours)s h") if entry.meter_replaced else _("Meter reads %(hours)s h")
        return words % {"hours": plain(entry.meter_hours)}
    if entry.hours_run is not None:
        return _("%(hours)s h run") % {"hours": plain(entry.hours_run)}
    return _("%(fuel)s of fuel drawn") % {"fuel": fuel_words(entry.litres)}


def _crew_hours(entry: CrewHours) -> str:
    if entry.crew_hours is not None:
        return _("%(crew)s ran %(hours)s trimmer hours that week, shared over its units") % {
            "crew": entry.crew, "hours": plain(entry.crew_hours),
        }  # fmt: skip
    share = Decimal(1) if entry.trimmer_share is None else entry.trimmer_share
    return _("%(crew)s drew %(fuel)s that week, %(share)s %% of it for trimmers") % {
        "crew": entry.crew, "fuel": fuel_words(entry.crew_litres), "share": plain(100 * share),
    }  # fmt: skip


def _guard(entry: GuardCheck) -> str:
    # The walk asks "off, refitted now?"; in the history it also stands for a damaged guard that a sound one replaced.
    guards = {**GUARD_STATES, "refitted": _("off or damaged, put right that day")}
    parts = [
        f"{name} {words[value]}"
        for name, value, words in (
            (_("guard"), entry.guard, guards),
            (_("line"), entry.line, LINE_STATES),
            (_("safety"), entry.safety, SAFETY_STATES),
        )
        if value
    ]
    return _first_upper("; ".join(parts))


def _service(entry: Service) -> str:
    parts = [f"{TASKS[entry.task].label}: {SERVICE_DONE[entry.done]}"]
    if entry.as_found:
        parts.append(_("found %(finding)s") % {"finding": AS_FOUND[entry.as_found]})
    parts += _at(entry.hours, entry.part_hours)
    return ", ".join(parts)


def _failure(entry: Failure) -> str:
    parts = [str(COMPONENTS[entry.component])]
    if entry.what:
        parts[0] = f"{parts[0]}: {entry.what}"
    if entry.cause:
        parts.append(_("cause %(cause)s") % {"cause": CAUSES[entry.cause]})
    parts.append(str(FAILURE_DONE[entry.done]) if entry.done else _("not mended yet"))
    parts += _at(entry.hours, entry.part_hours)
    return _first_upper(", ".join(parts))


def _at(hours: Decimal | None, part_hours: Decimal | None) -> list[str]:
    parts = []
    if hours is not None:
        parts.append(_("at %(hours)s h") % {"hours": plain(hours)})
    if part_hours:
        parts.append(_("part fitted with %(hours)s h on it") % {"hours": plain(part_hours)})
    return parts


def _first_upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def change_words(change: FlagChange) -> str:
    """How a due mark moved."""
    before, after = change.before or {}, change.after or {}
    label = TASKS[change.task].label if change.task in TASKS else change.task
    if before.get("on_hold") != after.get("on_hold"):
        return f"{label}: {_('put on hold') if after.get('on_hold') else _('hold lifted')}"
    return _("%(task)s: due %(before)s before, %(after)s now") % {
        "task": label, "before": _due(before), "after": _due(after),
    }  # fmt: skip


def _due(said: dict) -> str:
    parts = []
    if said.get("due_hours") is not None:
        parts.append(_("at %(hours)s h") % {"hours": f"{said['due_hours']:,.0f}"})
    if said.get("due_date"):
        day = dt.date.fromisoformat(said["due_date"])
        parts.append(_("by %(date)s") % {"date": short_date(day, dt.date.min)})
    return " ".join(parts) or _("not at all")
