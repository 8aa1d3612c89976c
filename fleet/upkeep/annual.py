"""A season's answers put together for the annual report: what was spent, and what to do by when.

Pure: every figure is taken from the answer of the page that shows it; nothing is worked out a second time.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from fleet.upkeep.days import month_day_in
from fleet.upkeep.free_repairs import DAYS_BACK, FreeRepair
from fleet.upkeep.misuse import CrewCosts

# What is to be done, in the order in which it is told where dates are equal.
CLAIM_WAITING, CLAIM_PAID, DECIDE, ORDER, LOOK_CLOSER, LAY_UP, GUARDS, WALKS = (
    "claim_waiting", "claim_paid", "decide", "order", "look_closer", "lay_up", "guards", "walks",
)  # fmt: skip


@dataclass(frozen=True)
class Spend:
    """Money of a period in dollars, from its crew costs. ``down``: days without a unit, which are on no bill."""

    repairs: float
    services: float
    no_crew: float
    down: float
    failures: int
    hours: float

    @property
    def bills(self) -> float:
        """What was paid to somebody: repairs and planned service, with and without a crew."""
        return self.repairs + self.services + self.no_crew


def spend_of(found: CrewCosts) -> Spend:
    """What the crews' lines add up to."""
    return Spend(
        repairs=sum(c.repairs for c in found.crews),
        services=sum(c.services for c in found.crews),
        no_crew=found.no_crew_spent,
        down=sum(c.down for c in found.crews),
        failures=sum(c.failures for c in found.crews),
        hours=found.hours,
    )


def season_closes(opens: dt.date, closes: str) -> dt.date:
    """The last day of work of the season that opened on a day; it may lie in the next year."""
    same_year = month_day_in(opens.year, closes)
    return same_year if same_year >= opens else month_day_in(opens.year + 1, closes)


@dataclass(frozen=True)
class ToDo:
    """One thing to do; ``by`` None: at once."""

    kind: str
    by: dt.date | None
    values: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Facts:
    """What the list of things to do rests on, as the owner's pages tell it."""

    today: dt.date
    closes: dt.date
    next_opens: dt.date
    order_day: dt.date | None
    to_buy: int
    undecided: int
    look_closer: int
    free: Sequence[FreeRepair]
    costing: Sequence[str]
    more_hours: int | None


def to_dos(facts: Facts) -> list[ToDo]:
    """What to do by when: at once what has no day left, then in order of their days."""
    found = _claims(facts)
    # Where nobody entered when the order closes, it is wanted when the season opens.
    order = facts.order_day or facts.next_opens
    if facts.undecided:
        found.append(ToDo(DECIDE, order, {"n": facts.undecided}))
    if facts.look_closer:
        found.append(ToDo(LOOK_CLOSER, order, {"n": facts.look_closer}))
    if facts.to_buy:
        found.append(ToDo(ORDER, order, {"n": facts.to_buy}))
    if facts.today <= facts.closes:
        found.append(ToDo(LAY_UP, facts.closes))
    if facts.costing:
        found.append(ToDo(GUARDS, facts.next_opens, {"crews": list(facts.costing)}))
    if facts.more_hours:
        found.append(ToDo(WALKS, facts.next_opens, {"hours": facts.more_hours}))
    return sorted(found, key=lambda one: one.by or dt.date.min)


def _claims(facts: Facts) -> list[ToDo]:
    clear = [r for r in facts.free if not r.doubt]
    waiting = [r.until for r in clear if not r.mended]
    paid = [r.on + dt.timedelta(days=DAYS_BACK) for r in clear if r.mended]
    found = []
    if waiting:
        ahead = [day for day in waiting if day >= facts.today]
        found.append(ToDo(CLAIM_WAITING, min(ahead, default=None), {"n": len(waiting)}))
    if paid:
        found.append(ToDo(CLAIM_PAID, min(paid), {"n": len(paid)}))
    return found
