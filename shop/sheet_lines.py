"""The lines of the bench sheet, in the order a technician's hands go: from the cutting head up the shaft to the engine.

Each line says what to look at, what it belongs to in the ledger (a task of the schedule, or a component), what *worn*
and *bad* are called there, which finding holds the unit at once, and what may be measured. Reference words are common
practice of the trade with no source; no figure here is a setting: that is the model's own, from its manual.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from fleet.cautions import AIR, BLADE, CARBON, COOL, EYES, FUEL, KEEP_GUARD, KEEP_SCREEN, STILL, Caution, Point
from fleet.vocabulary import COMPONENT_OF_TASK, Label

GOOD, WORN, BAD, NOT_LOOKED = "good", "worn", "bad", "not_looked"
FINDINGS: dict[str, Label] = {
    GOOD: _("good"),
    WORN: _("worn"),
    BAD: _("bad"),
    NOT_LOOKED: _("not looked at"),
}
# What was done about it on the spot; a component's line says *serviced* for put right as it is.
LOOKED, SERVICED, REPLACED = "looked", "serviced", "replaced"
DONE_WORDS: dict[str, Label] = {LOOKED: _("only looked at"), SERVICED: _("put right"), REPLACED: _("new part fitted")}


@dataclass(frozen=True)
class Measure:
    """What can be measured on a line: its unit, and the limits of what can be typed."""

    unit: Label
    most: int
    decimals: int = 0


@dataclass(frozen=True)
class SheetLine:
    """One line. ``worn`` and ``bad``: what these are called in the ledger, the first where nothing finer is said.

    ``task`` names the task whose look this is part of, ``component`` the part blamed where it is bad and put right;
    neither: the line is kept on the sheet alone. ``holds``: fault (``fleet.record.faults``) reported at once, by finer
    word of *bad*. ``words``: how the finer words read here.
    """

    key: str
    label: Label
    look: Label
    task: str = ""
    component: str = ""
    good: str = "ok"
    worn: tuple[str, ...] = ("worn",)
    bad: tuple[str, ...] = ("failed",)
    holds: tuple[tuple[str, str], ...] = ()
    words: tuple[tuple[str, Label], ...] = ()
    measure: Measure | None = None
    practice: Label = ""
    caution: Label = ""

    @property
    def blamed(self) -> str:
        """The component this line is about; empty for a run test."""
        return self.component or ("exhaust" if self.task == "port" else COMPONENT_OF_TASK.get(self.task, ""))

    @property
    def serves(self) -> bool:
        """Whether its task is work, not a look: what was done is asked even where nothing was wrong."""
        return self.key in ("grease", "screen", "port", "plug", "air_filter", "fuel_filter")

    @property
    def in_guard_check(self) -> bool:
        return self.key in ("guard", "line")

    def as_found(self, answer: str, detail: str) -> str:
        """The ledger's word for an answer."""
        if answer == GOOD:
            return self.good
        finer = self.worn if answer == WORN else self.bad
        return detail if detail in finer else finer[0]

    def hold(self, answer: str, detail: str) -> str:
        """The fault that holds the unit at once; empty for none."""
        return dict(self.holds).get(self.as_found(answer, detail), "") if answer == BAD else ""


@dataclass(frozen=True)
class Stretch:
    """Lines done in one go, with what to watch out for there."""

    key: str
    label: Label
    caution: Caution
    lines: tuple[SheetLine, ...]


_RUN = Caution(
    _("For these the engine runs: outdoors, guard, screen and filter in place, nobody near."),
    (
        Point(_("Not while a finding holds the unit: put that right first, and prove the stop switch.")),
        AIR,
        EYES,
        KEEP_GUARD,
        Point(_("If the switch does not stop it, full choke usually stalls it."), practice=True),
    ),
)

