"""The demo scenario, written down: one invented shop, three contractors, five models, and what is true of them.

Nothing here is a real business, maker or model. Figures of cost, time and wear are plausible for the trade, no more.
What a reader of the demo should be able to find out:

- the Teal's gearbox dies far sooner than its maker's grease interval allows for;
- the Smew's clutch has never failed;
- the crew Verge runs without guards and with long line, and pays for it in gearboxes, shafts, clutches and mufflers;
- the crew River reports paid hours rather than running hours;
- the crew West services late and skips.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal

from fleet.simulation.parameters import (
    Contractor,
    Crew,
    GuardHabit,
    Interval,
    Model,
    Parameters,
    RecallNotice,
    Reporter,
    ServiceHabit,
    Staged,
    Turnover,
    Wear,
)

# Wear of an ordinary model. Gearbox and exhaust run on hours since grease and since the screen was cleaned.
ORDINARY_WEAR: Mapping[str, Wear] = {
    "head": Wear(1.5, 700, shows=0.75),
    "guard": Wear(1.1, 5000),
    "gearbox": Wear(2.2, 210, since_share=1.0, shows=0.92),
    "drive_shaft": Wear(2.0, 1300),
    "clutch": Wear(2.1, 1000, shows=0.85),
    "exhaust": Wear(2.4, 175, since_share=1.0, shows=0.4),
    "cylinder": Wear(2.3, 1500),
    "crank": Wear(2.6, 1800),
    "intake": Wear(1.4, 1600, since_share=0.6, shows=0.6),
    "carburetor": Wear(1.2, 1400),
    "fuel": Wear(1.5, 900, since_share=0.5, shows=0.75),
    "ignition": Wear(1.3, 1500, since_share=0.5),
    "stop_switch": Wear(1.3, 3500, shows=0.0),
    "starter": Wear(1.6, 1200),
    "mounts": Wear(2.0, 1300, shows=0.3),
    "throttle": Wear(1.4, 2500, shows=0.5),
    "cooling": Wear(1.5, 5000),
}

GUARD_OFF_RATIO: Mapping[str, float] = {"gearbox": 2.6, "drive_shaft": 2.2, "clutch": 2.4, "exhaust": 1.8}


def _wear(**changes: Wear) -> Mapping[str, Wear]:
    return {**ORDINARY_WEAR, **changes}


def _intervals(**changes: Interval) -> Mapping[str, Interval]:
    """The makers' usual figures; a season's visit takes care of the dated ones."""
    usual = {
        "grease": Interval(50, "none"),
        "arrestor": Interval(50, "none"),
        "port": Interval(150, "none"),
        "air_filter": Interval(50, "none"),
        "fuel_filter": Interval(100, 13),
        "plug": Interval(100, 13),
        "mounts": Interval(100, 13),
        "stop_switch": Interval(75, 13),
        "clutch": Interval(150, "none"),
        "head": Interval(75, "none"),
        "lay_up": Interval("none", 12),
        "review": Interval("none", 13),
    }
    return {**usual, **changes}


def _models() -> tuple[Model, ...]:
    ostrel, kindrake = "Ostrel", "Kindrake"
    return (
        Model(ostrel, "Wren", 25.4, Decimal("329.00"), 0.58, 24, 0.55, 4.2, _intervals(), _wear(), 1.3, 0.10),
        Model(ostrel, "Heron", 28.1, Decimal("389.00"), 0.60, 24, 0.62, 4.9,
              _intervals(port=Interval(None, "none")),
              _wear(carburetor=Wear(1.3, 900)), 1.3, 0.20),
        Model(ostrel, "Rook", 34.6, Decimal("519.00"), 0.64, 12, 0.78, 6.1,
              _intervals(grease=Interval(40, "none"), head=Interval(60, "none")),
              _wear(mounts=Wear(2.2, 800, shows=0.3), gearbox=Wear(2.4, 240, since_share=1.0, shows=0.92)), 0.8, 0.45),
        Model(kindrake, "Teal", 26.0, Decimal("299.00"), 0.52, 24, 0.58, 5.2, _intervals(),
              _wear(gearbox=Wear(2.6, 72, since_share=1.0, shows=0.92)), 0.75, 0.15),
        Model(kindrake, "Smew", 30.5, Decimal("429.00"), 0.60, 24, 0.68, 5.6,
              _intervals(clutch=Interval(None, "none"), arrestor=Interval(60, "none")),
              _wear(clutch=Wear(3.0, 20000), starter=Wear(1.6, 750)), 0.85, 0.25),
    )  # fmt: skip


def _contractors(order_by: dt.date) -> tuple[Contractor, ...]:
    careful = ServiceHabit(lateness=0.90, skip=0.01, spring_visit=0.95)
    late = ServiceHabit(lateness=1.15, lateness_sd=0.20, skip=0.12, spring_visit=0.6, lay_up=0.85)
    guard_habit = GuardHabit(off_share=0.68, spell_days=40, line_long=0.30, weeks_walked=0.30, refits=0.12)
    hard_ground = GuardHabit(off_share=0.07, line_long=0.10)
    return (
        Contractor(
            "Quarry Hill Grounds",
            "QH",
            (
                Crew("North", 17, service=careful, reporter=Reporter("run", 0.97, weeks_logged=0.75)),
                Crew("South", 16, reporter=Reporter("run", 1.08)),
                Crew("East", 16, ground=1.15, guard=hard_ground, reporter=Reporter("can", 1.0, 0.12)),
                Crew("West", 15, service=late, reporter=Reporter("run", 0.90, 0.25, weeks_logged=0.45)),
            ),
            order_by=order_by,
        ),
        Contractor(
            "Fenwick Verge Care",
            "FV",
            (
                Crew("Verge", 15, guard=guard_habit, reporter=Reporter("run", 1.05)),
                Crew("Bridge", 14, service=careful, reporter=Reporter("run", 1.0, 0.10, weeks_logged=0.8)),
                Crew("Meadow", 14, reporter=Reporter("litres", 1.0, 0.12)),
                Crew("Lane", 14, ground=0.9, reporter=Reporter("run", 0.93)),
                Crew("Hedge", 13, reporter=Reporter("run", 1.12, crew_total_share=0.4)),
            ),
            spare_on_trailer=True,
            order_by=order_by,
        ),
        Contractor(
            "Millrace Estates",
            "ME",
            (
                Crew("Park", 16, service=careful, reporter=Reporter("run", 1.02)),
                Crew("River", 15, reporter=Reporter("run", 1.85, 0.20, crew_total_share=0.3)),
                Crew("Yard", 15, reporter=Reporter("litres", 1.04, 0.15, weeks_logged=0.5)),
            ),
            labour_rate=Decimal("85.00"),
            order_by=order_by,
        ),
    )


def closing_their_seasons(parameters: Parameters) -> Parameters:
    """The same fleet with people who close a season as crews with a list do, so that the list of any day is one to use.

    Lay-ups are done some weeks before the close, the yard jobs go with them, and the owner reviews every unit before
    the pre-season order. The review is common practice: no maker gives an interval for it.
    """

    def closing(crew: Crew) -> Crew:
        return replace(crew, service=replace(crew.service, lay_up_early=12, lay_up_jobs=0.45, autumn_review=True))

    return replace(
        parameters,
        models=tuple(replace(m, intervals={**m.intervals, "review": Interval()}) for m in parameters.models),
        contractors=tuple(replace(c, crews=tuple(closing(crew) for crew in c.crews)) for c in parameters.contractors),
    )


def demo_parameters(today: dt.date) -> Parameters:
    """The demo, with three seasons of history up to ``today``."""
    order_by = dt.date(today.year + (1 if today >= dt.date(today.year, 1, 31) else 0), 1, 31)
    bare = Parameters(today=today, shop="Alder Street Small Engine", contractors=(), models=_models())
    first_year = bare.first_opening().year
    batch = f"OH{first_year % 100:02d}"
    recall = RecallNotice(
        maker="Ostrel",
        model="Heron",
        serials=(f"{batch}10000 - {batch}34999",),
        text="Invented notice: the fuel cap of this run may not seal and fuel may leak near the muffler. "
        "Stop using the unit and take it to a dealer, who fits a new cap free of charge.",
        source="Ostrel safety notice (invented)",
        issued_on=today - dt.timedelta(days=40),
    )
    return replace(
        bare,
        contractors=_contractors(order_by),
        turnover=Turnover(),
        guard_off_ratio=GUARD_OFF_RATIO,
        frailty_variance=0.10,
        stale_fuel_ratio=25.0,
        recalls=(recall,),
        staged=Staged(
            no_stop=(("Hedge", 3),),
            meter_exchanged=(("North", 5),),
            meter_fitted_later=(("Park", 4),),
            tags_reused=("Millrace Estates",),
        ),
    )
