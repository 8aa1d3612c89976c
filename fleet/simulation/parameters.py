"""Every true parameter of an invented fleet, as frozen dataclasses.

Hours are engine hours, shares lie in 0..1, ``*_sd`` are standard deviations on the log scale, money is in one
currency. A setting is one ``Parameters`` value; ``fleet.simulation.scenario`` holds the written-down demo.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal

MonthDay = tuple[int, int]


# Where the invented contractors work.
DEMO_ZONE = "America/Chicago"


@dataclass(frozen=True)
class Wear:
    """Weibull wear of one component of one model, on two clocks.

    hazard = (shape / scale) (since / scale)^(s (shape - 1)) (age / scale)^((1 - s) (shape - 1)), where s is
    ``since_share``, ``since`` the hours since the task that renews the component and ``age`` the component's own
    hours. s = 1: a renewal at every service; s = 0: wear by age alone. ``shows`` is the chance that a failure stops
    the job at once; the rest stays hidden until somebody looks.
    """

    shape: float
    scale: float
    since_share: float = 0.0
    shows: float = 1.0


@dataclass(frozen=True)
class Interval:
    """A maker's figure for one task. None: no figure, common practice applies; ``"none"``: no limit of that kind."""

    hours: float | str | None = None
    months: int | str | None = None


@dataclass(frozen=True)
class Model:
    """A model of trimmer: what the catalog knows of it, and the truth that it does not."""

    maker: str
    name: str
    displacement_cc: float
    price: Decimal
    resale_share_per_season: float
    warranty_months: int
    burn_litres_per_hour: float
    vibration_ms2: float
    intervals: Mapping[str, Interval]
    wear: Mapping[str, Wear]
    share_of_fleet: float = 1.0
    metered_share: float = 0.2


@dataclass(frozen=True)
class Reporter:
    """How one crew's hours reach the books.

    ``way`` is run (hours run per unit), litres (fuel drawn per unit) or can (one shared can for the whole crew).
    ``bias`` multiplies everything this person reports, for good; ``noise_sd`` is new with each entry.
    """

    way: str = "run"
    bias: float = 1.0
    noise_sd: float = 0.15
    weeks_logged: float = 0.6
    unit_missed: float = 0.08
    crew_total_share: float = 0.15
    trimmer_share: float = 0.6


@dataclass(frozen=True)
class ServiceHabit:
    """Who keeps to the manual, and how closely.

    A task is done at ``lateness`` x its interval, give or take ``lateness_sd``; with chance ``skip`` it is passed
    over for one whole interval. ``spring_visit`` and ``lay_up`` are the shares of units that get these.

    How a season is closed: lay-ups lie ``lay_up_early`` days before their usual time around the close; with them go
    yard jobs of whose interval more than ``lay_up_jobs`` has run; with ``autumn_review`` the owner looks at every unit
    in the weeks before the close rather than whenever its months are up.
    """

    lateness: float = 0.95
    lateness_sd: float = 0.08
    skip: float = 0.03
    spring_visit: float = 0.85
    lay_up: float = 0.93
    lay_up_early: int = 0
    lay_up_jobs: float = float("inf")
    autumn_review: bool = False


@dataclass(frozen=True)
class GuardHabit:
    """Two-state chain of a unit's guard by working day, and how the crew's guard walks see it.

    ``off_share`` is the long-run share of days with the guard off when nobody intervenes, ``spell_days`` the mean
    length of a spell without it. Off counts damaged guards too. ``refits`` is the chance that a walk that finds it
    off leaves it on.
    """

    off_share: float = 0.04
    spell_days: float = 12.0
    damaged_share: float = 0.12
    line_long: float = 0.06
    weeks_walked: float = 0.28
    seen: float = 0.93
    refits: float = 0.8


@dataclass(frozen=True)
class Crew:
    """One trailer's people and their habits. ``ground`` multiplies the wear of what the cutting head loads."""

    name: str
    units: int
    ground: float = 1.0
    guard: GuardHabit = GuardHabit()
    service: ServiceHabit = ServiceHabit()
    reporter: Reporter = Reporter()


@dataclass(frozen=True)
class Contractor:
    """A landscaping contractor with the settings its file carries."""

    name: str
    tag_prefix: str
    crews: tuple[Crew, ...]
    time_zone: str = DEMO_ZONE
    labour_rate: Decimal = Decimal("90.00")
    downtime_per_day: Decimal = Decimal("60.00")
    spare_on_trailer: bool = False
    risk_limit: float = 0.10
    confidence_gate: float = 0.65
    discount_rate: float = 0.08
    order_by: dt.date | None = None


