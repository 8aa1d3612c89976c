"""Hours: a meter's reading, hours run, fuel drawn, or a crew's total for a week."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.db import transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from fleet.models import Contractor, Crew, CrewHours, HoursEntry, Trimmer
from fleet.record.readings import METER, REPLACED, TOTAL, Clash, OwnEntry, Reading, clashes, told_too_many
from fleet.record.standing import standing, standing_own_entries, standing_readings
from fleet.record.writing import By, Refused, already_recorded, append, check_date, lock_units, refresh_touched
from fleet.upkeep.companions import monday_of

# Above this, people have usually typed the hours they were paid for.
ASK_ABOVE_A_DAY = 8
MOST_HOURS, MOST_LITRES = Decimal("99999"), Decimal("2000")


@dataclass(frozen=True)
class HoursLine:
    """What one unit's line on the Hours page says: exactly one of the three figures."""

    unit: Trimmer
    on: dt.date
    meter_hours: Decimal | None = None
    hours_run: Decimal | None = None
    litres: Decimal | None = None
    meter_replaced: bool = False


def record_hours(*, lines: Sequence[HoursLine], by: By, today: dt.date, confirmed: bool = False) -> list[HoursEntry]:
    """Record one unit's hours or a whole crew's: all lines or none.

    Raises ``Refused`` for figures that cannot be, with what to do instead; with ``ask`` for figures that are merely
    unlikely (more than 8 hours a day), which go in when ``confirmed``. All lines are looked at: its ``more`` holds the
    refusals of the other lines.
    """
    with transaction.atomic():
        units = lock_units(line.unit.pk for line in lines)
        own, readings = standing_own_entries(list(units.values())), standing_readings(list(units.values()))
        entries: list[HoursEntry] = []
        refused: list[Refused] = []
        seen: Counter[int] = Counter()
        for line in lines:
            unit = units[line.unit.pk]
            # Counted by unit: a line left out of a repeat must not make the lines below it new ones.
            mine = by.part(f"{unit.pk}-{seen[unit.pk]}")
            seen[unit.pk] += 1
            entry = HoursEntry(
                contractor_id=unit.contractor_id,
                trimmer=unit,
                occurred_on=line.on,
                meter_hours=line.meter_hours,
                hours_run=line.hours_run,
                litres=line.litres,
                meter_replaced=line.meter_replaced,
            )
            try:
                if already_recorded(entry, mine) is not None:
                    continue
                _check_line(line, unit, today)
                _check_hours_told(line, unit, own[unit.pk], confirmed)
                _check_reading(line, unit, readings[unit.pk], confirmed)
            except Refused as refusal:
                refusal.unit = refusal.unit or unit
                refused.append(refusal)
                continue
            entries.append(append(entry, mine, {"trimmer": unit}))
        if refused:
            # What cannot be comes before what is only asked about.
            first, *more = sorted(refused, key=lambda r: r.ask)
            first.more = more
            raise first
        refresh_touched(entries, "hours")
    return entries


def _check_line(line: HoursLine, unit: Trimmer, today: dt.date) -> None:
    given = [v for v in (line.meter_hours, line.hours_run, line.litres) if v is not None]
    if len(given) != 1:
        raise Refused(_("Enter the meter's reading, or hours run, or fuel drawn: one of them."), "hours_run", unit=unit)
    if given[0] < 0:
        raise Refused(_("Hours and liters cannot be below zero."), "hours_run", unit=unit)
    if given[0] > (MOST_LITRES if line.litres is not None else MOST_HOURS):
        raise Refused(_("This figure looks too large. Check it."), "hours_run", unit=unit)
    if line.meter_replaced and line.meter_hours is None:
        raise Refused(_("Enter what the new meter reads."), "meter_hours", unit=unit)
    check_date(unit, line.on, today)


def _check_hours_told(line: HoursLine, unit: Trimmer, own: list[OwnEntry], confirmed: bool) -> None:
    new = OwnEntry(line.on, line.hours_run)
    blamed = told_too_many([*own, new], unit.registered_on)
    for entry, days in blamed:
        if entry is new:
            raise Refused(
                _(
                    "%(hours)s hours do not fit into the %(days)s days since the last entry of %(unit)s. "
                    "Enter engine hours, not paid hours; for a longer stretch, enter the meter's reading."
                )
                % {"hours": line.hours_run, "days": days, "unit": unit.tag},
                "hours_run",
                unit=unit,
            )
    if line.hours_run is not None and not confirmed:
        before = max((e.day for e in own if e.day < line.on), default=unit.registered_on)
        days = max(1, min((line.on - before).days, 5))
        if line.hours_run > ASK_ABOVE_A_DAY * days:
            raise Refused(
                _("%(hours)s hours for %(unit)s is more than 8 a day. Engine hours are meant, not paid hours. Keep it?")
                % {"hours": line.hours_run, "unit": unit.tag},
                "hours_run",
                ask=True,
                unit=unit,
            )
    own.append(OwnEntry(line.on, line.hours_run, fixed=True))


