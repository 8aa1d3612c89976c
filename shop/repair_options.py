"""Repair or swap: what each way of putting a part right comes to, visits that come back counted in.

Pure. A way takes minutes and parts, and may come back; each comeback costs the work and its parts once more, and may
come back again at the same chance, so it is expected to take 1 / (1 - chance) visits. Minutes are the shop's own or
common practice; chances start from a guess of our own and are drawn on by what came back to this bench.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from django.utils.translation import gettext_lazy as _

from fleet.vocabulary import Label

ADJUST, REPAIR, REPLACE, ASSEMBLY = "adjust", "repair", "replace", "assembly"
WAYS: dict[str, Label] = {
    ADJUST: _("Adjust it"),
    REPAIR: _("Rebuild it, with a kit or as it is"),
    REPLACE: _("Replace the part"),
    ASSEMBLY: _("Replace the whole assembly"),
}
KINDS: dict[str, Label] = {"genuine": _("genuine"), "generic": _("generic")}
# A chance to start from, worth so many repairs seen: our own assumption, no source.
START_REPAIRS = 10
START_CHANCE: dict[str, float] = {ADJUST: 0.25, REPAIR: 0.15, REPLACE: 0.05, ASSEMBLY: 0.05}
# A carburetor rebuild may need two or three visits (common practice); two stand for a chance of a half.
START_CHANCE_OF: dict[tuple[str, str], float] = {("carburetor", REPAIR): 0.5}
MOST_CHANCE = 0.9
# What can be set right by a screw or a nut, and its minutes: common practice.
ADJUST_MINUTES: dict[str, int] = {"carburetor": 10, "clutch": 10, "throttle": 10, "ignition": 10, "stop_switch": 10}
# Where a loaded assembly is sold, so that the part alone and the whole are two ways.
HAS_ASSEMBLY = frozenset({"starter", "gearbox", "head", "drive_shaft", "clutch", "throttle"})


@dataclass(frozen=True)
class Way:
    """One way to put a part right: bench minutes, parts in dollars, chance that it comes back."""

    key: str
    minutes: float
    parts: float
    comeback: float = 0.0
    downtime_days: float = 0.0

    def __post_init__(self) -> None:
        if min(self.minutes, self.parts, self.downtime_days) < 0 or not 0 <= self.comeback <= 1:
            raise ValueError("minutes, parts and days are at or above zero, a chance is from 0 to 1")


@dataclass(frozen=True)
class Costed:
    """A way with what it is expected to come to, in dollars; ``first`` is the first visit's bill alone."""

    way: Way
    visits: float
    first: float
    total: float
    downtime: float

    @property
    def bills(self) -> float:
        """Work and parts of all expected visits, days out apart: what a spend limit is held against."""
        return self.total - self.downtime


def cost_of(way: Way, labour_rate: float, downtime_per_day: float = 0.0) -> Costed:
    """What a way is expected to come to; a chance of coming back above ``MOST_CHANCE`` counts as that.

    >>> round(cost_of(Way("replace", 12, 26.0), 75.0).total, 2)
    41.0
    """
    visits = 1 / (1 - min(way.comeback, MOST_CHANCE))
    first = way.minutes / 60 * labour_rate + way.parts
    downtime = way.downtime_days * downtime_per_day * visits
    return Costed(way, visits, first, first * visits + downtime, downtime)


def compare(ways: Iterable[Way], labour_rate: float, downtime_per_day: float = 0.0) -> list[Costed]:
    """All ways, cheapest expected total first; of two equal ones the one less likely to come back."""
    rows = [cost_of(way, labour_rate, downtime_per_day) for way in ways]
    return sorted(rows, key=lambda row: (round(row.total, 2), row.way.comeback, row.way.minutes))


def break_even_minutes(swap: Way, labour_rate: float) -> float:
    """Minutes, parts and comebacks included, beyond which any other way costs more than this one."""
    return cost_of(swap, labour_rate).total / labour_rate * 60


def comeback_chance(component: str, key: str, seen: Mapping[str, tuple[int, int]]) -> float:
    """Chance that a way comes back: the starting guess drawn on by (done, came back) at this bench."""
    start = START_CHANCE_OF.get((component, key), START_CHANCE[key])
    done, back = seen.get("repaired" if key in (ADJUST, REPAIR) else "replaced", (0, 0))
    return (START_REPAIRS * start + back) / (START_REPAIRS + done)


def worth_it(best: Costed, spend_limit: float | None) -> bool | None:
    """Whether the bills of the cheapest way stay within what the unit is worth spending on; None: not known."""
    return None if spend_limit is None else best.bills <= spend_limit


def way_words(key: str, kind: str = "") -> str:
    """A way as people read it, with the kind of part where two are compared."""
    return f"{WAYS[key]}, {KINDS[kind]}" if kind else str(WAYS[key])