@dataclass(frozen=True)
class Usage:
    """Engine hours per working day, their shocks, and the season's profile.

    ``profile`` gives (share of the season, relative rate) knots; it is scaled to a mean of one over working days.
    """

    hours_per_day: float = 0.80
    crew_sd: float = 0.15
    unit_sd: float = 0.25
    crew_season_sd: float = 0.10
    unit_season_sd: float = 0.20
    week_sd: float = 0.25
    most_per_day: float = 7.5
    profile: tuple[tuple[float, float], ...] = (
        (0.0, 0.55),
        (0.10, 1.15),
        (0.20, 1.60),
        (0.32, 1.45),
        (0.45, 1.00),
        (0.60, 0.85),
        (0.75, 0.90),
        (0.88, 0.75),
        (1.0, 0.35),
    )


@dataclass(frozen=True)
class Turnover:
    """Units leaving and coming, per unit and season; retired units are replaced by new ones."""

    stolen: float = 0.012
    lost: float = 0.006
    sold: float = 0.03
    scrapped_at_engine_failure: float = 0.6
    moves: float = 0.15
    old_at_start: float = 0.72
    joined_later: float = 0.08


@dataclass(frozen=True)
class RecallNotice:
    """A maker's notice about a run of serials. ``serials`` is a list of "FIRST - LAST" runs."""

    maker: str
    model: str
    serials: tuple[str, ...]
    text: str
    source: str
    issued_on: dt.date


@dataclass(frozen=True)
class Staged:
    """A few things set by hand so that the end of the history shows them. Each names (crew, place on its trailer)."""

    no_stop: tuple[tuple[str, int], ...] = ()
    meter_exchanged: tuple[tuple[str, int], ...] = ()
    meter_fitted_later: tuple[tuple[str, int], ...] = ()
    # Contractors whose first replaced unit hands its painted tag on to the unit that follows it.
    tags_reused: tuple[str, ...] = ()


@dataclass(frozen=True)
class Parameters:
    """One setting: everything the simulator needs but the seed."""

    today: dt.date
    shop: str
    contractors: tuple[Contractor, ...]
    models: tuple[Model, ...]
    seasons: int = 3
    season_opens: MonthDay = (3, 15)
    season_closes: MonthDay = (11, 30)
    usage: Usage = Usage()
    turnover: Turnover = Turnover()
    # Hazard ratio with the guard off, by component; absent means 1.
    guard_off_ratio: Mapping[str, float] = field(default_factory=dict)
    # Components whose wear the crew's ground multiplies.
    ground_components: tuple[str, ...] = ("gearbox", "drive_shaft", "clutch", "exhaust", "head")
    frailty_variance: float = 0.0
    stale_fuel_ratio: float = 1.0
    # Chance that a guard walk notices a hidden fault (for the faults that a walk can see).
    walk_sensitivity: float = 0.6
    # Chance that an unmetered unit's paper carries an hours figure all the same.
    hours_on_paper: float = 0.08
    recalls: tuple[RecallNotice, ...] = ()
    staged: Staged = Staged()

    @property
    def crews(self) -> tuple[Crew, ...]:
        """All crews, contractor by contractor: the order of crew codes in arrays."""
        return tuple(crew for contractor in self.contractors for crew in contractor.crews)

    @property
    def contractor_of_crew(self) -> tuple[int, ...]:
        """Index of the contractor of each crew code."""
        return tuple(i for i, contractor in enumerate(self.contractors) for _ in contractor.crews)

    def first_opening(self) -> dt.date:
        """Opening of the first season: ``seasons`` of them, the running one counted once past its middle."""
        opens, closes = self.season_opens, self.season_closes
        opening = dt.date(self.today.year, *opens)
        middle = opening + (dt.date(self.today.year, *closes) - opening) / 2
        return dt.date(self.today.year - self.seasons + (1 if self.today >= middle else 0), *opens)

    def with_units(self, units: int) -> Parameters:
        """The same setting with about ``units`` units: every crew keeps its share, at least one each."""
        total = sum(crew.units for crew in self.crews)
        contractors = tuple(
            replace(
                contractor,
                crews=tuple(
                    replace(crew, units=max(1, round(crew.units * units / total))) for crew in contractor.crews
                ),
            )
            for contractor in self.contractors
        )
        return replace(self, contractors=contractors)