def _check_reading(line: HoursLine, unit: Trimmer, readings: list[Reading], confirmed: bool) -> None:
    if line.meter_hours is None:
        return
    new = Reading(line.on, REPLACED if line.meter_replaced else METER, line.meter_hours, ref="new")
    refuse_clashes(unit, [*readings, new], "meter_hours")
    earlier = [r for r in readings if r.kind != REPLACED and r.day < line.on]
    if not line.meter_replaced and earlier and not confirmed:
        last = max(earlier, key=lambda r: (r.day, r.hours))
        gained, days = line.meter_hours - last.hours, (line.on - last.day).days
        if gained > ASK_ABOVE_A_DAY * days:
            raise Refused(
                _("That is %(gained)s hours in %(days)s days for %(unit)s, more than 8 a day. Keep it?")
                % {"gained": gained, "days": days, "unit": unit.tag},
                "meter_hours",
                ask=True,
                unit=unit,
            )
    readings.append(Reading(line.on, new.kind, line.meter_hours, fixed=True))


def refuse_clashes(unit: Trimmer, readings: list[Reading], field: str) -> None:
    """Refuse a new reading that contradicts what stands, naming the neighbor and what to do."""
    for clash in clashes(readings):
        if clash.reading.ref == "new":
            raise Refused(clash_sentence(unit, clash), field, unit=unit)


def clash_sentence(unit: Trimmer, clash: Clash) -> str:
    """Why a reading cannot stand beside its neighbor, and what to do."""
    values = {
        "unit": unit.tag,
        "hours": clash.neighbor.hours,
        "date": date_format(clash.neighbor.day, "M j, Y"),
        "new": clash.reading.hours,
    }
    if clash.rise:
        return (
            _("%(unit)s read %(hours)s on %(date)s: %(new)s would be more than 24 hours a day. Check figure and date.")
            % values
        )
    if clash.reading.day < clash.neighbor.day:
        return (
            _(
                "%(unit)s already read %(hours)s on %(date)s, less than %(new)s. Check figure and date, "
                "or withdraw that entry."
            )
            % values
        )
    return (
        _(
            "%(unit)s already read %(hours)s on %(date)s: %(new)s would go backwards. If the meter was exchanged, "
            "tick meter replaced; if that entry is wrong, withdraw it on the unit's page."
        )
        % values
    )


def check_total(unit: Trimmer, on: dt.date, hours: Decimal | None) -> None:
    """Refuse total hours on a service or failure that contradict the unit's readings."""
    if hours is None:
        return
    if hours < 0 or hours > MOST_HOURS:
        raise Refused(_("Check the engine hours: they must lie between 0 and 99,999."), "hours", unit=unit)
    readings = standing_readings([unit])[unit.pk]
    refuse_clashes(unit, [*readings, Reading(on, TOTAL, hours, ref="new")], "hours")


def record_crew_hours(
    *,
    crew: Crew,
    week_of: dt.date,
    by: By,
    today: dt.date,
    crew_hours: Decimal | None = None,
    crew_litres: Decimal | None = None,
    trimmer_share: Decimal | None = None,
) -> CrewHours:
    """Record a crew's trimmer hours for the week that holds ``week_of``, or the fuel drawn from its shared can."""
    if week_of > today:
        raise Refused(_("This week is still to come. Choose the week the hours were run in."), "week_of")
    if (crew_hours is None) == (crew_litres is None):
        raise Refused(_("Enter the crew's hours, or the fuel its can held: one of them."), "crew_hours")
    figure = crew_hours if crew_hours is not None else crew_litres
    assert figure is not None
    if figure < 0 or figure > MOST_LITRES:
        raise Refused(_("This figure is too large or below zero. Check it."), "crew_hours")
    if trimmer_share is not None and not 0 <= trimmer_share <= 1:
        raise Refused(_("The trimmers' share of the can lies between 0 and 1."), "trimmer_share")
    monday = monday_of(week_of)
    with transaction.atomic():
        # The contractor's row is the lock that keeps one week's total from landing twice.
        Contractor.objects.select_for_update().get(pk=crew.contractor_id)
        entry = CrewHours(
            contractor_id=crew.contractor_id,
            crew=crew,
            occurred_on=monday,
            week_of=monday,
            crew_hours=crew_hours,
            crew_litres=crew_litres,
            trimmer_share=trimmer_share,
        )
        before = already_recorded(entry, by)
        if before is not None:
            return before
        if (
            crew_hours is not None
            and standing(
                CrewHours.objects.filter(crew=crew, week_of=monday, crew_hours__isnull=False), "crew_hours"
            ).exists()
        ):
            raise Refused(
                _("This crew's hours for that week are already in. Withdraw them first if they are wrong."),
                "crew_hours",
            )
        append(entry, by, {"crew": crew})
        refresh_touched([entry], "hours")
    return entry
