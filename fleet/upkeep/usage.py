"""What is known of a contractor's usual hours: rates by crew, and how much weeks, units and seasons differ."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fleet.upkeep.season import Season

# Before anything is logged: 137 engine hours a year (a rough published activity figure for commercial trimmers, from
# memory) over some 180 working days, and wide doubt about it.
PRIOR_DAY_RATE = 0.75
PRIOR_WEEK_CV = 0.6
PRIOR_UNIT_CV = 0.35
PRIOR_SEASON_CV = 0.2
# Liters an hour of a 25-30 cc engine at work, where the model's figure is not known: common practice, rough.
PRACTICE_BURN = 0.65

# How far one reading of each kind may be off, hours; and a reporter's persistent bias as a share of hours reported.
READING_SD = {"meter": 0.3, "service": 1.0, "registration": 0.5}
BIAS_CV = {"meter": 0.0, "run": 0.10, "fuel": 0.18, "crew": 0.12, "service": 0.05, "none": 0.15}
# Noise of one logged week as a share of it, by kind; a week nobody logged has ``week_cv``.
LOGGED_CV = {"run": 0.15, "fuel": 0.25, "crew": 0.35}


@dataclass(frozen=True)
class Usage:
    """One contractor's season, burn-in rates and spreads, as a scan learned them (or the prior, before any scan).

    ``day_rate`` and ``crew_rates`` are engine hours of one unit on a working day of average season. ``scale`` widens
    the bands of each kind of entry so that past projections came out as often as they said they would. ``guards`` is
    each crew's share of hours without a guard and its changes an hour.
    """

    season: Season
    day_rate: float = PRIOR_DAY_RATE
    crew_rates: Mapping[int, float] = field(default_factory=dict)
    week_cv: float = PRIOR_WEEK_CV
    unit_cv: float = PRIOR_UNIT_CV
    season_cv: float = PRIOR_SEASON_CV
    scale: Mapping[str, float] = field(default_factory=dict)
    guards: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    version: int = 0

    def rate_of(self, crew: int) -> float:
        """Usual engine hours on a working day for a unit of this crew."""
        return self.crew_rates.get(crew, self.day_rate)

    def as_data(self) -> dict[str, Any]:
        """For the snapshot's JSON."""
        return {
            "day_rate": self.day_rate,
            "crew_rates": {str(crew): rate for crew, rate in self.crew_rates.items()},
            "profile": list(self.season.profile),
            "week_cv": self.week_cv,
            "unit_cv": self.unit_cv,
            "season_cv": self.season_cv,
            "scale": dict(self.scale),
            "guards": {str(crew): list(habit) for crew, habit in self.guards.items()},
        }

    @classmethod
    def from_data(cls, data: Mapping[str, Any], opens: str, closes: str, working_days: str, version: int) -> Usage:
        """From the snapshot's JSON and the contractor's present season."""
        return cls(
            season=Season(opens, closes, working_days, tuple(data["profile"])),
            day_rate=data["day_rate"],
            crew_rates={int(crew): rate for crew, rate in data["crew_rates"].items()},
            week_cv=data["week_cv"],
            unit_cv=data["unit_cv"],
            season_cv=data["season_cv"],
            scale=data["scale"],
            guards={int(crew): (share, pace) for crew, (share, pace) in data.get("guards", {}).items()},
            version=version,
        )
