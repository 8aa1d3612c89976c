"""Faults as crews tell them, in plain words, and what each becomes in the ledger.

What keeps people safe is recorded as a finding and holds the unit at once. The rest is an open failure under the
component it most often turns out to be, with the crew's words; the bench records what it really was. Some of these
stop the unit on every screen until the shop has looked (``fleet.upkeep.stops``).
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.models import Entry, GuardCheck, Trimmer
from fleet.record.guard_walk import Seen, record_walk
from fleet.record.work import Broken, Work, record_failure, record_service
from fleet.record.writing import By, Refused, recorded_by
from fleet.upkeep.stops import STOPPING_COMPONENTS
from fleet.vocabulary import Label


@dataclass(frozen=True)
class Fault:
    """One thing that can be wrong. ``holds``: nobody may start the unit until it is put right."""

    key: str
    words: Label
    guard: str = ""
    safety: str = ""
    screen: str = ""
    component: str = ""
    warns: str = ""

    @property
    def holds(self) -> bool:
        return bool(self.guard or self.safety or self.screen)

    @property
    def stops(self) -> bool:
        """Whether nobody may start the unit before the shop has looked."""
        return self.component in STOPPING_COMPONENTS

    @property
    def caution(self) -> str:
        """Key of its caution."""
        return self.guard or self.safety or self.warns or ("screen" if self.screen else "")


FAULTS: dict[str, Fault] = {
    fault.key: fault
    for fault in (
        Fault("no_stop", gettext_lazy("The switch does not stop the engine"), safety="no_stop"),
        Fault("turns_at_idle", gettext_lazy("The head turns at idle"), safety="turns_at_idle"),
        Fault("trigger_sticks", gettext_lazy("Trigger or lockout sticks"), safety="trigger_sticks"),
        Fault("fuel_leak", gettext_lazy("Fuel leaks"), safety="fuel_leak"),
        Fault("guard_off", gettext_lazy("Guard is off or lost"), guard="off"),
        Fault("guard_damaged", gettext_lazy("Guard is cracked or loose"), guard="damaged"),
        Fault("cracked_head", gettext_lazy("Cutting head is cracked"), safety="cracked_head"),
        Fault("loose_handle", gettext_lazy("Handle or mount is loose or torn"), safety="loose_handle"),
        Fault("screen_holed", gettext_lazy("Arrestor screen has a hole"), screen="holed"),
        Fault("screen_missing", gettext_lazy("Arrestor screen is missing"), screen="missing"),
        Fault("muffler", gettext_lazy("Muffler is loose or broken"), component="exhaust", warns="muffler"),
        Fault("no_start", gettext_lazy("Does not start, or only with much pulling"), component="fuel"),
        Fault("bogs", gettext_lazy("Bogs, dies or has no power"), component="carburetor"),
        Fault("hot", gettext_lazy("Runs hot or smells of burning"), component="cooling", warns="hot"),
        Fault("starter", gettext_lazy("Starter rope broken or stuck"), component="starter"),
        Fault("gearbox", gettext_lazy("Gearbox hot, loud or loose"), component="gearbox", warns="gearbox"),
        Fault("head_still", gettext_lazy("Engine revs, head stands still"), component="drive_shaft", warns="shaft"),
        Fault("spark", gettext_lazy("Spark plug or its lead"), component="ignition", warns="spark"),
        Fault("tank", gettext_lazy("Tank, cap or primer broken, no leak"), component="fuel", warns="tank"),
        Fault("shaft", gettext_lazy("Shaft bent or rattles"), component="drive_shaft", warns="shaft"),
        Fault("other", gettext_lazy("Something else"), component="other"),
    )
}


def report_fault(
    *, unit: Trimmer, fault: str, on: dt.date, by: By, today: dt.date, words: str = "", component: str = ""
) -> Entry:
    """Record a fault as reported. ``component`` is asked for only where the fault names none."""
    known = FAULTS.get(fault)
    if known is None:
        raise Refused(_("Choose one of the answers offered."), "fault", unit=unit)
    if known.screen:
        work = Work(unit, "arrestor", on, as_found=known.screen, done="looked")
        return record_service(work=work, by=by, today=today)
    if known.holds:
        return _as_seen(Seen(unit, guard=known.guard, safety=known.safety), on, by, today)
    if known.component == "other":
        if not component:
            raise Refused(_("Choose the part it is about, as near as you can tell."), "component", unit=unit)
        if not words.strip():
            raise Refused(_("Say in a few words what is wrong."), "words", unit=unit)
        what = words
    else:
        component = known.component
        what = f"{known.words}. {words}" if words.strip() else str(known.words)
    broken = Broken(unit, component, on, what=what.strip()[:200])
    return record_failure(broken=broken, by=by, today=today)


def _as_seen(seen: Seen, on: dt.date, by: By, today: dt.date) -> Entry:
    entries = record_walk(seen=[seen], on=on, by=by, today=today)
    # None: the same press sent again, so it stands already.
    before = entries[0] if entries else recorded_by(GuardCheck, by.part(f"{seen.unit.pk}-0"))
    if before is None:
        raise Refused(_("Choose one of the answers offered."), "fault", unit=seen.unit)
    return before