STRETCHES: tuple[Stretch, ...] = (
    Stretch(
        "drive", _("Cutting head to clutch"),
        Caution(_("Engine stopped and cold, plug lead off."), (STILL, BLADE, COOL)),
        (
            SheetLine(
                "head", _("Cutting head"), _("No crack, spool turns, nut tight."), task="head",
                bad=("failed", "loose"), holds=(("failed", "cracked_head"),), words=(("failed", _("cracked")),),
                practice=_("The nut is left-hand threaded on most machines."),
            ),
            SheetLine(
                "line", _("Cutting line"), _("Size the manual allows; length and both ends."), task="head",
                worn=("uneven",), bad=("long", "too_thick", "uneven"),
                words=(("uneven", _("ends uneven")), ("long", _("too long")), ("too_thick", _("too thick"))),
                practice=_(
                    "It reaches just to the guard's cutter, both ends equal. Guard off and line long go together."
                ),
            ),
            SheetLine(
                "guard", _("Guard and its line cutter"), _("On, whole and tight; cutter there and sharp."), task="head",
                component="guard", good="on", worn=("on",), bad=("damaged", "off", "no_cutter"),
                holds=(("damaged", "guard_damaged"), ("off", "guard_off")),
                words=(
                    ("damaged", _("cracked or loose")), ("off", _("off or lost")), ("no_cutter", _("cutter missing")),
                ),
                caution=_("Never run it without the guard."),
            ),
            SheetLine(
                "gearbox", _("Gearbox, turned by hand"), _("Turn, push and pull the head; feel the housing."),
                component="gearbox", caution=_("A loose or seized gearbox can throw the head."),
                practice=_(
                    "It runs smoothly: no ratchet feel, play or drag. Where guards are off it is the first to wear."
                ),
            ),
            SheetLine(
                "grease", _("Gearbox grease"), _("Plug out: is there grease, and is it clean?"), task="grease",
                worn=("worn", "loose"), bad=("dry",), words=(("worn", _("low or dirty")), ("loose", _("plug loose"))),
                practice=_("A couple of pumps at the plug; grease and amount as the manual says, never packed full."),
            ),
            SheetLine(
                "shaft", _("Drive shaft and tube"), _("Clamps tight, tube straight, shaft ends whole."),
                component="drive_shaft", caution=_("A bent or broken shaft whips, and shakes the head loose."),
                practice=_("A loose gearbox or shaft hammers: it strips the shaft's ends, then the clutch."),
            ),
            SheetLine(
                "clutch", _("Clutch"), _("Shoes, springs, drum and its bearing."), task="clutch",
                practice=_("A head that turns at idle whatever the setting is a clutch not letting go: look at the "
                           "spring."),
            ),
        ),
    ),
    Stretch(
        "exhaust", _("Exhaust, cylinder and piston"),
        Caution(_("Let it cool: muffler off only when it is cold to the hand."), (COOL, STILL, CARBON, KEEP_SCREEN)),
        (
            SheetLine(
                "screen", _("Arrestor screen"), _("Clear, whole and held firmly."), task="arrestor",
                good="clear", worn=("partly",), bad=("blocked", "holed", "missing"),
                caution=_("Holed or missing it holds the unit: never run it without a sound screen."),
            ),
            SheetLine(
                "muffler", _("Muffler"), _("Screws tight, seam and gasket whole, no leak marks."), component="exhaust",
                caution=_("A loose muffler lets out flame and sparks."),
            ),
            SheetLine(
                "port", _("Exhaust port"), _("Muffler off: how much carbon?"), task="port",
                good="clear", worn=("partly",), bad=("blocked",),
                practice=_(
                    "Nearly closed with carbon is a common find. Piston closing the port, soft scraper: carbon must "
                    "not fall into the cylinder."
                ),
            ),
            SheetLine(
                "piston", _("Piston, seen through the port"), _("Skirt and rings: scored, stuck or clean?"),
                component="cylinder",
            ),
            SheetLine(
                "compression", _("Compression"), _("Cold, throttle open, gauge in the plug hole."),
                component="cylinder",
                measure=Measure(_("psi"), 300),
                practice=_("Often 100 to 150 psi on a sound 25 to 35 cc engine; look closer under about 90."),
            ),
            SheetLine(
                "base_bolts", _("Cylinder base bolts"), _("Try each with a key."), component="cylinder",
                practice=_("Runs cold, stops hot: try these, a minute or two, before the coil is condemned."),
            ),
            SheetLine("cooling", _("Fins, fan and shroud"), _("Clean, whole, nothing rubbing."), component="cooling"),
        ),
    ),
    Stretch(
        "ignition", _("Plug and ignition"),
        Caution(_("Spark only with a tester in use or the plug grounded, fuel put away."), (STILL, FUEL, COOL)),
        (
            SheetLine(
                "plug", _("Spark plug"), _("Color, electrodes, insulator; then the gap."), task="plug",
                measure=Measure(_("in"), 1, 3),
                practice=_("An even light tan: mixture about right."),
            ),
            SheetLine("spark", _("Spark"), _("With a tester, at pulling speed."), component="ignition",
                      caution=_("A bare lead can shock, and its spark can light fuel.")),
            SheetLine(
                "air_gap", _("Coil air gap"), _("Feeler gauge between coil and magnet."), component="ignition",
                measure=Measure(_("in"), 1, 3),
                practice=_("Set per model: 0.010 to 0.014 in on most, up to about 0.030 in on some older engines."),
            ),
        ),
    ),
    Stretch(
        "handles", _("Mounts, switch, trigger and starter"),
        Caution(_("Engine stopped, plug lead off."), (STILL, Point(_("A wound starter spring can jump out: eyes."))),),
        (
            SheetLine(
                "mounts", _("Mounts and handle"), _("Pull hard: rubber torn, handle turning, screws loose?"),
                task="mounts", bad=("failed", "loose"), words=(("failed", _("torn or broken")),),
                holds=(("failed", "loose_handle"), ("loose", "loose_handle")),
                caution=_("Torn mounts shake the hands more than the maker's figure says."),
            ),
            SheetLine(
                "stop_switch", _("Stop switch and its wire"), _("Snaps over, wire not chafed; stops the engine."),
                task="stop_switch", holds=(("failed", "no_stop"),), words=(("failed", _("does not stop it")),),
                caution=_("A unit that cannot be stopped must not be started."),
            ),
            SheetLine(
                "trigger", _("Trigger, lockout and cable"), _("Springs back by itself; lockout holds."),
                task="stop_switch", component="throttle", holds=(("failed", "trigger_sticks"),),
                words=(("failed", _("sticks")),), caution=_("A trigger that sticks keeps the head turning."),
            ),
            SheetLine("starter", _("Starter"), _("Rope, spring, pawls; winds back all the way."), component="starter"),
        ),
    ),
    Stretch(
        "fuel", _("Air, fuel and carburetor"),
        Caution(_("Fuel is open from here: cold engine, open air, nothing that can spark."), (FUEL,)),
        (
            SheetLine(
                "air_filter", _("Air filter"), _("Clean, dry, sealing all round."), task="air_filter",
                worn=("partly",), bad=("blocked", "missing"),
            ),
            SheetLine(
                "joints", _("Intake joints and seals"),
                _("Insulator and its bolts, base gasket, both crank seals: wet or dusty spots?"), component="intake",
                practice=_("Air leaks sit in few places: both crank seals, base gasket, insulator and its bolts."),
            ),
            SheetLine("fuel", _("The fuel in it"), _("A sample in clear glass: age, smell, water, oil."),
                      practice=_("What is in the tank is about use: it blames no part.")),
            SheetLine(
                "fuel_line", _("Fuel line and tank"), _("Cracks, wet spots, hard or soft line, grommet."),
                task="fuel_filter", holds=(("failed", "fuel_leak"),), words=(("failed", _("leaks")),),
                caution=_("A leak near the muffler is a fire."),
            ),
            SheetLine(
                "fuel_filter", _("Fuel filter"), _("Clean, heavy enough to follow the fuel."), task="fuel_filter",
                worn=("partly",), bad=("blocked",),
            ),
            SheetLine("primer", _("Primer, cap and vent"), _("Fills and holds; vent lets air in, no fuel out."),
                      component="fuel"),
            SheetLine(
                "carburetor", _("Carburetor"), _("Last, with all the above good: screws, needle, diaphragm."),
                component="carburetor",
                practice=_(
                    "Settings do not drift by themselves: find what changed. Air leak, line, filter, vent and primer "
                    "are ruled out before it is opened."
                ),
            ),
        ),
    ),
    Stretch(
        "run", _("Run test"), _RUN,
        (
            SheetLine("run_level", _("Runs held level"), _("Warm: takes the throttle, holds it.")),
            SheetLine(
                "run_nose", _("Runs nose-down"), _("As at work under a hedge."),
                practice=_("Dies nose-down or upside down: the pick-up is not following the fuel, look at the "
                           "weighted filter and the line."),
            ),
            SheetLine("run_side", _("Runs on its side"), _("Both sides.")),
            SheetLine(
                "idle_head", _("Head stands still at idle"), _("Head off the ground, hands and feet clear."),
                task="clutch", holds=(("failed", "turns_at_idle"),), words=(("failed", _("turns at idle")),),
                worn=("worn",), caution=_("A head that turns at idle cuts whoever sets the unit down."),
                practice=_("Turns whatever the idle setting, or stalls with the head jammed: the clutch spring."),
            ),
            SheetLine("idle_rpm", _("Idle speed"), _("Warm, choke off, by counter."), measure=Measure(_("rpm"), 20000)),
            SheetLine("full_rpm", _("Full-throttle speed"), _("With guard and line as at work, a few seconds only."),
                      measure=Measure(_("rpm"), 20000)),
        ),
    ),
)  # fmt: skip

SHEET_LINES: dict[str, SheetLine] = {line.key: line for stretch in STRETCHES for line in stretch.lines}
TASKS_ON_SHEET: frozenset[str] = frozenset(line.task for line in SHEET_LINES.values() if line.task)


def lines_of_task(task: str) -> tuple[SheetLine, ...]:
    """The lines that make up the look of one task."""
    return tuple(line for line in SHEET_LINES.values() if line.task == task)
