"""What to watch out for at each job and after each finding, in our own words.

Usual cautions of the trade, never advice beyond the maker's manual: every page that shows one says that the operator's
manual and local rules come first. Points that are common practice, with no source claimed, say so.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from fleet.vocabulary import Label


@dataclass(frozen=True)
class Point:
    """One thing to watch out for; ``practice``: common practice of the trade, no source claimed."""

    words: Label
    practice: bool = False

    def __str__(self) -> str:
        return _("%(point)s (common practice)") % {"point": self.words} if self.practice else str(self.words)


@dataclass(frozen=True)
class Caution:
    """What stands beside the triangle: one sentence first, then points."""

    text: Label
    points: tuple[Point, ...] = ()


STILL = Point(gettext_lazy("Engine stopped and the plug lead off before hands come near head, guard or gearbox."))
COOL = Point(gettext_lazy("Muffler and gearbox stay hot long after stopping: let them cool, wear gloves."))
FUEL = Point(gettext_lazy("Fuel in the open only, away from flames, sparks and the hot engine; wipe up what spills."))
AIR = Point(
    gettext_lazy("Never run it indoors or half indoors: exhaust gas kills, open doors and fans are not enough.")
)
EYES = Point(
    gettext_lazy("Eye protection, and hearing protection while it runs: these engines are loud enough to harm.")
)
CARBON = Point(
    gettext_lazy("Carbon is soft but dirty: scrape away from you, keep it off skin and out of the cylinder.")
)
KEEP_SCREEN = Point(
    gettext_lazy("The screen goes back in, or a new one does: never run without it. It keeps grass fires off.")
)
KEEP_GUARD = Point(
    gettext_lazy("Never run without the guard: it stops what the line throws, and its cutter keeps the line short.")
)
HELD = Point(gettext_lazy("If the unit is on hold, do not start it for this: leave it to the bench."))
BLADE = Point(gettext_lazy("With a blade fitted, cover it or take it off first; wear cut-resistant gloves."))

_ROUTINE = gettext_lazy("Stop the engine, let it cool, take the plug lead off.")

TASK_CAUTIONS: dict[str, Caution] = {
    "grease": Caution(
        _ROUTINE,
        (
            COOL,
            BLADE,
            Point(
                gettext_lazy(
                    "Grease and amount as the manual says; often about three quarters full, since a packed gearbox "
                    "runs hot and blows its seals."
                ),
                practice=True,
            ),
        ),
    ),
    "arrestor": Caution(_ROUTINE, (COOL, KEEP_SCREEN, CARBON, EYES)),
    "port": Caution(
        _ROUTINE,
        (
            COOL,
            CARBON,
            Point(gettext_lazy("Piston over the port before scraping, so that nothing falls in."), practice=True),
        ),
    ),
    "air_filter": Caution(
        _ROUTINE,
        (
            Point(gettext_lazy("Wash foam in soapy water, not in fuel; let it dry before it goes back.")),
            Point(gettext_lazy("Close the choke first, so that dirt stays out of the engine."), practice=True),
        ),
    ),
    "fuel_filter": Caution(
        gettext_lazy("Fuel is about to be open: a cold engine, in the open air, nothing that can spark."),
        (FUEL, Point(gettext_lazy("Look at the line for cracks and wet spots: a leak near the muffler is a fire."))),
    ),
    "plug": Caution(
        _ROUTINE,
        (
            COOL,
            Point(gettext_lazy("Set the gap the manual gives for this model; do not overtighten in a cold cylinder.")),
        ),
    ),
    "mounts": Caution(
        _ROUTINE,
        (
            Point(
                gettext_lazy("Torn mounts shake the hands more than the maker's figure says: no work until changed.")
            ),
            STILL,
        ),
    ),
    "stop_switch": Caution(
        gettext_lazy("For this check the engine runs: outdoors, head off the ground, nobody near."),
        (
            HELD,
            AIR,
            EYES,
            KEEP_GUARD,
            Point(gettext_lazy("If the switch does not stop it, full choke usually stalls it."), practice=True),
        ),
    ),
    "clutch": Caution(
        gettext_lazy("For this check the engine idles: outdoors, head off the ground, hands and feet clear."),
        (
            HELD,
            AIR,
            EYES,
            KEEP_GUARD,
            Point(gettext_lazy("The head must stand still at idle. If it turns, the unit rests.")),
        ),
    ),
    "head": Caution(
        _ROUTINE,
        (
            BLADE,
            KEEP_GUARD,
            Point(gettext_lazy("Only the line and heads the manual allows: no wire, no metal flails.")),
            Point(gettext_lazy("The nut of most heads turns the other way: left-hand thread."), practice=True),
        ),
    ),
    "lay_up": Caution(
        gettext_lazy("Emptying the tank: cold engine, in the open air, into a can made for fuel."),
        (
            FUEL,
            AIR,
            Point(gettext_lazy("Then run it dry outdoors, with the guard on and eyes and ears protected.")),
            HELD,
        ),
    ),
}

# After a finding: why the unit rests, or what comes next.
FINDING_CAUTIONS: dict[str, Caution] = {
    "no_stop": Caution(
        gettext_lazy("A unit that cannot be stopped must not be started."),
        (Point(gettext_lazy("If it is running now: full choke usually stalls it."), practice=True),),
    ),
    "turns_at_idle": Caution(gettext_lazy("A head that turns at idle cuts whoever sets the unit down."), (STILL,)),
    "trigger_sticks": Caution(
        gettext_lazy("A trigger or lockout that sticks keeps the head turning when let go."), (STILL,)
    ),
    "fuel_leak": Caution(
        gettext_lazy("Leaking fuel near a hot muffler is a fire."),
        (
            Point(gettext_lazy("Set it down in the open, away from dry grass, vehicles and anything that can spark.")),
            FUEL,
        ),
    ),
    "cracked_head": Caution(gettext_lazy("A cracked head flies apart at working speed."), (STILL,)),
    "loose_handle": Caution(
        gettext_lazy("A loose handle or torn mount takes control of the head out of your hands."), (STILL,)
    ),
    "off": Caution(
        gettext_lazy("Without its guard the unit throws stones and runs too long a line."), (KEEP_GUARD, STILL)
    ),
    "damaged": Caution(
        gettext_lazy("A cracked or loose guard does not stop what the line throws."), (KEEP_GUARD, STILL)
    ),
    "screen": Caution(
        gettext_lazy(
            "Without a sound arrestor screen sparks can light dry grass, and in many places the law forbids it."
        ),
        (COOL, KEEP_SCREEN),
    ),
    "gearbox": Caution(
        gettext_lazy("A loose or seized gearbox can throw the head; a hot one burns and may be about to seize."),
        (STILL, COOL),
    ),
    "shaft": Caution(gettext_lazy("A bent or broken shaft whips, and shakes the head loose."), (STILL,)),
    "hot": Caution(
        gettext_lazy("An engine that runs hot or smells of burning can light fuel and dry grass."),
        (
            Point(
                gettext_lazy("Stop it, set it down on bare ground away from fuel, and let it cool before anyone looks.")
            ),
            COOL,
        ),
    ),
    "muffler": Caution(
        gettext_lazy("A loose or broken muffler lets out flame, sparks and exhaust gas."),
        (COOL, KEEP_SCREEN),
    ),
    "tank": Caution(
        gettext_lazy("A cracked tank or a cap that does not close lets fuel out when the unit is tilted."),
        (Point(gettext_lazy("Do not fill or start it like this; if fuel gets out, report it as a leak.")), FUEL),
    ),
    "spark": Caution(
        gettext_lazy("A bare or cracked plug lead can shock, and its spark can light fuel."), (STILL, FUEL)
    ),
    "no_cutter": Caution(
        gettext_lazy("Without the cutter on its guard the line runs long and overloads the engine."), (STILL,)
    ),
}
# What holds a unit, and the finding whose caution tells why, where the two go by different names.
_OF_HOLD = {
    "guard_off": "off",
    "guard_damaged": "damaged",
    "stop_check_failed": "no_stop",
    "clutch_check_failed": "turns_at_idle",
    "fuel_check_failed": "fuel_leak",
    "screen_holed": "screen",
    "screen_missing": "screen",
    "mounts_check_failed": "loose_handle",
}
# A fault nobody has looked at yet, by its component.
_OF_COMPONENT = {"gearbox": "gearbox", "drive_shaft": "shaft", "cooling": "hot", "exhaust": "muffler"}
_OF_AS_FOUND = {("arrestor", "holed"): "screen", ("arrestor", "missing"): "screen"}


def caution_for_task(task: str) -> Caution | None:
    """What to watch out for while doing a job."""
    return TASK_CAUTIONS.get(task)


def caution_for_finding(finding: str) -> Caution | None:
    """What follows from a finding of guard, line or safety."""
    return FINDING_CAUTIONS.get(finding)


def caution_for_as_found(task: str, as_found: str) -> Caution | None:
    """What follows from how a part was found at a job."""
    return FINDING_CAUTIONS.get(_OF_AS_FOUND.get((task, as_found), ""))


def caution_for_hold(finding: str) -> Caution | None:
    """What follows from a finding that holds the unit."""
    return FINDING_CAUTIONS.get(_OF_HOLD.get(finding, finding))


def caution_for_component(component: str) -> Caution | None:
    """What follows from an open fault of a component that stops the unit."""
    return FINDING_CAUTIONS.get(_OF_COMPONENT.get(component, ""))
