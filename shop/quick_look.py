"""The quick look at a complaint: four checks in five minutes, then carry on, call the owner, or stop.

Its four checks are lines of the bench sheet, so what is tapped here stands there too. The rule is common practice of
the trade with no source: a scored piston or no compression costs more than most units are worth; what goes beyond what
the owner agreed to is asked first; the rest goes on to the first checks.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils.translation import gettext_lazy as _

from fleet.cautions import COOL, FUEL, STILL, Caution, Point
from fleet.vocabulary import Label
from shop.sheet_lines import BAD, NOT_LOOKED, WORN

QUICK_LINES = ("fuel", "spark", "compression", "piston")
# Minutes for all four; common practice.
QUICK_MINUTES = 5

CARRY_ON, CALL, STOP, LOOK_ON = "carry_on", "call", "stop", "look_on"
VERDICTS: dict[str, Label] = {CARRY_ON: _("carry on"), CALL: _("call the owner"), STOP: _("stop")}

QUICK_CAUTION = Caution(
    _("None of the four needs it running: engine cold and stopped."),
    (
        STILL,
        FUEL,
        Point(_("Spark: a tester, or the plug grounded against bare metal, well away from the open fuel.")),
        Point(_("Ignition off and the lead grounded before the gauge goes into the plug hole."), practice=True),
        COOL,
        Point(_("The muffler goes back with its screen before anybody starts it.")),
    ),
)


@dataclass(frozen=True)
class Advice:
    """What the quick look says to do, and why; ``verdict`` is *look on* while a check is missing and nothing is bad."""

    verdict: str
    why: tuple[str, ...]


def advise(
    findings: Mapping[str, str], *, expected: Decimal | None = None, limit: Decimal | None = None, beyond: bool = False
) -> Advice:
    """What to do, from findings of the four lines.

    ``expected``: what the open jobs are expected to come to, in dollars; ``limit``: *OK to fix up to*, None where the
    owner wants to be asked; ``beyond``: whether anything is to be done that was not booked. Reasons are keys for
    ``WHY``.
    """
    bad = {key for key in QUICK_LINES if findings.get(key) == BAD}
    worn = {key for key in QUICK_LINES if findings.get(key) == WORN}
    missing = [key for key in QUICK_LINES if findings.get(key, NOT_LOOKED) == NOT_LOOKED]
    deep = [key for key in ("piston", "compression") if key in bad]
    if deep:
        return Advice(STOP, tuple(deep))
    why = [f"{key}_worn" for key in ("piston", "compression") if key in worn]
    if limit is None and beyond:
        why.append("ask_first")
    elif limit is not None and expected is not None and expected > limit:
        why.append("over_limit")
    if why and not missing:
        return Advice(CALL, tuple(why))
    if missing:
        return Advice(LOOK_ON, ("missing",))
    return Advice(CARRY_ON, tuple(key for key in ("fuel", "spark") if key in bad) or ("sound",))


WHY: dict[str, Label] = {
    "piston": _(
        "The piston is scored or stuck: do not run it. Engine work of this kind is weighed against a new unit."
    ),
    "compression": _("Compression is gone: open nothing more. Such engine work is weighed against a new unit."),
    "piston_worn": _("The piston shows wear: the owner says whether it is worth going on."),
    "compression_worn": _("Compression is low: the owner says whether it is worth going on."),
    "ask_first": _("The owner wants to be asked before anything that was not booked."),
    "over_limit": _("The open jobs come to more than the owner agreed to."),
    "missing": _("Not all four are looked at yet."),
    "fuel": _("The fuel is bad: empty it into a marked can, flush, fresh mix, then go on. It blames no part."),
    "spark": _("No good spark: go on with the first checks for it."),
    "sound": _("All four are sound: go on with the first checks."),
}
